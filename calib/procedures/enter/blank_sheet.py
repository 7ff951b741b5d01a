"""Sheets to fill in that an import reads back: headings, what each cell may be, an example, and what is known beforehand.

All of it follows from the declaration of the file: what a column chooses from is the words of its check, or the names of the
records that it refers to. The example says of itself that it is none of anybody's records (`EXAMPLE`).
"""

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from sqlmodel import Session

from calib.procedures.enter.names_on_record import NamesOnRecord
from calib.procedures.enter.recorded_rows import LogsOnRecord, recorded_rows
from calib.procedures.on_record.in_force import outlets_in_force
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.on_record.names_on_file import jobs_by_name, methods_by_name, outlets_by_name, tags_on_file
from calib.procedures.typed.cells import AmongWords, any_text
from calib.procedures.typed.columns import DECLARED
from calib.procedures.typed.declaration import Declaration, TypedColumn
from calib.procedures.typed.sheets import EXAMPLE
from calib.quantities import INSTRUMENT_QUANTITIES, UNITS
from calib.records.record import key

# Cells that are right of themselves, for an example of columns that the example of a file does not fill.
_RIGHT = ("1", "2", "10", "2026-03-05", "2026-03-05T14:30+01:00", "{}")
_OF_RECORDS = {"job": jobs_by_name, "method": methods_by_name, "tag": tags_on_file}


@dataclass(frozen=True)
class BlankColumn:
    """A column of a sheet to fill in."""

    heading: str
    meaning: str
    must: bool = False  # whether it must be filled
    choices: Sequence[str] = ()  # what its cells are chosen from; more may be right where these are names on record
    only: bool = False  # whether nothing else is right


@dataclass(frozen=True)
class BlankSheet:
    """A sheet to fill in."""

    name: str
    columns: Sequence[BlankColumn]
    rows: Sequence[Sequence[str]]  # the example, and what is known beforehand
    is_of_example: bool = True  # whether the first row is an example


def blank_sheet(
    declaration: Declaration, example: Mapping[str, str], session: Session | None = None, job: str | None = None
) -> BlankSheet:
    """The sheet of a file, with the records' names to choose from and what they hold of a job; raises NotInRecordsError.

    `example` gives cells of the row that shows how it is filled in.
    """
    if session is not None and job is not None:
        job_named(session, job)
    columns = [
        BlankColumn(
            column.name,
            column.meaning,
            column.required,
            tuple(_choices(declaration, column, session, job)),
            isinstance(column.check, AmongWords),
        )
        for column in declaration
    ]
    known = [] if session is None or job is None else _known(session, declaration, job)
    rows = [_example(declaration, example), *known]
    return BlankSheet(
        declaration.name,
        columns,
        [[row.get(column.name, "") for column in declaration] for row in rows],
    )


def _choices(declaration: Declaration, column: TypedColumn, session: Session | None, job: str | None) -> Iterator[str]:
    if isinstance(column.check, AmongWords):
        yield from column.check.words
    elif column.name.endswith("unit"):
        yield from (symbol for quantity in INSTRUMENT_QUANTITIES for symbol in UNITS[quantity])
    elif session is not None:
        for reference in declaration.references:
            if reference.columns == (column.name,):
                named = _OF_RECORDS.get(DECLARED[reference.table].key[0])
                yield from [job] if column.name == "job" and job is not None else named(session) if named else ()
                return
            if reference.columns == ("job", column.name) and column.name == "outlet" and job is not None:
                yield from outlets_by_name(session, job)
                return


def _example(declaration: Declaration, example: Mapping[str, str]) -> dict[str, str]:
    """A row that shows how the sheet is filled in; in its first cell it says that it is one."""
    cells = {}
    for column in declaration:
        cell = example.get(column.name) or ("" if example or not column.required else _right(column))
        if cell:
            cells[column.name] = cell
    first = declaration.columns[0].name
    return cells | {first: f"{EXAMPLE} {cells.get(first, '')}".strip()}


def _right(column: TypedColumn) -> str:
    if isinstance(column.check, AmongWords):
        return column.check.words[0]
    if column.check is any_text:
        return "m/s" if column.name.endswith("unit") else column.meaning
    return next((cell for cell in _RIGHT if column.check(cell) is None), "")


def _known(session: Session, declaration: Declaration, job: str) -> Iterator[dict[str, str]]:
    """What the records hold of a job for a sheet: the outlets to be read, or the rows that stand there already."""
    if declaration.file == "readings.csv":
        outlets = outlets_in_force(session, {key(job_named(session, job).id)})
        yield from ({"job": job, "outlet": each.outlet} for each in outlets.values())
        return
    names = NamesOnRecord(session)
    if "job" in declaration.by_name and declaration.file != "traverses.csv":
        for cells in recorded_rows(names, declaration.file, LogsOnRecord(names)):
            if cells.get("job") == job:
                yield {name: str(cell) for name, cell in cells.items() if cell is not None}
