"""Sheets: rows of typed cells, from a CSV file or from the options of a command."""

import csv
import io
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from stat import S_ISDIR, S_ISREG

from calib.errors import BadInputError, Finding

Cells = Mapping[str, str | None]  # column -> as typed

Check = Callable[[str], str | None]  # a cell -> what was expected of it, or None where it is right


@dataclass(frozen=True)
class Column:
    """One column of a sheet."""

    name: str
    check: Check
    meaning: str  # what a cell holds, in a few words; the words or units it may be are the check's
    required: bool = False  # whether the cell must be filled


@dataclass(frozen=True)
class Declaration:
    """What one kind of file holds; iterating gives its columns."""

    file: str
    meaning: str
    columns: tuple[Column, ...]

    def __iter__(self) -> Iterator[Column]:
        return iter(self.columns)


@dataclass
class Row:
    """One row as typed: cells that are blank are absent; cells found wrong are taken out and named in `bad`."""

    source: str | None  # the file; absent for what was typed at a face
    number: int | None  # as a spreadsheet counts, the header being row 1; absent for what was typed at a face
    cells: dict[str, str]
    bad: set[str] = field(default_factory=set)
    log: bytes | None = None  # content of the file named in log_file, once it was read

    def get(self, column: str) -> str | None:
        """The cell, or None where it is blank or was found wrong."""
        return self.cells.get(column)

    def sound(self, *columns: str) -> bool:
        """Whether every one of the cells is filled and was not found wrong."""
        return all(column in self.cells for column in columns)

    def blank(self, column: str) -> bool:
        """Whether nothing was typed in the cell."""
        return column not in self.cells and column not in self.bad

    def finding(self, column: str, expected: str) -> Finding:
        """A finding on one cell; the cell counts as wrong from now on."""
        value = self.cells.pop(column, "")
        self.bad.add(column)
        return Finding(self.source, self.number, column, value, expected)


Sheets = Mapping[str, Sequence[Row]]  # file name -> rows


def typed_row(source: str | None, cells: Mapping[str, str | None]) -> Row:
    """Cells typed at a face as a row; `source` where the face has a name of its own for them."""
    return Row(source, None, {name: cell.strip() for name, cell in cells.items() if cell is not None and cell.strip()})


def read_folder(folder: Path, known: Mapping[str, Iterable[Column]]) -> tuple[dict[str, list[Row]], list[Finding]]:
    """Rows of every CSV file of a folder, and what is wrong with the files; raises BadInputError where there is none to read.

    `known` gives, for each file name that is known, the columns it may have.
    """
    if not _is_folder(folder):
        raise BadInputError(
            [Finding(str(folder), None, None, None, "a folder with CSV files; there is none of this name")]
        )
    found = sorted(path for path in folder.iterdir() if path.suffix.lower() == ".csv")
    if not found:
        raise BadInputError([Finding(str(folder), None, None, None, f"at least one of {', '.join(known)}")])
    sheets: dict[str, list[Row]] = {}
    findings: list[Finding] = []
    for path in found:
        if path.name in known:
            sheets[path.name], wrong = read_file(path, known[path.name])
            findings += wrong
    named = {row.get("log_file") for rows in sheets.values() for row in rows}
    findings += [
        Finding(
            str(path), None, None, None, f"one of the file names {', '.join(known)}, or a log named in readings.csv"
        )
        for path in found
        if path.name not in known and path.name not in named
    ]
    return sheets, findings


def _is_folder(path: Path) -> bool:
    try:
        return path.is_dir()
    except OSError:  # a name that is too long for the system
        return False


def bytes_of(path: Path, largest: int | None = None) -> tuple[bytes, str | None]:
    """Content of a plain file, or what was expected of it: a pipe or a device has no end that could be waited for."""
    try:
        found = path.stat()
        if S_ISREG(found.st_mode) and largest is not None and found.st_size > largest:
            return b"", f"a file of at most {largest / 1e6:g} MB, {largest:,} bytes (it has {found.st_size:,})"
        if S_ISREG(found.st_mode) or S_ISDIR(found.st_mode):
            return path.read_bytes(), None
    except OSError as error:
        return b"", f"a file that can be read ({error.strerror})"
    return b"", "a file that can be read (this is a pipe or a device)"


def read_file(path: Path, columns: Iterable[Column]) -> tuple[list[Row], list[Finding]]:
    """Rows of one CSV file (UTF-8, a header row), and what is wrong with it as a file."""
    content, expected = bytes_of(path)
    if expected is not None:
        return [], [Finding(str(path), None, None, None, expected)]
    try:
        text = content.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        return [], [Finding(str(path), None, None, None, f"UTF-8 text (byte {error.start + 1} is none)")]
    if "\0" in text:
        return [], [Finding(str(path), None, None, None, "text (there is a NUL byte in it)")]
    try:
        lines = [line for line in csv.reader(io.StringIO(text, newline=""), strict=True)]  # noqa: C416 (errors rise here)
    except csv.Error as error:
        return [], [Finding(str(path), None, None, None, f"comma-separated values ({error})")]
    return rows_of(str(path), lines, columns)


def rows_of(source: str, lines: Sequence[Sequence[str]], columns: Iterable[Column]) -> tuple[list[Row], list[Finding]]:
    """Rows of a sheet whose first line is its header, and what is wrong with it as a whole."""
    if not lines:
        return [], [Finding(source, None, None, None, f"a header row with {_names(columns)}")]
    header = [name.strip() for name in lines[0]]
    findings = list(_header_findings(source, header, columns))
    if findings:
        return [], findings
    rows = []
    for number, line in enumerate(lines[1:], start=2):
        if not any(cell.strip() for cell in line):
            continue  # a blank line is none of anybody's records
        if len(line) != len(header):
            findings.append(
                Finding(source, number, None, None, f"{len(header)} cells as in the header, found {len(line)}")
            )
            continue
        cells = {name: cell.strip() for name, cell in zip(header, line, strict=True) if cell.strip()}
        rows.append(Row(source, number, cells))
    return rows, findings


def _names(columns: Iterable[Column]) -> str:
    return ", ".join(column.name for column in columns)


def _header_findings(source: str, header: Sequence[str], columns: Iterable[Column]) -> Iterable[Finding]:
    known = {column.name for column in columns}
    for name in dict.fromkeys(header):
        if name not in known:
            yield Finding(source, 1, name or "(no name)", None, f"one of the columns {_names(columns)}")
        elif header.count(name) > 1:
            yield Finding(source, 1, name, None, f"the column once, found {header.count(name)} times")
    for column in columns:
        if column.required and column.name not in header:
            yield Finding(source, 1, column.name, None, "this column, which is missing")


def cell_findings(rows: Sequence[Row], columns: Iterable[Column]) -> list[Finding]:
    """Every cell that is wrong by itself, or blank where it must be filled."""
    findings = []
    for row in rows:
        for column in columns:
            cell = row.get(column.name)
            expected = _expected_of_blank(column) if cell is None else column.check(cell)
            if expected is not None:
                findings.append(row.finding(column.name, expected))
    return findings


def _expected_of_blank(column: Column) -> str | None:
    return (column.check("") or "a value") if column.required else None
