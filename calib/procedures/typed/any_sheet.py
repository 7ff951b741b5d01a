"""A file of which nobody said what it holds: a CSV file of any name, or a workbook whose sheets are any of the files of an import.

What a sheet holds its name says (Readings, readings.csv), or its headings: those of one kind of file, all that it needs among them.
"""

from collections.abc import Mapping, Sequence

from calib.errors import Finding, Step
from calib.procedures.typed.bounded_archive import is_archive
from calib.procedures.typed.columns import FILES, NAMES_OF_FILES, declared_as
from calib.procedures.typed.comparison_sheets import workbook_lines
from calib.procedures.typed.declaration import Declaration
from calib.procedures.typed.foreign_sheet import SheetMap, has_headings, mapped_lines
from calib.procedures.typed.headings import headings_in, unit_column
from calib.procedures.typed.sheets import (
    NOT_IMPORTED_SHEET,
    FileContent,
    HowToRead,
    TypedRow,
    csv_lines,
    sheet_rows,
)
from calib.procedures.typed.spelling import spelled_alike


def read_any(file: FileContent, reading: HowToRead) -> tuple[dict[str, list[TypedRow]], list[Finding]]:
    """Rows of a file under the names of the files of an import, and what is wrong with it."""
    sheets, findings = sheets_in(file, reading)
    if is_archive(file.content):
        named = {f"{file.source}, sheet {name}": (name, lines) for name, lines in sheets.items() if lines}
    else:
        stem = file.name.rpartition(".")[0]
        named = {file.source: (stem, sheets[file.name])} if sheets else {}
    rows, wrong = _sorted(named, reading)
    return rows, reading.of_rows_read([*findings, *wrong])


def sheets_in(file: FileContent, reading: HowToRead) -> tuple[dict[str, list[list[str]]], list[Finding]]:
    """The lines of each sheet of a file, a CSV file's under its own name, and what is wrong with the file."""
    if file.expected is not None:
        return {}, [Finding(file.source, None, None, None, file.expected)]
    if is_archive(file.content):
        return workbook_lines(file, reading)
    lines, expected = csv_lines(file, {column.name for declared in FILES.values() for column in declared}, reading)
    if expected is not None:
        return {}, [Finding(file.source, None, None, None, expected)]
    return {file.name: lines}, []


def _maps_for(name: str, lines: Sequence[Sequence[str]], reading: HowToRead, *, alone: bool) -> list[SheetMap]:
    """The maps that a sheet is read with: those that name it, and whose headings it has; else the only one for the only sheet."""
    fits = [each for each in reading.maps if each.sheet == name or (each.sheet is None and has_headings(each, lines))]
    return fits or (list(reading.maps) if alone and len(reading.maps) == 1 else [])


def _sorted(
    sheets: Mapping[str, tuple[str, Sequence[Sequence[str]]]], reading: HowToRead
) -> tuple[dict[str, list[TypedRow]], list[Finding]]:
    """Rows of sheets, each named by its source, by what they hold."""
    rows: dict[str, list[TypedRow]] = {}
    findings: list[Finding] = []
    of_no_kind: dict[str, tuple[str, int]] = {}
    for source, (name, lines) in sheets.items():
        if lines and lines[0] and lines[0][0].strip().startswith(NOT_IMPORTED_SHEET):
            continue  # of a blank sheet of this program: it says so itself
        maps = _maps_for(name, lines, reading, alone=len(sheets) == 1)
        reading.read_with += maps
        for sheet_map in maps:
            own_lines, said, wrong = mapped_lines(sheet_map, source, lines, maps)
            reading.notices += [notice for notice in said if notice not in reading.notices]
            findings += wrong
            if not wrong:
                own, wrong = sheet_rows(source, own_lines, sheet_map.declared.columns, reading)
                rows.setdefault(sheet_map.declared.file, []).extend(own)
                findings += wrong
        if maps:
            continue
        declared, expected, known = _kind_of(name, lines)
        if declared is None:
            of_no_kind[source] = expected, known
            continue
        if spelled_alike(name) != spelled_alike(declared.name):
            reading.notices.append(f"{source}: by its headings it is read as {declared.file}")
        own, wrong = sheet_rows(source, lines, declared.columns, reading)
        rows.setdefault(declared.file, []).extend(own)
        findings += wrong
    for source, (expected, known) in of_no_kind.items():
        if rows and known < _TWO:  # beside what is read: a sheet of photographs, or of sums
            reading.notices.append(f"{source}: none of its headings is known, left out as a whole")
        else:
            findings.append(Finding(source, None, None, None, expected))
    return rows, findings


_TWO = 2  # headings that are known make a sheet one that was meant to be read


def _kind_of(name: str, lines: Sequence[Sequence[str]]) -> tuple[Declaration | None, str, int]:
    """What a sheet holds, or what was expected of it and how many headings of one kind of file it has at the most."""
    if (declared := declared_as(name.removesuffix(".csv"))) is not None:
        return declared, "", 0
    fits = [(*_fit(lines, each), each) for each in FILES.values()]
    whole = [(known, each) for known, missing, unknown, each in fits if not missing and not unknown]
    most = max((known for known, _ in whole), default=0)
    best = [each for known, each in whole if known == most]
    if len(best) == 1:
        return best[0], "", 0
    known, missing, unknown, nearest = max(fits, key=lambda fit: (fit[0] - len(fit[1]) - len(fit[2]), fit[0]))
    lacks = [f"without {', '.join(missing)}"] if missing else []
    lacks += [f"with {', '.join(unknown)} as well"] if unknown else []
    if known > 1 and lacks:
        said = f" (its headings come nearest to {nearest.file}, {'; '.join(lacks)}), or the name of the file that it is"
    else:
        said = f", or the name of one of {', '.join(NAMES_OF_FILES)}"
    expected = f"headings that say what it holds{said}; or {Step.MAP_HEADINGS}"
    return None, expected, max(known for known, *_ in fits)


def _fit(lines: Sequence[Sequence[str]], declared: Declaration) -> tuple[int, list[str], list[str]]:
    """How many headings of a sheet are those of a kind of file, which of its required ones are missing, which are others."""
    header = headings_in(lines, declared.columns)
    names = declared.by_name
    units = {unit_column(heading.column, names) for heading in header if heading.unit is not None}
    there = {heading.column for heading in header} | units
    missing = [column.name for column in declared if column.needs_heading and column.name not in there]
    unknown = [heading.typed for heading in header if heading.column and heading.column not in names]
    return sum(heading.column in names for heading in header), missing, unknown
