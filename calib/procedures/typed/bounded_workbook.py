"""The door of workbooks (.xlsx, ECMA-376): how far one really reaches, and whether it stays within bounds.

What a workbook says of its own size (`<dimension>`) counts for nothing. A workbook within the bounds is read within 10 s, one
beyond them is refused within 10 s (on the machine of DEVELOPERS.md).

Decision (2026-11). A workbook is counted by a parser of our own before openpyxl may read it, since that builds whatever it is
told to. Options: a process with a limit of time and memory (a second start of the program for each workbook; none on every
system). Cost: it is parsed twice.
"""

import re
from collections import Counter
from dataclasses import dataclass, field
from functools import lru_cache
from string import ascii_uppercase
from typing import Final

from calib.procedures.typed.bounded_archive import (
    MOST_SHEET_COLUMNS,
    MOST_SHEET_ROWS,
    MOST_TEXT,
    BoundedXml,
    WorkbookError,
    at_most,
    inflated,
)

MOST_FORMULAS: Final = 2_000_000  # signs of the formulas that cells share, counted for each
_YES = ("1", "true")  # xsd:boolean
_MAIN = "http://schemas.openxmlformats.org/spreadsheetml/2006/main "  # the namespace of sheets, as the parser writes it


@dataclass(frozen=True)
class Extent:
    """How far the sheets of a workbook are filled."""

    rows: int
    columns: int
    has_formulas_without_results: bool
    hidden: int = 0  # rows, and spans of columns, that are not shown
    merged: int = 0  # spans of cells over several rows
    has_strikes: bool = False  # whether some font has a line through it


@dataclass
class _Counts:
    """What was counted in all files of a workbook so far."""

    rows: int = 0
    columns: int = 0
    has_formulas_without_results: bool = False
    shared: Counter[int] = field(default_factory=Counter)  # text -> cells that show it
    texts: dict[int, int] = field(default_factory=dict)  # text -> its signs
    formulas: int = 0  # cells that share one
    hidden: int = 0
    merged: int = 0
    has_strikes: bool = False
    longest_formula: int = 0  # signs


def extent_of(content: bytes) -> Extent:
    """How far the sheets of a workbook are filled; raises WorkbookError where it goes beyond a bound."""
    counts = _Counts()
    parts = _Parts(counts)
    for name, part in inflated(content):
        parts.begin(name)
        # False of a picture; or of a sheet that is broken from there on, which whoever reads it finds.
        parts.parse(name, part)
    text = sum(cells * counts.texts.get(place, 0) for place, cells in counts.shared.items())
    at_most(MOST_TEXT, text, "signs of text in its cells")
    at_most(MOST_FORMULAS, counts.formulas * counts.longest_formula, "signs of formulas that cells share")
    return Extent(
        counts.rows,
        counts.columns,
        counts.has_formulas_without_results,
        counts.hidden,
        counts.merged,
        counts.has_strikes,
    )


class _Parts(BoundedXml):
    """The files of a workbook, one after the other: of a sheet the cells that hold something are counted."""

    def __init__(self, counts: _Counts) -> None:
        super().__init__()
        self._counts = counts
        self.begin("")

    def begin(self, name: str) -> None:
        """The next file."""
        self._name = name
        self._row = self._column = 0
        self._text: list[str] | None = None  # of the element that is open, where it is asked for
        self._string = 0  # signs of the shared text that is open
        self._strings = 0
        self._kind = ""  # of the cell that is open
        self._holds: set[str] = set()  # "v", "f", "is"

    def opened(self, name: str, attributes: dict[str, str]) -> None:
        """A cell, a row, or a text within them begins."""
        if not name.startswith(_MAIN):
            return
        element = name.removeprefix(_MAIN)
        if element == "c":
            self._cell(attributes)
        elif element == "row":
            self._next_row(attributes)
            self._counts.hidden += attributes.get("hidden") in _YES
        elif element == "col":
            self._counts.hidden += attributes.get("hidden") in _YES
        elif element in ("v", "f", "is"):
            self._holds |= {element} - {"v"}
            self._text = []
            self._counts.formulas += element == "f" and attributes.get("t") == "shared"
        elif element in ("si", "t"):
            self._string = 0 if element == "si" else self._string
            self._text = []
        elif element == "mergeCell":
            self._counts.merged += len(set(re.findall(r"\d+", attributes.get("ref", "")))) > 1
        elif element == "strike":
            self._counts.has_strikes |= attributes.get("val", "1") in _YES

    def closed(self, name: str) -> None:
        """A cell is counted, a text is measured."""
        element = name.removeprefix(_MAIN)
        text = "" if self._text is None else "".join(self._text)
        if element == "c":
            self._filled()
        elif element == "v":
            self._holds |= {"v"} if text else set()
            if self._kind == "s" and text.strip().isdecimal():
                self._counts.shared[int(text[:20])] += 1
        elif element == "f":
            self._counts.longest_formula = max(self._counts.longest_formula, len(text))
        elif element == "t":
            self._string += len(text)
        elif element == "si":
            texts = self._counts.texts
            texts[self._strings] = max(self._string, texts.get(self._strings, 0))
            self._strings += 1
        else:
            return
        self._text = None

    def characters(self, text: str) -> None:
        """Text that is measured."""
        if self._text is not None:
            self._text.append(text)

    def _next_row(self, attributes: dict[str, str]) -> None:
        row = _whole(attributes.get("r"), self._row + 1)
        if row <= self._row:
            raise WorkbookError(f"a workbook whose rows rise (in {self._name} row {row} stands after row {self._row})")
        self._row, self._column = row, 0

    def _cell(self, attributes: dict[str, str]) -> None:
        place = attributes.get("r")
        column = self._column + 1 if place is None else _column(place[:9].rstrip("0123456789"))
        if column <= self._column:
            raise WorkbookError(f"a workbook whose cells rise in each row (in {self._name} cell {place} does not)")
        self._column = column
        self._kind = attributes.get("t", "")
        self._holds = set()

    def _filled(self) -> None:
        if not self._holds:
            return  # a cell that has a format alone
        counts = self._counts
        if self._row > counts.rows:
            at_most(MOST_SHEET_ROWS, self._row, f"rows in a sheet, which {self._name} exceeds")
            counts.rows = self._row
        if self._column > counts.columns:
            at_most(MOST_SHEET_COLUMNS, self._column, f"columns in a sheet, which {self._name} exceeds")
            counts.columns = self._column
        counts.has_formulas_without_results |= "f" in self._holds and "v" not in self._holds
        self._holds = set()


def _whole(typed: str | None, otherwise: int) -> int:
    if typed is None:
        return otherwise
    if not typed.isdecimal() or len(typed) > 9:
        raise WorkbookError(f"a workbook whose rows have numbers (one has {typed[:20]!r})")
    return int(typed)


@lru_cache(maxsize=1024)
def _column(place: str) -> int:
    """The column of a cell without its row: 1 of A, 28 of AB."""
    column = 0
    for letter in place.upper():
        if letter not in ascii_uppercase:
            break
        column = 26 * column + 1 + ascii_uppercase.index(letter)
    return column
