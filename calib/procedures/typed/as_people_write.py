"""Sheets as people write them, read as they are meant, and said so: never without a word, and never where two things may be meant.

A cell that is right as it stands is left alone. One that is wrong is tried as people write such a thing (a decimal comma, 1 234,
a unit with ³, Supply with a capital, 5.3.2026): where that is right, it is taken, and what was taken as what is told once for each
column. What two things may be meant by (1,234; 03/04/2026) stays wrong, and the finding says both. Headings: `headings`; days and
times: `days_and_times`.

Decision (2026-11-29). Cells are tried by the checks that their columns declare, so that a new column has all of this. Options: a
converter for each kind of column (every declaration would name one). Cost: a cell that a check takes as it stands is never looked
at twice: a decimal comma in a text column is text.
"""

import csv
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, field

from calib.procedures.typed.cells import AmongWords, above_zero, not_negative, numbers, share
from calib.procedures.typed.days_and_times import day_meant, expected_of_time, moment_meant, order_of_days
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.headings import LOOKED_AT, PERCENT, bare, fixed_unit, is_unit_of
from calib.procedures.typed.spelling import PLUS_MINUS, did_you_mean, spelled_alike
from calib.procedures.typed.unit_spelling import unit_meant
from calib.quantities import COMMA_OR_THOUSANDS

_SEPARATORS = (",", ";", "\t")


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


def separator_of(text: str, names: Iterable[str]) -> str:
    """What parts the cells: the sign that makes most known headings of a line among the first, or else most lines alike."""
    known = {*map(spelled_alike, names)}

    def fit(separator: str) -> tuple[int, int]:
        lines = list(csv.reader(text.splitlines()[:LOOKED_AT], delimiter=separator))
        headings = [
            sum(bool({spelled_alike(bare(cell)), spelled_alike(cell)} & known) for cell in line) for line in lines
        ]
        widths = Counter(len(line) for line in lines if len(line) > 1)
        return max(headings, default=0), max((width * count for width, count in widths.items()), default=0)

    try:
        return max(_SEPARATORS, key=fit)
    except csv.Error:
        return ","


# --- cells -----------------------------------------------------------------------------------------------------------------------


@dataclass
class Habits:
    """How the cells of one sheet are written, as far as single cells leave it open; and what was taken as what."""

    decimal_comma: bool = False  # some number can have no other meaning
    day_first: bool | None = None  # of dates with slashes: by one that can have no other meaning; None: none can tell
    taken: Counter[tuple[str, str]] = field(default_factory=Counter)  # (column, as what) -> cells
    first: dict[tuple[str, str], str] = field(default_factory=dict)  # the first of them

    def take(self, column: TypedColumn, cell: str, written: str, as_what: str, row: int) -> None:
        """Keep that a cell was read as something else."""
        told = (column.name, as_what)
        self.taken[told] += 1
        self.first.setdefault(told, f"row {row}: {repr(cell) if cell else 'a blank cell'} is read as {written}")

    def notices(self) -> Iterator[str]:
        """What was taken as what, once for each column."""
        for (column, as_what), count in self.taken.items():
            cells = "" if count == 1 else f", and {count - 1} more"
            yield f"{column}: {self.first[column, as_what]}{cells} ({as_what})"


_NO_VALUE = frozenset({"-", "\u2013", "\u2014", "n/a", "na", "n.a", "nd", "n.d", "none", "nil", "tbd", "?", "x"})
_WITHOUT_SIGN = (share, not_negative, above_zero)  # checks of columns whose values have none: \u00b13 is 3
_SIGNED = re.compile(rf"^{PLUS_MINUS}(?=[\d.,])")
_WITH_UNIT = re.compile(r"([-+\u2212\d.,'\s]*\d)\s*([^\d\s;.,+-][^;]*)")
_NUMBER = r"[+-]?(?:\d+(?:\.\d*)?|\.\d+)(?:[eE][+-]?\d+)?"
_COMMA = re.compile(r"[+-]?\d*,\d+")
_BLANK_THOUSANDS = re.compile(r"(?<![\d.,])([1-9]\d{0,2})\s(?=\d{3}(?!\d))")  # 412 418: two values, or thousands
_PERCENTAGE = re.compile(r"[^%]*\d\s*%")
_GROUPED = re.compile(r"([+-]?\d{1,3})((?:[ \u00a0\u202f']\d{3})+|(?:,\d{3})+(?=\.)|(?:,\d{3}){2,})(\.\d+)?")


def habits_of(cells: Iterable[str], *, day_first: bool | None = None) -> Habits:
    """How the cells of a sheet are written; `day_first` where a person said so."""
    habits, every = Habits(day_first=day_first), tuple(cells)
    for cell in every:
        if "," in cell and any(
            _COMMA.fullmatch(part) and not COMMA_OR_THOUSANDS.fullmatch(part) for part in re.split(r"[;\s]+", cell)
        ):
            habits.decimal_comma = True
    if day_first is None:
        habits.day_first = order_of_days(every)
    return habits


def is_as_wanted(cell: str, column: TypedColumn) -> bool:
    """Whether a cell is right as it stands; which units a column may have other cells say, so that one is looked at by itself."""
    if column.check(cell) is not None:
        return False
    return not column.name.endswith("unit") or unit_meant(cell) in {cell, None}


def meant(cell: str, column: TypedColumn, row: int, habits: Habits) -> str | None:
    """What a cell that is wrong as it stands is meant to be; None where it is wrong however people write it."""
    if _apart_or_joined(cell, column) is not None:
        return None
    for as_what, read in _WAYS:
        if read is _without_percent and fixed_unit(column.name) != PERCENT:
            continue
        if read is _small_letters and isinstance(column.check, AmongWords):
            written = column.check.in_any_letters(cell)
        else:
            written = read(cell, habits)
        if written is not None and written != cell and column.check(written) is None:
            habits.take(column, cell, written, as_what, row)
            return written
    return None


def without_plus_minus(cell: str, column: TypedColumn, row: int, habits: Habits) -> str:
    """A cell without the plus-minus sign before a value that has no sign of its own: a limit, an uncertainty."""
    bare_cell = _SIGNED.sub("", cell) if column.check in _WITHOUT_SIGN else cell
    if bare_cell != cell:
        habits.take(column, cell, bare_cell, "a plus-minus sign", row)
    return bare_cell


def without_unit(cell: str, column: TypedColumn) -> tuple[str, str] | None:
    """The numbers of a cell and the one unit that stands behind each; None where there is none, or the column wants none."""
    parts = [_WITH_UNIT.fullmatch(part.strip()) for part in cell.split(";")]
    if not all(parts) or column.check(cell) is None:
        return None
    fixed = fixed_unit(column.name)
    units = {
        fixed if fixed is not None and is_unit_of(fixed, part[2]) else unit_meant(part[2]) for part in parts if part
    }
    unit = units.pop()
    return None if units or unit is None else (";".join(part[1].strip() for part in parts if part), unit)


def meaning_expected(cell: str, column: TypedColumn, habits: Habits) -> str | None:
    """What was expected of a cell where more can be said than its check does: both that it may mean, or what it seems to be."""
    if (said := _either(cell, column, habits)) is not None or (expected := column.check(cell)) is None:
        return said
    if (
        said := _expected_of_percent(cell, column, None) or expected_of_time(cell, column.check, habits.day_first)
    ) is not None:
        return said
    if cell.casefold().rstrip(".") in _NO_VALUE and not column.required:
        return f"{expected}; or blank where there is no value"
    return f"{expected}{did_you_mean(cell, column.check.words)}" if isinstance(column.check, AmongWords) else None


def _either(cell: str, column: TypedColumn, habits: Habits) -> str | None:
    """Both that the numbers of a cell may mean; None where they mean one thing, or nothing."""
    if COMMA_OR_THOUSANDS.fullmatch(cell) and not habits.decimal_comma and column.check(cell.replace(",", "")) is None:
        values = f" or {cell.replace(',', ';')}" if column.check is numbers else ""
        return (
            f"{cell.replace(',', '.')} or {cell.replace(',', '')}{values}, written without a comma: it may mean either"
        )
    both = _apart_or_joined(cell, column)
    return None if both is None else f"{both[0]} or {both[1]}, values parted by ; alone: it may mean either"


def expected_of_unit(cell: str, column: TypedColumn, unit: str, of: str | None, own: str | None) -> str | None:
    """What was expected of a cell with a unit, where its own is another, or there is none; None where it is its own.

    `of` is the column that holds its own unit.
    """
    if unit == own:
        return None
    if (said := _expected_of_percent(cell, column, own)) is not None:
        return said
    if isinstance(column.check, AmongWords):  # of words, none has a unit
        return None
    if of is None:
        return f"a number alone: it has no unit of its own (the cell has {unit})"
    return f"a value in {own}, which {of} has: the cell has {unit}"


def _expected_of_percent(cell: str, column: TypedColumn, own: str | None) -> str | None:
    """What was expected of a percentage where the column is none: 2 % of a reference value is no 2 m/s."""
    if fixed_unit(column.name) == PERCENT or not _PERCENTAGE.fullmatch(cell) or column.check(cell) is None:
        return None
    return f"a number{'' if own is None else f' in {own}'}, without %: a percentage of what?"


def _apart_or_joined(cell: str, column: TypedColumn) -> tuple[str, str] | None:
    """Both that a list may mean where thousands may be set apart as values are: 412 418 is two of them, or one."""
    if column.check is not numbers or numbers(cell) is None:
        return None
    if _GROUPED.fullmatch(cell) and "," in cell:
        return cell.replace(",", ";"), cell.replace(",", "")
    if not _BLANK_THOUSANDS.search(cell):
        return None
    both = (re.sub(r"\s*[;/|\s]\s*", ";", each) for each in (cell, _BLANK_THOUSANDS.sub(r"\1", cell)))
    apart, joined = (each if numbers(each) is None else None for each in both)
    return None if apart is None or joined is None else (apart, joined)


def with_point(cell: str, habits: Habits) -> str | None:
    """Numbers parted by semicolons with a decimal point, where they mean one thing; None where they do not."""
    parts = cell.split(";")
    if not all(_COMMA.fullmatch(part.strip()) or re.fullmatch(_NUMBER, part.strip()) for part in parts):
        return None
    if not habits.decimal_comma and any(COMMA_OR_THOUSANDS.fullmatch(part.strip()) for part in parts):
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
    return ";".join(with_point(part, habits) or part for part in parts)


def _without_apostrophe(cell: str, _habits: Habits) -> str | None:
    return cell.removeprefix("'")


def _day(cell: str, habits: Habits) -> str | None:
    return day_meant(cell, habits.day_first)


def _moment(cell: str, habits: Habits) -> str | None:
    return moment_meant(cell, habits.day_first)


def _unit(cell: str, _habits: Habits) -> str | None:
    return unit_meant(cell)


def _small_letters(cell: str, _habits: Habits) -> str | None:
    return " ".join(cell.casefold().split())


# How people write what a column wants otherwise, the surest first.
_WAYS: Sequence[tuple[str, Callable[[str, Habits], str | None]]] = (
    ("a unit in another spelling", _unit),
    ("capitals", _small_letters),
    ("a decimal comma", with_point),
    ("thousands set apart", _without_groups),
    ("a typographic minus", _with_hyphen),
    ("a percent sign", _without_percent),
    ("values set apart otherwise", _listed),
    ("an apostrophe before it", _without_apostrophe),
    ("a date in another order", _day),
    ("a day and a time written otherwise", _moment),
)
