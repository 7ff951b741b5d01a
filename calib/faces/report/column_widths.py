"""How wide a printed table's columns are, how large its type, and whether its page lies on its side.

Widths are reckoned before the page is set, from the advance widths of the typeface's signs: a number is never broken, a word only
where it is longer than the widest column of words, and no table is wider than its page.
"""

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from calib.faces.report.blocks import Mark, Table, TableColumn

# Advance widths of the serif typeface's signs in thousandths of the type's size, upright and bold.
_UPRIGHT = {
    200: "',.|",
    250: " :;ijl·°",
    300: "!()/IJ\\ft{}²³",
    350: '"*-[]r',
    400: "`sz",
    450: "#$0123456789?ace~",
    500: "FS^_bdgkopqvxyµ",
    600: "BRTYZ",
    650: "%CKUVXΔ",
    700: "&ADGNOQ",
    750: "Hw—",
    800: "m",
    850: "M",
    900: "@",
    950: "W",
    1050: "●◐◔✘",
}
_BOLD = {
    250: "'| !,.:;·°",
    300: "()/\\ijl{}",
    350: "-IJt²³",
    400: '"[]`f',
    450: "*?crsz~",
    500: "#$0123456789<>S^_aeg",
    600: "ELPYZhknpu",
    650: "%BT",
    700: "CRVXΔ",
    750: "&ADGKNOQU—",
    800: "Hw",
    900: "Mm",
    1000: "@",
    1050: "W●◐◔✘",
}
_OTHER = 550
# Where a long word at the head of a column may be parted: between these two.
_PARTED = re.compile(
    "(?<=[Rr]epeat)(?=ability)|(?<=[Rr]esolu)(?=tion)|(?<=[Cc]alibra)(?=tion)|(?<=[Rr]efer)(?=ence)|(?<=stand)(?=ard)|(?<=[Ss]tabil)"
    "(?=ity)|(?<=[Dd]imen)(?=sion)|(?<=temper)(?=ature)|(?<=pres)(?=sure)|(?<=[Oo]bserva)(?=tions)|(?<=[Tt]oler)(?=ance)"
)
_WIDTH_OF = {
    is_bold: {sign: width for width, signs in widths.items() for sign in signs}
    for is_bold, widths in ((False, _UPRIGHT), (True, _BOLD))
}
_LONGEST_WANTED = 90  # signs on one line
BAR = 60.0  # [pt] of the small picture beside a number, with the gap before it
_GUTTER = 4.0  # [pt] right of a column
_INDENT = 4.0  # [pt] left of words beside figures, and of what stands behind a line between columns: they would meet
LONGEST_UNBROKEN = 40  # signs: a longer text is broken even where its column asks for one line


@dataclass(frozen=True)
class Setting:
    """How a table is set: size of its type [pt], on its side or not, longest word not broken [signs], least line of text [ems]."""

    size: float
    on_side: bool
    longest_word: int
    least_line: float


# From the best to read on; the last is what any table is given. No table has letters below 8.5 pt: words are broken first.
_SIZE = 8.5
_SETTINGS = (
    Setting(_SIZE, on_side=False, longest_word=20, least_line=13),
    Setting(_SIZE, on_side=False, longest_word=18, least_line=10),
    Setting(_SIZE, on_side=False, longest_word=16, least_line=8),
    Setting(_SIZE, on_side=True, longest_word=16, least_line=10),
    Setting(_SIZE, on_side=True, longest_word=8, least_line=5),
    Setting(_SIZE, on_side=True, longest_word=4, least_line=2),
)


@dataclass(frozen=True)
class Columns:
    """Widths of a table's columns with the room beside their text, that room left and right [pt], and how the table is set."""

    widths: tuple[float, ...]
    setting: Setting
    left: tuple[float, ...]
    right: float = _GUTTER


def columns_of(table: Table, upright: float, on_side: float) -> Columns:
    """The columns of a table within a line of text of this length [pt] on an upright page, or on one that lies on its side."""
    columns, said = table.columns, [_lines(table, place) for place in range(len(table.columns))]
    bars = [
        BAR * any(row.cells[place].bar is not None for row in table.rows if place < len(row.cells))
        for place in range(len(columns))
    ]
    left = [
        0.0,
        *(
            _INDENT * (table.is_to_fill or (column.is_number and not bar and not after.is_number))
            for (column, after), bar in zip(pairwise(columns), bars, strict=False)
        ),
    ]
    beside = [width + bar + _GUTTER for width, bar in zip(left, bars, strict=True)]
    for setting in _SETTINGS:
        room = (on_side if setting.on_side else upright) - sum(beside)
        needs = [_needs(column, lines, setting) for column, lines in zip(columns, said, strict=True)]
        least, wanted = [narrow for narrow, _ in needs], [wide for _, wide in needs]
        if sum(least) <= room:
            break
    widths = (
        _shared(table, least, wanted, room) if sum(least) <= room else [room * width / sum(least) for width in least]
    )
    whole = tuple(width + more for width, more in zip(widths, beside, strict=True))
    return Columns(whole, setting, tuple(left))


def syllables(word: str) -> list[str]:
    """A word at the head of a column in the parts between which it may be broken."""
    return _PARTED.split(word)


def _with_hyphens(word: str) -> list[str]:
    *parted, last = syllables(word)
    return [*(f"{part}-" for part in parted), last]


def _is_on_one_line(column: TableColumn, text: str) -> bool:
    """Whether a column is made wide enough for this text on one line."""
    return (column.is_number or column.is_short) and len(text) <= LONGEST_UNBROKEN and "\n" not in text


def _lines(table: Table, place: int) -> set[tuple[str, bool]]:
    """Every line that stands in a column, a statement with its sign, and whether it is set bold."""
    cells = ((row.cells[place], row.is_total) for row in table.rows if place < len(row.cells))
    texts = {
        ("".join(f"● {run.text}" if run.mark is Mark.STATEMENT else run.text for run in cell.text), is_bold)
        for cell, is_bold in cells
    }
    return {(line, is_bold) for text, is_bold in texts for line in text.split("\n")}


def _needs(column: TableColumn, lines: set[tuple[str, bool]], setting: Setting) -> tuple[float, float]:
    """Least width of a column, in which a text of some words has three lines, and that with each text on one line [pt]."""
    size, longest = setting.size, setting.longest_word
    label = _longest(((part[:longest], True) for word in column.label.split() for part in _with_hyphens(word)), size)
    word = _longest(((word[:longest], is_bold) for line, is_bold in lines for word in line.split()), size)
    unbroken = _longest((line for line in lines if _is_on_one_line(column, line[0])), size)
    whole = _longest(((line[:_LONGEST_WANTED], is_bold) for line, is_bold in lines), size)
    least = max(label, word, unbroken, min(whole / 3, setting.least_line * size))
    return least, max(least, whole, min(_width(column.label, size, is_bold=True), 1.6 * least))


def _longest(texts: Iterable[tuple[str, bool]], size: float) -> float:
    """Length of the longest of some texts, each bold or not [pt]."""
    return max((_width(text, size, is_bold=is_bold) for text, is_bold in texts), default=0.0)


@lru_cache(maxsize=1 << 16)
def _width(text: str, size: float, *, is_bold: bool) -> float:
    """Reckoned length of a text on one line [pt], with something to spare."""
    widths = _WIDTH_OF[is_bold]
    return sum(widths.get(sign, _OTHER) for sign in text) * size / 1000 + 2.5


def _shared(table: Table, least: Sequence[float], wanted: Sequence[float], room: float) -> list[float]:
    """The room shared out: to each what it needs, to words, then to figures what they want, and the rest to running text."""
    widths = list(least)
    for is_for_figures in (False, True):
        missing = [
            (wide - width) * (column.is_number == is_for_figures)
            for column, width, wide in zip(table.columns, widths, wanted, strict=True)
        ]
        part = min(1.0, (room - sum(widths)) / sum(missing)) if sum(missing) else 0.0
        widths = [width + part * more for width, more in zip(widths, missing, strict=True)]
    if table.is_compact:
        return widths
    rest = room - sum(widths)
    wordy = [column.is_wordy for column in table.columns]
    takes = wordy if any(wordy) else [True] * len(wordy)
    return [width + (rest / sum(takes) if taken else 0.0) for width, taken in zip(widths, takes, strict=True)]


def pieces(text: str, longest_word: int) -> list[str]:
    """A text in the pieces between which a line may be broken: a word that is longer than this is broken anywhere."""
    step = max(2, longest_word // 4)
    out, last = [], 0
    for long in re.finditer(rf"\S{{{longest_word + 1},}}", text):
        word = long[0]
        out.append(text[last : long.start()] + word[:step])
        out.extend(word[cut : cut + step] for cut in range(step, len(word), step))
        last = long.end()
    return [*out, text[last:]] if last < len(text) or not out else out
