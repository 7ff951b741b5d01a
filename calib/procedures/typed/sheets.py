"""Sheets: rows of typed cells, from the bytes of a CSV file or from the options of a command."""

import csv
import io
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from calib.errors import Finding
from calib.procedures.typed.as_people_write import (
    Habits,
    SheetHeading,
    did_you_mean,
    habits_of,
    header_place,
    headings_of,
    is_as_wanted,
    is_sum,
    meant,
    separator_of,
    text_of,
    two_meanings,
    unit_column,
)
from calib.procedures.typed.declaration import TypedColumn
from calib.procedures.typed.unit_spelling import unit_meant

Cells = Mapping[str, str | None]  # column -> as typed

EXAMPLE = "Example:"  # how the first cell of a row begins that shows how a sheet is filled in
NOT_IMPORTED_SHEET = "Not imported:"  # how the first cell of a sheet of a workbook begins that is for people alone
_MOST_LINES = 500_000  # of one sheet, blank ones too
_MOST_UNKNOWN = 20  # columns that are named each by itself
_LONGEST_NAME = 60  # signs of a column's name in a message


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
    either: dict[str, str] = field(default_factory=dict)  # column -> both that its cell may mean
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


def read_csv(
    file: FileContent, columns: Iterable[TypedColumn], reading: HowToRead | None = None
) -> tuple[list[TypedRow], list[Finding]]:
    """Rows of one CSV file as people write it (`as_people_write`), and what is wrong with it as a file."""
    reading, columns = reading or HowToRead(), tuple(columns)
    lines, expected = csv_lines(file, columns, reading)
    if expected is not None:
        return [], [Finding(file.source, None, None, None, expected)]
    return sheet_rows(file.source, lines, columns, reading)


def csv_lines(
    file: FileContent, columns: Iterable[TypedColumn], reading: HowToRead
) -> tuple[list[list[str]], str | None]:
    """Lines of a CSV file that may have some columns, and what was expected of it where it is none."""
    if file.expected is not None:
        return [], file.expected
    text, said = text_of(file.content)
    if text is None:
        return [], "text, best as UTF-8"
    if said is not None:
        reading.notices.append(f"{file.source} {said}")
    if "\0" in text:
        return [], "text (there is a NUL byte in it)"
    separator = separator_of(text, columns)
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
        return [], [Finding(source, None, None, None, f"a header row with {_names(columns)}")]
    place = header_place(lines, columns)
    if place:
        reading.notices.append(f"{source}: row {place + 1} is the header; what stands above it is left out")
    filled = [cell.strip() for cell in lines[place]]
    while filled and not filled[-1]:
        filled.pop()
    header = headings_of(filled, columns)
    units, findings = _units_of_headings(source, place + 1, header, columns)
    findings += _header_findings(source, place + 1, header, columns, units)
    if findings:
        return [], findings
    rows: list[TypedRow] = []
    left_out: dict[tuple[str, str], list[int]] = {}
    for row_number, line in enumerate(lines[place + 1 :], start=place + 2):
        if not any(map(str.strip, line)):
            continue  # a blank line is none of anybody's records
        if len(line) < len(header) or any(map(str.strip, line[len(header) :])):
            wanted = f"{len(header)} cells as in the header, found {len(line)}"
            findings.append(Finding(source, row_number, None, None, wanted))
            continue
        cells = {each.column: cell for each, cell in zip(header, map(str.strip, line), strict=False) if cell}
        why = _why_left_out(cells, columns)
        if why is None:
            rows.append(TypedRow(source, row_number, units | cells))
        else:
            left_out.setdefault(why, []).append(row_number)
    reading.notices += [f"{source}: {_rows_told(row_numbers, *why)} left out" for why, row_numbers in left_out.items()]
    if not rows and not findings and not left_out:
        reading.notices.append(f"{source}: no row below the header")
    _read_as_meant(source, rows, columns, reading)
    return rows, findings


_AN_EXAMPLE, _A_TOTAL, _UNFILLED = (
    ("the example", "examples"),
    ("a total", "totals"),
    ("not filled in", "not filled in"),
)


def _why_left_out(cells: Mapping[str, str], columns: Iterable[TypedColumn]) -> tuple[str, str] | None:
    """Why a row is none of anybody's records, in words for one and for several; None where it may be a record."""
    if next(iter(cells.values()), "").casefold().startswith(EXAMPLE.casefold()):
        return _AN_EXAMPLE
    if {column.name for column in columns if column.beforehand}.issuperset(cells):
        return _UNFILLED
    missing = [column.name for column in columns if column.required and column.name not in cells]
    return _A_TOTAL if is_sum(cells.values(), missing) else None


def _rows_told(rows: Sequence[int], single: str, several: str) -> str:
    """Row 7 is a total and is, rows 3 to 24 and 27 are not filled in and are."""
    runs: list[list[int]] = []
    for row in rows:
        if runs and row == runs[-1][-1] + 1:
            runs[-1].append(row)
        else:
            runs.append([row])
    told = [str(run[0]) if len(run) == 1 else f"{run[0]} to {run[-1]}" for run in runs[:_MOST_UNKNOWN]]
    more = f" and {len(runs) - _MOST_UNKNOWN} more" if len(runs) > _MOST_UNKNOWN else ""
    return (
        f"row {told[0]} is {single} and is" if len(rows) == 1 else f"rows {', '.join(told)}{more} are {several} and are"
    )


def _read_as_meant(source: str, rows: Sequence[TypedRow], columns: Iterable[TypedColumn], reading: HowToRead) -> None:
    """Put what is meant in the place of cells that are wrong only as they are written, and say so."""
    habits: Habits | None = None
    for column in columns:
        name = column.name
        for row in rows:
            cell = row.cells.get(name)
            if cell is None or is_as_wanted(cell, column):
                continue
            if habits is None:
                habits = habits_of(
                    (typed for line in rows for typed in line.cells.values()), day_first=reading.day_first
                )
            written = meant(cell, column, row.row_number or 0, habits)
            if written is not None:
                row.cells[name] = written
            elif (either := two_meanings(cell, column, habits)) is not None:
                row.either[name] = either
    reading.notices += [] if habits is None else [f"{source}: {notice}" for notice in habits.notices()]


def _names(columns: Iterable[TypedColumn]) -> str:
    return ", ".join(column.name for column in columns)


def _units_of_headings(
    source: str, row: int, header: Sequence[SheetHeading], columns: Collection[TypedColumn]
) -> tuple[dict[str, str], list[Finding]]:
    """Column -> unit, of the units that stand in headings; and what is wrong with them."""
    by_name = {column.name: column for column in columns}
    units: dict[str, str] = {}
    findings = []
    for heading in header:
        column = None if heading.unit is None else unit_column(heading.column, by_name)
        if heading.unit is None or column is None:
            continue
        unit = unit_meant(heading.unit) or heading.unit
        expected = by_name[column].check(unit)
        if expected is None and units.setdefault(column, unit) != unit:
            expected = f"one unit for all that stand in {column}: another heading has {units[column]}"
        if expected is not None:
            findings.append(Finding(source, row, heading.typed, heading.unit, expected))
    return units, findings


def _header_findings(
    source: str, row: int, header: Sequence[SheetHeading], columns: Iterable[TypedColumn], units: Collection[str]
) -> Iterable[Finding]:
    known = {column.name for column in columns}
    counts = Counter(heading.column for heading in header)
    unknown = [name for name in counts if name not in known]
    expected = f"one of the columns {_names(columns)}"
    if len(unknown) > _MOST_UNKNOWN:  # another file: one line says so
        yield Finding(source, row, _shown(unknown[0]), None, f"{expected}; {len(unknown) - 1} more are none of them")
    else:
        for name in unknown:
            yield Finding(source, row, _shown(name), None, f"{expected}{did_you_mean(name, known)}")
    for name, count in counts.items():
        if count > 1 and name in known:
            yield Finding(source, row, name, None, f"the column once, found {count} times")
    for column in columns:
        if column.required and column.name not in counts and column.name not in units:
            yield Finding(source, row, column.name, None, "this column, which is missing")


def _shown(name: str) -> str:
    """The name of a column that may be anything."""
    short = name if len(name) <= _LONGEST_NAME else f"{name[: _LONGEST_NAME - 1]}…"
    return short or "(no name)"


def cell_findings(rows: Sequence[TypedRow], columns: Iterable[TypedColumn]) -> list[Finding]:
    """Every cell that is wrong by itself, or blank where it must be filled."""
    findings = []
    asked = [(column.name, column.check, _expected_of_blank(column)) for column in columns]
    for row in rows:
        cells = row.cells
        for name, check, of_blank in asked:
            expected = check(cells[name]) if name in cells else of_blank
            if expected is not None:
                findings.append(row.finding(name, row.either.get(name, expected)))
    return findings


def _expected_of_blank(column: TypedColumn) -> str | None:
    return (column.check("") or "a value") if column.required else None
