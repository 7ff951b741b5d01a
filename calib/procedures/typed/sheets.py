"""Sheets: rows of typed cells, from the bytes of a CSV file or from the options of a command."""

import csv
import io
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path
from typing import TYPE_CHECKING

from calib.errors import Finding
from calib.procedures.typed.as_people_write import (
    Habits,
    expected_of_unit,
    habits_of,
    is_as_wanted,
    meaning_expected,
    meant,
    separator_of,
    text_of,
    without_plus_minus,
    without_unit,
)
from calib.procedures.typed.cells import any_text, written_out
from calib.procedures.typed.declaration import Check, TypedColumn
from calib.procedures.typed.headings import Header, fixed_unit, header_of, header_place, unit_column
from calib.procedures.typed.unit_spelling import unit_meant

if TYPE_CHECKING:
    from calib.procedures.typed.foreign_sheet import SheetMap

Cells = Mapping[str, str | None]  # column -> as typed

EXAMPLE = "Example:"  # how the first cell of a row begins that shows how a sheet is filled in
NOT_IMPORTED_SHEET = "Not imported:"  # how the first cell of a sheet of a workbook begins that is for people alone
_MOST_LINES = 500_000  # of one sheet, blank ones too
_LONGEST_MEANT = 2_000  # signs of a cell that is tried as people write it
_MOST_RUNS = 20  # of rows that are named each by itself


@dataclass(frozen=True)
class FileContent:
    """What a file holds, or what was expected of it where it could not be read."""

    source: str  # as findings name it
    content: bytes
    expected: str | None = None

    @property
    def name(self) -> str:
        """Its name without the folder."""
        return Path(self.source).name


@dataclass(slots=True)
class TypedRow:
    """One row as typed: cells that are blank are absent; cells found wrong are taken out and named in `bad`."""

    source: str | None  # the file; absent for what was typed at a face
    row_number: int | None  # as a spreadsheet counts, the header being row 1; absent for what was typed at a face
    cells: dict[str, str]
    bad: set[str] = field(default_factory=set)
    log: FileContent | None = None  # the file that the row names, from beside its sheet
    either: dict[str, str] = field(
        default_factory=dict
    )  # column -> both that its cell may mean, or what it seems to be
    given: frozenset[str] = (
        frozenset()
    )  # cells that stand for the whole sheet: a mistake in them is named where they were given

    def get(self, column: str) -> str | None:
        """The cell, or None where it is blank or was found wrong."""
        return self.cells.get(column)

    def sound(self, *columns: str) -> bool:
        """Whether every one of the cells is filled and was not found wrong."""
        return set(columns).issubset(self.cells)

    def names(self, columns: Iterable[str], required: Collection[str]) -> bool:
        """Whether columns of a key name a record: none was found wrong, and those that are required are filled."""
        return all(column in self.cells or (column not in required and column not in self.bad) for column in columns)

    def blank(self, column: str) -> bool:
        """Whether nothing was typed in the cell."""
        return column not in self.cells and column not in self.bad

    def finding(self, column: str, expected: str) -> Finding:
        """A finding on one cell; the cell counts as wrong from now on."""
        value = self.cells.pop(column, "")
        self.bad.add(column)
        return Finding(self.source, self.row_number, column, value, expected)


Sheets = Mapping[str, Sequence[TypedRow]]  # file name -> rows


def typed_row(source: str | None, cells: Mapping[str, str | None]) -> TypedRow:
    """Cells typed at a face as a row; `source` where the face has a name of its own for them."""
    return TypedRow(
        source, None, {name: cell.strip() for name, cell in cells.items() if cell is not None and cell.strip()}
    )


def read_sheets(
    files: Iterable[FileContent],
    known: Mapping[str, Iterable[TypedColumn]],
    beside: Callable[[FileContent, str], FileContent],
    reading: "HowToRead | None" = None,
) -> tuple[dict[str, list[TypedRow]], list[Finding]]:
    """Rows of CSV files, each under one of the known names, and what is wrong with them as files.

    `known` gives, for each file name, the columns that it may have; `beside` the file of a name that stands beside another: a log.
    """
    sheets: dict[str, list[TypedRow]] = {}
    findings: list[Finding] = []
    others = []
    named = set()
    for file in files:
        if file.name not in known:
            others.append(file)
            continue
        sheets[file.name], wrong = read_csv(file, known[file.name], reading)
        findings += wrong
        naming = next((column.name for column in known[file.name] if column.names_file), None)
        if naming is None:
            continue
        for row in sheets[file.name]:
            name = row.get(naming)
            named.add(name)
            # A sheet must not make the program read any file: a name that is a path is found wrong when the row is checked.
            row.log = beside(file, name) if name is not None and name == Path(name).name else None
    naming_files = [sheet for sheet, columns in known.items() if any(column.names_file for column in columns)]
    expected = f"one of the file names {', '.join(known)}, or a file named in {' or '.join(naming_files)}"
    findings += [Finding(file.source, None, None, None, expected) for file in others if file.name not in named]
    return sheets, findings


@dataclass
class HowToRead:
    """How sheets are read: what a person said of them beforehand, and what there is to say of them afterwards."""

    day_first: bool | None = None  # of dates such as 03/04/2026; None: as far as the sheet tells by itself
    notices: list[str] = field(default_factory=list)  # what was taken as what
    maps: "Sequence[SheetMap]" = ()  # of sheets with headings of their own
    read_with: list["SheetMap"] = field(default_factory=list)  # those of them that a sheet was read with
    left_out: set[tuple[str, int]] = field(default_factory=set)  # (source, row) of totals, notes, examples, headers

    def of_rows_read(self, findings: Iterable[Finding]) -> list[Finding]:
        """Findings without those on rows that are none of anybody's records."""
        return [each for each in findings if (each.source, each.row) not in self.left_out]


def read_csv(
    file: FileContent, columns: Iterable[TypedColumn], reading: HowToRead | None = None
) -> tuple[list[TypedRow], list[Finding]]:
    """Rows of one CSV file as people write it (`as_people_write`), and what is wrong with it as a file."""
    reading, columns = reading or HowToRead(), tuple(columns)
    lines, expected = csv_lines(file, (column.name for column in columns), reading)
    if expected is not None:
        return [], [Finding(file.source, None, None, None, expected)]
    return sheet_rows(file.source, lines, columns, reading)


def csv_lines(file: FileContent, names: Iterable[str], reading: HowToRead) -> tuple[list[list[str]], str | None]:
    """Lines of a CSV file that may have headings of some names, or of a map; what was expected of it where it is none."""
    if file.expected is not None:
        return [], file.expected
    text, said = text_of(file.content)
    if text is None:
        return [], "text, best as UTF-8"
    if said is not None:
        reading.notices.append(f"{file.source} {said}")
    if "\0" in text:
        return [], "text (there is a NUL byte in it)"
    foreign = (heading for each in reading.maps for heading in each.foreign)
    separator = separator_of(text, [*names, *foreign])
    try:
        lines = list(
            islice(csv.reader(io.StringIO(text, newline=""), delimiter=separator, strict=True), _MOST_LINES + 1)
        )
    except csv.Error as error:
        return [], f"comma-separated values ({error})"
    return (
        (lines, None) if len(lines) <= _MOST_LINES else ([], f"a sheet of at most {_MOST_LINES:,} lines (it has more)")
    )


def sheet_rows(
    source: str, lines: Sequence[Sequence[str]], columns: Collection[TypedColumn], reading: HowToRead | None = None
) -> tuple[list[TypedRow], list[Finding]]:
    """Rows of a sheet, its header in the first line or below a title, and what is wrong with it as a whole."""
    reading = reading or HowToRead()
    if not lines:
        return [], [
            Finding(source, None, None, None, f"a header row with {', '.join(column.name for column in columns)}")
        ]
    place = header_place(lines, columns)
    if place:
        reading.notices.append(f"{source}: row {place + 1} is the header; what stands above it is left out")
    filled = [cell.strip() for cell in lines[place]]
    while filled and not filled[-1]:
        filled.pop()
    below = lines[place + 1] if len(lines) > place + 1 else None
    header, has_units, findings = header_of(source, place + 1, filled, below, columns)
    if findings:
        return [], findings
    if header.aside:
        reading.notices.append(f"{source}: {', '.join(header.aside)}: for people alone, left out")
    if has_units:
        reading.notices.append(f"{source}: row {place + 2} has the units of the columns")
    first = place + 1 + has_units
    rows, findings = _rows_below(source, lines[first:], first + 1, header, columns, reading)
    _read_as_meant(source, rows, columns, reading)
    return rows, findings


def _rows_below(
    source: str,
    lines: Sequence[Sequence[str]],
    first: int,
    header: Header,
    columns: Collection[TypedColumn],
    reading: HowToRead,
) -> tuple[list[TypedRow], list[Finding]]:
    """Rows of the lines below a header, of which the first has this number."""
    rows: list[TypedRow] = []
    findings: list[Finding] = []
    left_out: dict[tuple[str, str], list[int]] = {}
    width = len(header.headings)
    for row_number, line in enumerate(lines, start=first):
        if not any(map(str.strip, line)):
            continue  # a blank line is none of anybody's records
        cells = header.cells(line)
        why = _AGAIN if header.is_repeated(line) else _why_left_out(cells, columns)
        if why is not None:
            left_out.setdefault(why, []).append(row_number)
            if why != _UNFILLED:
                reading.left_out.add((source, row_number))
        elif len(line) < width or any(map(str.strip, line[width:])):
            wanted = f"{width} cells as in the header, found {len(line)}"
            findings.append(Finding(source, row_number, None, None, wanted))
        else:
            findings += _units_besides(source, row_number, header.given, cells)
            rows.append(TypedRow(source, row_number, {**header.given, **cells}))
    reading.notices += [f"{source}: {_rows_told(counted, *why)} left out" for why, counted in left_out.items()]
    if not rows and not findings and not left_out:
        reading.notices.append(f"{source}: no row below the header")
    return rows, findings


def _units_besides(
    source: str, row_number: int, given: Mapping[str, str], cells: Mapping[str, str]
) -> Iterator[Finding]:
    """Units of a row that are others than those in the headings of their values."""
    for column, unit in given.items():
        own = cells.get(column, unit)
        if own != unit and unit_meant(own) != unit:
            yield Finding(source, row_number, column, own, f"{unit}, which stands in a heading; or a blank cell")


# Why a row is none of anybody's records, in words for one and for several.
_AN_EXAMPLE, _A_TOTAL, _A_NOTE = ("the example", "examples"), ("a total", "totals"), ("a note", "notes")
_UNFILLED, _AGAIN = ("not filled in", "not filled in"), ("the header again", "the header again")
_SUMS = frozenset({"total", "totals", "sum", "subtotal", "average", "mean", "grand total", "sub-total"})
_NOTES = ("*", "\u2020", "note", "remark", "comment", "source:", "legend")


def _why_left_out(cells: Mapping[str, str], columns: Iterable[TypedColumn]) -> tuple[str, str] | None:
    """Why a row is none of anybody's records; None where it may be a record."""
    if next(iter(cells.values()), "").casefold().startswith(EXAMPLE.casefold()):
        return _AN_EXAMPLE
    missing = [column.name for column in columns if column.required and column.name not in cells]
    if missing and any(cell.strip().rstrip(":").casefold() in _SUMS for cell in cells.values()):
        return _A_TOTAL
    if {column.name for column in columns if column.beforehand}.issuperset(cells):
        return _UNFILLED
    text = next(iter(cells.values()), "").casefold()
    return _A_NOTE if len(cells) == 1 and missing and text.startswith(_NOTES) else None


def _rows_told(rows: Sequence[int], single: str, several: str) -> str:
    """Row 7 is a total and is, rows 3 to 24 and 27 are not filled in and are."""
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    told = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs[:_MOST_RUNS]]
    more = f" and {len(runs) - _MOST_RUNS} more" if len(runs) > _MOST_RUNS else ""
    return (
        f"row {told[0]} is {single} and is" if len(rows) == 1 else f"rows {', '.join(told)}{more} are {several} and are"
    )


def _read_as_meant(source: str, rows: Sequence[TypedRow], columns: Collection[TypedColumn], reading: HowToRead) -> None:
    """Put what is meant in the place of cells that are wrong only as they are written, and say so."""
    habits = _said_by_rows(rows, columns, reading)
    names = {column.name for column in columns}
    for column in columns:
        name = column.name
        for row in rows:
            cell = row.cells.get(name)
            if cell is None or is_as_wanted(cell, column):
                continue
            habits = habits or _habits(rows, reading)
            _put_as_meant(row, column, names, habits)
    reading.notices += [] if habits is None else [f"{source}: {notice}" for notice in habits.notices()]


def _said_by_rows(rows: Sequence[TypedRow], columns: Collection[TypedColumn], reading: HowToRead) -> Habits | None:
    """Fill what other cells of its row say; how the cells are written where something was filled, with what."""
    habits: Habits | None = None
    asked = [(column, column.by_row) for column in columns if column.by_row is not None]
    for row in rows if asked else ():
        said = {}
        for column, by_row in asked:
            cell = row.cells.get(column.name, "")
            if cell and column.check(cell) is None:
                continue
            written = by_row(row.cells)
            if written is None or written == cell:
                continue
            habits = habits or _habits(rows, reading)
            habits.take(column, cell, written, "as the row says", row.row_number or 0)
            said[column.name] = written
        row.cells |= said
    return habits


def _habits(rows: Sequence[TypedRow], reading: HowToRead) -> Habits:
    return habits_of((typed for row in rows for typed in row.cells.values()), day_first=reading.day_first)


def _put_as_meant(row: TypedRow, column: TypedColumn, names: Collection[str], habits: Habits) -> None:
    """Put what is meant by a cell in its place, or say what it may mean."""
    name, cell = column.name, row.cells[column.name]
    if len(cell) > _LONGEST_MEANT:
        return
    row.cells[name] = cell = without_plus_minus(cell, column, row.row_number or 0, habits)
    if is_as_wanted(cell, column):
        return
    written = meant(cell, column, row.row_number or 0, habits)
    if written is not None:
        row.cells[name] = written
        return
    parted = without_unit(cell, column)
    if parted is None:
        said = meaning_expected(cell, column, habits)
    else:
        bare_cell, unit = parted
        of = None if fixed_unit(name) == unit else unit_column(name, names)
        own = fixed_unit(name) if of is None else row.cells.get(of, unit)
        bare_cell = bare_cell if column.check(bare_cell) is None else meant(bare_cell, column, 0, Habits()) or bare_cell
        said = expected_of_unit(cell, column, unit, of, own) or meaning_expected(bare_cell, column, habits)
        if said is None and (said := column.check(bare_cell)) is None:
            habits.take(column, cell, f"{bare_cell} {unit}", "a unit in the cell", row.row_number or 0)
            row.cells |= {name: bare_cell} if of is None else {name: bare_cell, of: unit}
            return
    if said is not None:
        row.either[name] = said


def _check_of(column: TypedColumn) -> Check:
    return written_out if column.required and column.check is any_text else column.check


def cell_findings(rows: Sequence[TypedRow], columns: Iterable[TypedColumn]) -> list[Finding]:
    """Every cell that is wrong by itself, or blank where it must be filled."""
    findings = []
    asked = [(column, column.name, _check_of(column), column.expected_of_blank) for column in columns]
    for row in rows:
        cells = row.cells
        for column, name, check, of_blank in asked:
            expected = check(cells[name]) if name in cells else of_blank
            if expected is not None:
                if row.row_number is None and name in cells:  # of a sheet it was asked when that was read
                    row.either[name] = meaning_expected(cells[name], column, habits_of([cells[name]])) or expected
                findings.append(row.finding(name, row.either.get(name, expected)))
    return findings
