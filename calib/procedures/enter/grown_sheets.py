"""Sheets that grow: of a sheet that is imported again, rows that the records hold as they stand are left out and counted.

A row is known again by the key of its declaration, or by the columns that it is told by where it has none. It is identical where
each of its cells has the value on record: a number by its value, a time whatever zone it was typed in, a unit by its size, a text
as it was typed; a cell that a later act may have filled (an acceptance, a withdrawal) may be blank in the sheet. What was amended
since is identical both as it was first typed and as it is in force. A row that differs is a finding for each cell that does, with
both values, and nothing is written.

Decision (2026-11-29). A sheet changes no record. Options: take a changed row as an amendment (a slip in a sheet would rewrite what
reports rest on, without a reason); leave it out too (nobody would hear of it). Cost: what was mended in the sheet alone is to be
amended by its own act before the sheet can be imported again.
"""

from collections import Counter, defaultdict
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from calib.counted import count_of
from calib.errors import Finding, Step
from calib.procedures.enter.names_on_record import Recorded
from calib.procedures.enter.recorded_rows import LogsOnRecord, recorded_rows
from calib.procedures.enter.refusal_on_record import REFUSAL_NUMBER, refusal_told
from calib.procedures.typed.cells import any_text, same_time, time_with_zone
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.declaration import TAKEN_BACK, Declaration, RecordNames, TypedColumn
from calib.procedures.typed.sheets import Sheets, TypedRow
from calib.quantities import UNITS, finite_number, unit

_AMENDED_BY = {
    "instruments.csv": Step.AMEND_INSTRUMENT,
    "methods.csv": Step.AMEND_METHOD,
    "jobs.csv": Step.AMEND_JOB,
    "outlets.csv": Step.AMEND_OUTLET,
    "readings.csv": Step.CORRECT_READING,
}
_NOT_BY_A_SHEET = "a sheet changes no record"


@dataclass(frozen=True)
class Grown:
    """What is new in sheets, and what is not."""

    new: Sheets
    on_record: Counter[str]  # file -> rows that the records hold as they stand
    findings: Sequence[Finding]  # on rows that the records hold otherwise
    notices: Sequence[str] = ()  # on rows on record that the gate refused


@dataclass
class _Record:
    """A record as the row of its file, as it was typed first and as it is in force; whether a row of the sheet is identical."""

    typed: Mapping[str, str]
    in_force: Mapping[str, str]
    taken: bool = field(default=False)
    refusal: str | None = None  # its number, of a reading that the gate refused and nobody dismissed


def grown(sheets: Sheets, recorded: Recorded) -> Grown:
    """Part sheets into rows that are new, those on record, and findings on those that are there otherwise."""
    logs = LogsOnRecord(recorded.names)
    new: dict[str, Sequence[TypedRow]] = {}
    counts: Counter[str] = Counter()
    findings: list[Finding] = []
    notices: list[str] = []
    for file, rows in sheets.items():
        new[file] = rows
        if not any(row.source for row in rows):
            continue
        records = _records(recorded, file, logs)
        if records:
            new[file], wrong = _parted(FILES[file], rows, records, logs)
            counts[file] = len(rows) - len(new[file]) - len({id(row) for row, _ in wrong})
            findings += [finding for _, finding in wrong]
            notices += _of_refused(file, [each for own in records.values() for each in own if each.taken])
    return Grown(new, +counts, findings, notices)


def _of_refused(file: str, taken: Iterable[_Record]) -> list[str]:
    """What is said of rows that the records hold as refusals: which is the first, and what may be done."""
    refused = [(record.typed["job"], record.refusal) for record in taken if record.refusal is not None]
    if not refused:
        return []
    first = refusal_told(*refused[0])
    return [f"{file}: the gate refused {count_of(len(refused), 'row', 'rows')} of those on record, as {first}"]


def _records(recorded: Recorded, file: str, logs: LogsOnRecord) -> dict[RecordNames, list[_Record]]:
    """The records that the rows of a file have to do with, by what they are known again by."""
    declaration = FILES[file]
    records: dict[RecordNames, list[_Record]] = defaultdict(list)
    for cells in recorded_rows(recorded.names, file, logs):
        own = {column.name: _cell(cells.get(column.name)) for column in declaration}
        known_by = _known_by(declaration, own)
        amended = recorded.in_force(file, known_by)
        in_force = own | {name: _cell(amended[name]) for name in own.keys() & amended.keys()}
        refusal = None if cells.get(TAKEN_BACK) else cells.get(REFUSAL_NUMBER)
        records[known_by].append(_Record(own, in_force, refusal=refusal))
    return records


def _cell(stored: object) -> str:
    return "" if stored is None else str(stored)


def _known_by(declaration: Declaration, cells: Mapping[str, str]) -> RecordNames:
    if declaration.key:
        return declaration.compared(cells.get(name, "") for name in declaration.key)
    columns = (declaration.by_name[name] for name in declaration.told_by)
    return tuple(str(_value(column, cells.get(column.name, ""))) for column in columns)


def _parted(
    declaration: Declaration,
    rows: Sequence[TypedRow],
    records: Mapping[RecordNames, Sequence[_Record]],
    logs: LogsOnRecord,
) -> tuple[list[TypedRow], list[tuple[TypedRow, Finding]]]:
    """Rows that are new, and findings on those that are on record otherwise."""
    others: list[tuple[TypedRow, Sequence[_Record]]] = []
    for row in rows:
        if not row.names(declaration.key or declaration.told_by, declaration.must_name) or row.bad:
            others.append((row, ()))
            continue
        known = records.get(_known_by(declaration, row.cells), ())
        same = next((each for each in known if not each.taken and _is_identical(declaration, row, each, logs)), None)
        if same is None:
            others.append((row, known))
        else:
            same.taken = True
    new: list[TypedRow] = []
    findings: list[tuple[TypedRow, Finding]] = []
    for row, known in others:
        record = next((each for each in known if not each.taken), None)
        if record is None:
            new.append(row)
        else:
            record.taken = True
            findings += [(row, finding) for finding in _changed(declaration, row, record, logs)]
    return new, findings


def _is_identical(declaration: Declaration, row: TypedRow, record: _Record, logs: LogsOnRecord) -> bool:
    return any(not [*_differing(declaration, row, cells, logs)] for cells in (record.typed, record.in_force))


def _differing(
    declaration: Declaration, row: TypedRow, cells: Mapping[str, str], logs: LogsOnRecord
) -> Iterable[TypedColumn]:
    """Columns whose cell is not the one on record."""
    for column in declaration:
        typed, stored = row.cells.get(column.name, ""), cells[column.name]
        if typed == stored or (column.later and not typed):
            continue
        if column.names_file and row.log is not None and logs.contents.get(stored) == row.log.content:
            continue
        if _value(column, typed) != _value(column, stored):
            yield column


def _changed(declaration: Declaration, row: TypedRow, record: _Record, logs: LogsOnRecord) -> Iterable[Finding]:
    step = _AMENDED_BY.get(declaration.file)
    ending = _NOT_BY_A_SHEET if step is None else f"{_NOT_BY_A_SHEET}, it is {step}"
    if record.refusal is not None:
        ending = f"{_NOT_BY_A_SHEET}: it is {refusal_told(record.typed['job'], record.refusal)}"
    for column in _differing(declaration, row, record.in_force, logs):
        stored = record.in_force[column.name]
        told = repr(stored) if stored else "a blank cell"
        yield Finding(
            row.source, row.row_number, column.name, row.cells.get(column.name, ""), f"{told} as on record ({ending})"
        )


def _value(column: TypedColumn, cell: str) -> Any:
    """What a cell says, however it is written; the cell itself where nothing else can be made of it."""
    if not cell and (column.required or column.compared is str):
        return cell
    if column.check is time_with_zone:
        return same_time(cell)
    if column.compared is not str:
        return column.compared(cell)
    if column.name.endswith("unit"):
        return _size_of(cell)
    if column.check is not any_text:
        parts = [part.strip() for part in cell.split(";")]
        if not any(map(finite_number, parts)):
            return [float(part) for part in parts]
    return cell


@lru_cache(maxsize=256)
def _size_of(symbol: str) -> object:
    """The size of a unit: cfm and ft3/min are one."""
    for quantity, known in UNITS.items():
        if symbol in known:
            own = unit(quantity, symbol)
            return quantity, own.scale, own.offset
    return symbol
