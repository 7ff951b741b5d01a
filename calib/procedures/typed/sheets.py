"""Sheets: rows of typed cells, from the bytes of a CSV file or from the options of a command."""

import csv
import io
from collections import Counter
from collections.abc import Callable, Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import islice
from pathlib import Path

from calib.errors import Finding
from calib.procedures.typed.declaration import TypedColumn

Cells = Mapping[str, str | None]  # column -> as typed

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
    log: FileContent | None = None  # the file named in log_file
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
) -> tuple[dict[str, list[TypedRow]], list[Finding]]:
    """Rows of CSV files, each under one of the known names, and what is wrong with them as files.

    `known` gives, for each file name, the columns that it may have; `beside` the file of a name that stands beside another: a log.
    """
    sheets: dict[str, list[TypedRow]] = {}
    findings: list[Finding] = []
    others = []
    logs = set()
    for file in files:
        if file.name not in known:
            others.append(file)
            continue
        sheets[file.name], wrong = read_csv(file, known[file.name])
        findings += wrong
        for row in sheets[file.name]:
            name = row.get("log_file")
            logs.add(name)
            # A sheet must not make the program read any file: a name that is a path is found wrong when the row is checked.
            row.log = beside(file, name) if name is not None and name == Path(name).name else None
    expected = f"one of the file names {', '.join(known)}, or a log named in readings.csv"
    findings += [Finding(file.source, None, None, None, expected) for file in others if file.name not in logs]
    return sheets, findings


def read_csv(file: FileContent, columns: Iterable[TypedColumn]) -> tuple[list[TypedRow], list[Finding]]:
    """Rows of one CSV file (UTF-8, a header row), and what is wrong with it as a file."""
    lines, expected = _lines(file)
    if expected is not None:
        return [], [Finding(file.source, None, None, None, expected)]
    return sheet_rows(file.source, lines, columns)


def _lines(file: FileContent) -> tuple[list[list[str]], str | None]:
    if file.expected is not None:
        return [], file.expected
    try:
        text = file.content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return [], f"UTF-8 text (byte {error.start + 1} is none)"
    if "\0" in text:
        return [], "text (there is a NUL byte in it)"
    try:
        lines = list(islice(csv.reader(io.StringIO(text, newline=""), strict=True), _MOST_LINES + 1))
        return (
            (lines, None)
            if len(lines) <= _MOST_LINES
            else ([], f"a sheet of at most {_MOST_LINES:,} lines (it has more)")
        )
    except csv.Error as error:
        return [], f"comma-separated values ({error})"


def sheet_rows(
    source: str, lines: Sequence[Sequence[str]], columns: Iterable[TypedColumn]
) -> tuple[list[TypedRow], list[Finding]]:
    """Rows of a sheet whose first line is its header, and what is wrong with it as a whole."""
    if not lines:
        return [], [Finding(source, None, None, None, f"a header row with {_names(columns)}")]
    header = [name.strip() for name in lines[0]]
    findings = list(_header_findings(source, header, columns))
    if findings:
        return [], findings
    rows = []
    for row_number, line in enumerate(lines[1:], start=2):
        if not any(map(str.strip, line)):
            continue  # a blank line is none of anybody's records
        if len(line) != len(header):
            findings.append(
                Finding(source, row_number, None, None, f"{len(header)} cells as in the header, found {len(line)}")
            )
            continue
        cells = {name: cell for name, cell in zip(header, map(str.strip, line), strict=True) if cell}
        rows.append(TypedRow(source, row_number, cells))
    return rows, findings


def _names(columns: Iterable[TypedColumn]) -> str:
    return ", ".join(column.name for column in columns)


def _header_findings(source: str, header: Sequence[str], columns: Iterable[TypedColumn]) -> Iterable[Finding]:
    known = {column.name for column in columns}
    counts = Counter(header)
    unknown = [name for name in counts if name not in known]
    expected = f"one of the columns {_names(columns)}"
    if len(unknown) > _MOST_UNKNOWN:  # another file: one line says so
        yield Finding(source, 1, _shown(unknown[0]), None, f"{expected}; {len(unknown) - 1} more are none of them")
    else:
        yield from (Finding(source, 1, _shown(name), None, expected) for name in unknown)
    for name, count in counts.items():
        if count > 1 and name in known:
            yield Finding(source, 1, name, None, f"the column once, found {count} times")
    for column in columns:
        if column.required and column.name not in header:
            yield Finding(source, 1, column.name, None, "this column, which is missing")


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
                findings.append(row.finding(name, expected))
    return findings


def _expected_of_blank(column: TypedColumn) -> str | None:
    return (column.check("") or "a value") if column.required else None
