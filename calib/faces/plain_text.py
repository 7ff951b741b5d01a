"""Typed text on a terminal: it may hold line ends and escape sequences, and must do no harm there."""

import re
import shlex
import textwrap
from collections.abc import Iterable, Sequence
from typing import Any

INSTEAD = "\N{REPLACEMENT CHARACTER}"


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


def table_text(header: Sequence[str], rows: Iterable[Sequence[str]], indent: str = "") -> str:
    """Columns under their headings, as wide as they need to be."""
    lines = [list(header), *([one_line(cell) for cell in row] for row in rows)]
    widths = [max(len(line[column]) for line in lines) for column in range(len(header))]
    return "\n".join(
        (indent + "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True))).rstrip()
        for line in lines
    )


def wrapped(text: str, width: int = 100) -> list[str]:
    """A sentence in lines that a terminal holds, those after the first indented."""
    return textwrap.wrap(text, width, subsequent_indent="  ", break_long_words=False, break_on_hyphens=False)


def wrapped_lines(sentences: Iterable[str]) -> list[str]:
    """The lines of several sentences."""
    return [line for sentence in sentences for line in wrapped(sentence)]


def withdrawn_text(withdrawal: dict[str, Any] | None) -> str | None:
    """When, by whom and why something was withdrawn; None where it was not."""
    return None if withdrawal is None else f"withdrawn {withdrawal['at']} by {withdrawal['by']}: {withdrawal['reason']}"


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
