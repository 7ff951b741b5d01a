"""What typed rows say was taken back, as retractions of the records that they made."""

from collections.abc import Mapping, Sequence

from sqlmodel import SQLModel

from calib.procedures.enter.check_revisions import revision_of
from calib.procedures.enter.names_on_record import NamesOnRecord
from calib.procedures.typed.columns import DECLARED, FILES
from calib.procedures.typed.declaration import TAKEN_BACK, RecordNames
from calib.procedures.typed.sheets import TypedRow
from calib.records.record import RecordCells
from calib.records.tables.readings import Reading, Refusal

RecordMade = tuple[type[SQLModel], int]  # table and key of the record that a row made


def retractions_of_rows(table: type[SQLModel], rows: Sequence[TypedRow], keys: Sequence[int]) -> list[RecordCells]:
    """Retractions of rows of which each made a record of a table, nothing in its place."""
    return [
        _retraction((table, record_id), row.cells[TAKEN_BACK])
        for row, record_id in zip(rows, keys, strict=True)
        if row.sound(TAKEN_BACK)
    ]


def retractions_of_readings(
    rows: Sequence[TypedRow], written: Sequence[RecordMade], names: NamesOnRecord, correcting: str | None
) -> list[RecordCells]:
    """Retractions of readings and refusals: the next revision takes the place of one where it is of the same table.

    `correcting` is why the reading on record that the rows correct is taken back.
    """
    made = {_numbered(_key_of(row), revision_of(row)): each for row, each in zip(rows, written, strict=True)}
    reasons = {
        _numbered(_key_of(row), revision_of(row)): row.cells[TAKEN_BACK] for row in rows if row.sound(TAKEN_BACK)
    }
    if correcting is not None:
        before = {_numbered(_key_of(row), revision_of(row) - 1) for row in rows}
        made |= _on_record(names, before)
        reasons |= dict.fromkeys(before, correcting)
    return [
        _retraction(made[named], reason, made.get(_numbered(named[:-1], int(named[-1]) + 1)))
        for named, reason in reasons.items()
    ]


def _key_of(row: TypedRow) -> RecordNames:
    readings = FILES["readings.csv"]
    return readings.compared(row.cells[column] for column in readings.must_name)


def _numbered(reading: RecordNames, revision: int) -> RecordNames:
    return (*reading, str(revision))


def _on_record(names: NamesOnRecord, wanted: set[RecordNames]) -> Mapping[RecordNames, RecordMade]:
    compared = DECLARED[Reading].compared
    return {
        compared(own): (table, record_id)
        for table in (Reading, Refusal)
        for record_id, own in names.names(table).items()
        if compared(own) in wanted
    }


def _retraction(record: RecordMade, reason: str, by: RecordMade | None = None) -> RecordCells:
    table, record_id = record
    return {
        "record_table": str(table.__tablename__),
        "record_id": record_id,
        "replaced_by_id": by[1] if by is not None and by[0] is table else None,
        "reason": reason,
    }
