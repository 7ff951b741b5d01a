"""Sheets as people write them, read as they are meant, and said so: never without a word, and never where two things may be meant.

A cell that is right as it stands is left alone. One that is wrong is tried as people write such a thing (a decimal comma, 1 234,
a unit with ³, Supply with a capital, 5.3.2026): where that is right, it is taken, and what was taken as what is told once for each
column. A heading is known without regard to case, spaces and underscores, and may have its unit in brackets. What two things may
be meant by (1,234; 03/04/2026) stays wrong, and the finding says both.

Decision (2026-11-29). Cells are tried by the checks that their columns declare, so that a new column has all of this. Options: a
converter for each kind of column (every declaration would name one). Cost: a cell that a check takes as it stands is never looked
at twice: a decimal comma in a text column is text.
"""

import csv
import re
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from datetime import date
from difflib import get_close_matches

from calib.errors import Step
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.spelling import spelled_alike
from calib.procedures.typed.unit_spelling import unit_meant

_SEPARATORS = (",", ";", "\t")
_LOOKED_AT = 30  # lines in which a header is looked for, below a title
_SUMS = frozenset({"total", "totals", "sum", "subtotal", "average", "mean"})
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


# --- a file as text --------------------------------------------------------------------------------------------------------------


def text_of(content: bytes) -> tuple[str | None, str | None]:
    """The text of a file and, where it is not UTF-8, as what it was read; no text where it is none."""
    if content.startswith((b"\xff\xfe", b"\xfe\xff")):
        try:
            return content.decode("utf-16"), "is read as UTF-16"
        except UnicodeDecodeError:
            return None, None
    try:
        return content.decode("utf-8-sig"), None
    except UnicodeDecodeError:
        pass
    try:
        text = content.decode("cp1252")
    except UnicodeDecodeError:
        return None, None
    return (
        (text, "is no UTF-8 and is read as Windows-1252: look at signs such as °, ² and é")
        if text.isprintable() or _is_text(text)
        else (None, None)
    )


def _is_text(text: str) -> bool:
    return all(sign.isprintable() or sign in "\r\n\t" for sign in text)


def separator_of(text: str, columns: Iterable[TypedColumn]) -> str:
    """What parts the cells: the sign that makes a line with the most known headings out of the first lines."""
    known = {spelled_alike(column.name) for column in columns}

    def headings(separator: str) -> int:
        lines = csv.reader(text.splitlines()[:_LOOKED_AT], delimiter=separator)
        return max((sum(spelled_alike(_bare(cell)) in known for cell in line) for line in lines), default=0)

    try:
        return max(_SEPARATORS, key=headings)
    except csv.Error:
        return ","


# --- the header ------------------------------------------------------------------------------------------------------------------


def header_place(lines: Sequence[Sequence[str]], columns: Iterable[TypedColumn]) -> int:
    """Place of the line that is the header: the first with two known headings or more, that are at least half of its cells."""
    known = {spelled_alike(column.name) for column in columns}
    for place, line in enumerate(lines[:_LOOKED_AT]):
        filled = [cell for cell in line if cell.strip()]
        headings = sum(spelled_alike(_bare(cell)) in known for cell in filled)
        if headings >= 2 and 2 * headings >= len(filled):
            return place
    return 0


@dataclass(frozen=True)
class SheetHeading:
    """A heading of a sheet: the column that it is meant to be, and the unit that stands with it."""

    typed: str
    column: str  # as it was typed where it is none that is known
    unit: str | None = None  # in brackets


def headings_of(header: Sequence[str], columns: Collection[TypedColumn]) -> list[SheetHeading]:
    """The headings of a sheet, each by the column that it means."""
    known = {spelled_alike(column.name): column.name for column in columns}
    return [_heading(typed.strip(), known) for typed in header]


def _heading(typed: str, known: dict[str, str]) -> SheetHeading:
    exact = known.get(spelled_alike(typed))
    if exact is not None:
        return SheetHeading(typed, exact)
    bare, unit = known.get(spelled_alike(_bare(typed))), _BRACKETS.search(typed)
    return SheetHeading(typed, typed) if bare is None else SheetHeading(typed, bare, unit and unit[1].strip())


_BRACKETS = re.compile(r"\s*[\[(]([^\])]*)[\])]\s*$")


def _bare(heading: str) -> str:
    return _BRACKETS.sub("", heading)


def unit_column(column: str, names: Collection[str]) -> str | None:
    """The column that holds the unit of another."""
    of_dimension = "dimension_unit" if column in {"width", "height", "diameter"} else ""
    of_flow = "flow_unit" if column.endswith("flow") else ""
    return next((name for name in (f"{column}_unit", of_dimension, of_flow, "unit") if name in names), None)


def did_you_mean(typed: str, names: Iterable[str]) -> str:
    """The name that something typed comes near to, as the end of a sentence; blank where there is none."""
    known = {spelled_alike(name): name for name in names}
    near = get_close_matches(spelled_alike(_bare(typed)), known, 1, 0.75)
    return f" (did you mean {known[near[0]]}?)" if near else ""


def is_sum(cells: Iterable[str], missing: Collection[str]) -> bool:
    """Whether a line is a total of those above it: it says so, and does not name what a record must."""
    return bool(missing) and any(cell.strip().rstrip(":").casefold() in _SUMS for cell in cells)


# --- cells -----------------------------------------------------------------------------------------------------------------------


@dataclass
class Habits:
    """How the cells of one sheet are written, as far as single cells leave it open; and what was taken as what."""

    decimal_comma: bool = False  # some number can have no other meaning
    day_first: bool | None = None  # of dates with slashes: by one that can have no other meaning; None: none can tell
    taken: Counter[tuple[str, str]] = field(default_factory=Counter)  # (column, as what) -> cells
    first: dict[tuple[str, str], str] = field(default_factory=dict)  # the first of them

    def notices(self) -> Iterator[str]:
        """What was taken as what, once for each column."""
        for (column, as_what), count in self.taken.items():
            cells = "" if count == 1 else f", and {count - 1} more"
            yield f"{column}: {self.first[column, as_what]}{cells} ({as_what})"


_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_COMMA = re.compile(r"[+-]?\d*,\d+")
_GROUP = re.compile(r"[+-]?[1-9]\d{0,2},\d{3}")  # 1,234: of a decimal comma, or of thousands
_GROUPED = re.compile(r"([+-]?\d{1,3})((?:[ \u00a0\u202f']\d{3})+|(?:,\d{3})+(?=\.)|(?:,\d{3}){2,})(\.\d+)?")
_SLASHES = re.compile(r"(\d{1,2})/(\d{1,2})/(\d{4})")


def habits_of(cells: Iterable[str], *, day_first: bool | None = None) -> Habits:
    """How the cells of a sheet are written; `day_first` where a person said so."""
    habits, firsts, seconds = Habits(day_first=day_first), [0], [0]
    for cell in cells:
        if "," in cell and any(
            _COMMA.fullmatch(part) and not _GROUP.fullmatch(part) for part in re.split(r"[;\s]+", cell)
        ):
            habits.decimal_comma = True
        if "/" in cell and (slashes := _SLASHES.fullmatch(cell)):
            firsts.append(int(slashes[1]))
            seconds.append(int(slashes[2]))
    if day_first is None and (max(firsts) > 12) != (max(seconds) > 12):
        habits.day_first = max(firsts) > 12
    return habits


def is_as_wanted(cell: str, column: TypedColumn) -> bool:
    """Whether a cell is right as it stands; which units a column may have other cells say, so that one is looked at by itself."""
    if column.check(cell) is not None:
        return False
    return not column.name.endswith("unit") or unit_meant(cell) in {cell, None}


def meant(cell: str, column: TypedColumn, row: int, habits: Habits) -> str | None:
    """What a cell that is wrong as it stands is meant to be; None where it is wrong however people write it."""
    for as_what, read in _WAYS:
        written = read(cell, habits)
        if written is not None and written != cell and column.check(written) is None:
            told = (column.name, as_what)
            habits.taken[told] += 1
            habits.first.setdefault(told, f"row {row}: {cell!r} is read as {written}")
            return written
    return None


def two_meanings(cell: str, column: TypedColumn, habits: Habits) -> str | None:
    """Both that a cell may mean, for the finding on it; None where it is not that which is wrong."""
    if _GROUP.fullmatch(cell) and not habits.decimal_comma and column.check(cell.replace(",", "")) is None:
        return f"{cell.replace(',', '.')} or {cell.replace(',', '')}, written without a comma: it may mean either"
    if _SLASHES.fullmatch(cell) and habits.day_first is None:
        both = [_with_slashes(cell, Habits(day_first=first)) for first in (True, False)]
        if all(each is not None and column.check(each) is None for each in both):
            return f"{both[0]} or {both[1]}: it may mean either ({Step.ORDER_OF_DATES})"
    return None


def _with_point(cell: str, habits: Habits) -> str | None:
    parts = cell.split(";")
    if not all(_COMMA.fullmatch(part.strip()) or re.fullmatch(_NUMBER, part.strip()) for part in parts):
        return None
    if not habits.decimal_comma and any(_GROUP.fullmatch(part.strip()) for part in parts):
        return None
    return cell.replace(",", ".")


def _without_groups(cell: str, _habits: Habits) -> str | None:
    grouped = _GROUPED.fullmatch(cell)
    return None if grouped is None else grouped[1] + re.sub(r"\D", "", grouped[2]) + (grouped[3] or "")


def _with_hyphen(cell: str, _habits: Habits) -> str | None:
    return re.sub(r"[\u2212\u2013]", "-", cell)


def _without_percent(cell: str, _habits: Habits) -> str | None:
    return re.sub(r"\s*%$", "", cell)


def _listed(cell: str, habits: Habits) -> str | None:
    parts = re.split(r"\s*[;/|]\s*|\s*,\s+|\s+", cell.strip())
    if len(parts) < 2:
        return None
    return ";".join(_with_point(part, habits) or part for part in parts)


def _unit(cell: str, _habits: Habits) -> str | None:
    return unit_meant(cell)


def _small_letters(cell: str, _habits: Habits) -> str | None:
    return " ".join(cell.casefold().split())


def _iso_time(cell: str, _habits: Habits) -> str | None:
    parts = re.fullmatch(r"(\d{4}-\d{2}-\d{2}) +(\d{1,2}:\d{2}(?::\d{2})?) ?(Z|[+-]\d{2}:?\d{2})?", cell)
    if parts is None:
        return None
    zone = parts[3] or ""
    return f"{parts[1]}T{parts[2]:0>5}{zone if ':' in zone or not zone[1:] else f'{zone[:3]}:{zone[3:]}'}"


def _with_slashes(cell: str, habits: Habits) -> str | None:
    parts = _SLASHES.fullmatch(cell)
    if parts is None or habits.day_first is None:
        return None
    left, right, year = (int(part) for part in parts.groups())
    return _iso(year, right, left) if habits.day_first else _iso(year, left, right)


def _day_in_words(cell: str, _habits: Habits) -> str | None:
    """5.3.2026, 2026/03/05, 5 March 2026, Mar 5, 2026."""
    if dotted := re.fullmatch(r"(\d{1,2})\.(\d{1,2})\.(\d{4})", cell):
        return _iso(int(dotted[3]), int(dotted[2]), int(dotted[1]))
    if turned := re.fullmatch(r"(\d{4})[/.](\d{1,2})[/.](\d{1,2})", cell):
        return _iso(*map(int, turned.groups()))
    words = re.fullmatch(r"(?:(\d{1,2})[ -]+([A-Za-z]{3,9})|([A-Za-z]{3,9})[ -]+(\d{1,2})),?[ -]+(\d{4})", cell)
    if words is None:
        return None
    name = (words[2] or words[3]).casefold()[:3]
    return _iso(int(words[5]), _MONTHS.index(name) + 1, int(words[1] or words[4])) if name in _MONTHS else None


def _iso(year: int, month: int, day: int) -> str | None:
    try:
        return date(year, month, day).isoformat()
    except ValueError:
        return None


# How people write what a column wants otherwise, the surest first.
_WAYS: Sequence[tuple[str, Callable[[str, Habits], str | None]]] = (
    ("a unit in another spelling", _unit),
    ("capitals", _small_letters),
    ("a decimal comma", _with_point),
    ("thousands set apart", _without_groups),
    ("a typographic minus", _with_hyphen),
    ("a percent sign", _without_percent),
    ("values set apart otherwise", _listed),
    ("a blank between day and time", _iso_time),
    ("a date in another order", _with_slashes),
    ("a date in another order", _day_in_words),
)
