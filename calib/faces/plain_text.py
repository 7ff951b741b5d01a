"""Text on a terminal: typed text may hold line ends and escape sequences, and must do no harm there; and lines fit its width.

Decision (2026-11-29). What is written to a terminal fits it: a table that is too wide wraps its last column or, where too little
is left for that, becomes a card for each row; every other line is wrapped. A file or a pipe gets tables and lines as wide as they
are, for programs read those. Options: tables cut at the edge (a due date was lost that way), a pager. Cost: the width stands in a
variable of the context, since an answer's text is made far below where the terminal is known.
"""

import re
import shlex
import shutil
import textwrap
from collections.abc import Collection, Iterable, Iterator, Sequence
from contextlib import contextmanager
from contextvars import ContextVar
from typing import Any, TextIO

_COLUMNS: ContextVar[int | None] = ContextVar(
    "columns of the terminal that is written to; none for a file or a pipe", default=None
)
_GAP = "  "
_NARROWEST = 30  # columns that lines are fitted to at the least
_NARROWEST_PROSE = 28  # columns of a terminal in which a sentence within a table can still be read
_WIDEST_PROSE = 100


@contextmanager
def as_wide_as(columns: int | None) -> Iterator[None]:
    """Texts made and fitted within are for a terminal of so many columns."""
    before = _COLUMNS.set(columns)
    try:
        yield
    finally:
        _COLUMNS.reset(before)


INSTEAD = "\N{REPLACEMENT CHARACTER}"


def terminal_columns(stream: TextIO) -> int | None:
    """How wide a stream shows its lines; none for a file or a pipe."""
    return max(_NARROWEST, shutil.get_terminal_size().columns) if stream.isatty() else None


def one_line(text: str) -> str:
    """The text on one line, with a sign in place of each that is not printed."""
    return "".join(sign if sign.isprintable() else INSTEAD for sign in text)


def harmless(text: str) -> str:
    """The text in its own lines, with a sign in place of each that is not printed."""
    return "\n".join(one_line(line) for line in text.split("\n"))


def by_number(text: str) -> str:
    """The text with each sign that is not printed by its number, ⟨U+202E⟩; line feeds stay."""
    return text if text.isprintable() else _NOT_PRINTED.sub(_number_of, text)


def _number_of(sign: re.Match[str]) -> str:
    return sign[0] if sign[0] == "\n" or sign[0].isprintable() else f"⟨U+{ord(sign[0]):04X}⟩"


_NOT_PRINTED = re.compile(r"[^\x20-\x7e]")


def shortened(text: str, longest: int) -> str:
    """The text, or its beginning and an ellipsis where it has more than `longest` signs."""
    return text if len(text) <= longest else f"{text[: longest - 1]}…"


def cells_text(cells: dict[str, Any]) -> str:
    """Filled cells, one a line."""
    filled = {name: value for name, value in cells.items() if value is not None and name != "id"}
    return "\n".join(f"  {name.replace('_', ' ')}: {one_line(str(value))}" for name, value in filled.items())


def table_text(
    header: Sequence[str], rows: Iterable[Sequence[str]], indent: str = "", right: Collection[int] = ()
) -> str:
    """Columns under their headings, as wide as they need to be or as the terminal is; those numbered in `right` to the right."""
    lines = [list(header), *([one_line(cell) for cell in row] for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(header))]
    columns = _COLUMNS.get()
    before_last = len(indent) + sum(width + len(_GAP) for width in widths[:-1])
    if columns is None or before_last + widths[-1] <= columns:
        return "\n".join(_table_line(line, widths, indent, right) for line in lines)
    if columns - before_last >= _NARROWEST_PROSE:
        hanging = " " * before_last
        return "\n".join(
            "\n".join(_broken(_table_line(line, widths, indent, right), columns, hanging)) for line in lines
        )
    return "\n".join(_card(header, line, indent, columns) for line in lines[1:])


def _table_line(line: Sequence[str], widths: Sequence[int], indent: str, right: Collection[int]) -> str:
    cells = (
        cell.rjust(width) if column in right else cell.ljust(width)
        for column, (cell, width) in enumerate(zip(line, widths, strict=True))
    )
    return (indent + _GAP.join(cells)).rstrip()


def _card(header: Sequence[str], row: Sequence[str], indent: str, columns: int) -> str:
    """A row by itself: its first cell, and below it what its other columns say, each with its heading."""
    first, *others = (
        _held(f"{_held(heading)}{': ' if place else ' '}{_held(cell)}" if heading else cell)
        for place, (heading, cell) in enumerate(zip(header, row, strict=True))
        if cell not in {"", "-"}
    )
    within = indent + _GAP
    return "\n".join([*_broken(indent + first, columns, within), *_broken(within + "; ".join(others), columns, within)])


def _held(text: str) -> str:
    """A text that stays on one line, where it is short."""
    return text if len(text) > _NARROWEST_PROSE else text.replace(" ", _HELD)


_HELD = "\N{NO-BREAK SPACE}"


def _broken(line: str, columns: int, after: str) -> list[str]:
    """A line in lines of at most so many columns, those after the first with `after` before them; words stay whole."""
    lead = _LEAD.match(line)[0]  # type: ignore[index] # it matches the empty text too
    texts = textwrap.wrap(
        line[len(lead) :],
        columns,
        initial_indent=lead,
        subsequent_indent=after,
        break_long_words=False,
        break_on_hyphens=False,
    )
    return [text.replace(_HELD, " ") for text in texts]


_LEAD = re.compile(r"[ │├└─]*(?:[-*] )?")
_BELOW = str.maketrans({"├": "│", "└": " ", "─": " ", "-": " ", "*": " "})


def fitted(text: str) -> str:
    """The text with lines that fit the terminal; a command to copy stays on one line."""
    columns = _COLUMNS.get()
    if columns is None:
        return text
    return "\n".join(part for line in text.split("\n") for part in _fitted_line(line, columns))


def _fitted_line(line: str, columns: int) -> list[str]:
    if len(line) <= columns or line.lstrip().startswith("calib "):
        return [line]
    lead = _LEAD.match(line)[0]  # type: ignore[index] # it matches the empty text too
    return _broken(line, columns, lead.translate(_BELOW) if lead.strip() else lead + _GAP)


def wrapped(text: str, width: int = _WIDEST_PROSE) -> list[str]:
    """A sentence in lines that a terminal holds, those after the first indented."""
    return textwrap.wrap(
        text, line_width(width), subsequent_indent="  ", break_long_words=False, break_on_hyphens=False
    )


def line_width(widest: int = _WIDEST_PROSE) -> int:
    """Columns of a line of prose: no more than the terminal has."""
    return min(widest, _COLUMNS.get() or widest)


def wrapped_lines(sentences: Iterable[str]) -> list[str]:
    """The lines of several sentences."""
    return [line for sentence in sentences for line in wrapped(sentence)]


def withdrawn_text(withdrawal: dict[str, Any] | None) -> str | None:
    """When, by whom and why something was withdrawn; None where it was not."""
    return None if withdrawal is None else f"withdrawn {withdrawal['at']} by {withdrawal['by']}: {withdrawal['reason']}"


def superseded_text(reissued: dict[str, Any] | None) -> str | None:
    """By which certificate, when, by whom and why something was superseded; None where it was not."""
    if reissued is None:
        return None
    counts = "" if reissued["counts"] else ", once that is accepted"
    return f"superseded by {reissued['by_certificate']}{counts}, {reissued['at']} by {reissued['by']}: {reissued['reason']}"


def no_longer_text(calibration: dict[str, Any]) -> str | None:
    """Why a calibration counts no more, or soon will not; None where it does."""
    return withdrawn_text(calibration["withdrawn"]) or superseded_text(calibration["superseded"])


def controls_named(text: str) -> str:
    """The text with tabs and line ends as they are, and each other control character (or half of a surrogate pair) as ⟨U+0001⟩.

    XML 1.0, 2.2 allows none of those in a document, and a mail header no line end.
    """
    return text if text.isprintable() else _NAMED.sub(lambda control: f"⟨U+{ord(control[0]):04X}⟩", _line_ends(text))


_NAMED = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f\x7f-\x9f\ud800-\udfff\ufffe\uffff]")


def _line_ends(text: str) -> str:
    return text.replace("\r\n", "\n").replace("\r", "\n")


def command_text(words: Sequence[str]) -> str:
    """A command of the program as a person types it, in quotation marks where a shell asks for them."""
    return " ".join(["calib", *(_quoted(word) for word in words)])


def _quoted(word: str) -> str:
    if shlex.quote(word) == word:
        return word
    # Double quotation marks serve every shell, as long as nothing in the word means more to one of them.
    return shlex.quote(word) if set(word) & set('"$`\\!%') else f'"{word}"'
