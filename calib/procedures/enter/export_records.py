"""Write the records as the CSV files that an import reads back to the same content; the rest beside them, marked as not imported.

What an import reads is every cell as it was typed, in the order in which it was recorded; readings by job and time, whether the
gate let them through or not: it decides anew. So records that are imported from an export have the same flows and the same export.

In the folder `not-imported` stand, row by row as they are stored, what belongs to these records alone: the ledger with who wrote
what and when, people and their roles, impact reviews with their dispositions, files and issued reports with their bytes, the
reasons of refusals.

Decision (2026-11-29): decisions on curves, rules of the house, competences, validations and whose
signatures are trusted come back; people, dispositions and
issued reports do not. A role is given by whoever has one to give, a line is disposed of by whoever looked at it, and an issued
report is the bytes that went out with the ledger's digest: an import would say each in the name of whoever types it. Options: all
of it by sheets (roles in a ledger that nobody in it could have given), nothing of it. Cost: people are added, lines disposed of
and files attached again; whoever wants records whole carries them over with their ledger instead.
"""

import csv
import hashlib
import io
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import LargeBinary
from sqlmodel import Session, SQLModel, col, select

from calib.errors import CalibError, Step
from calib.procedures.enter.names_on_record import NamesOnRecord
from calib.procedures.enter.recorded_rows import LogsOnRecord, recorded_rows
from calib.procedures.typed.columns import FILES
from calib.records.issued_forms import form_bytes
from calib.records.record import RecordCells
from calib.records.tables.calibrations import Acceptance, ReferenceStandard
from calib.records.tables.curves import StoredCurve
from calib.records.tables.evidence import EVIDENCE
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.readings import LoggedSeries, Traverse, TraversePoint
from calib.records.tables.reports import IssuedForm
from calib.records.tables.reviews import ReviewDecision

NOT_IMPORTED = "not-imported"
# Tables whose rows stand within the sheets of others.
_WITHIN: tuple[type[SQLModel], ...] = (
    ReferenceStandard, StoredCurve, Acceptance, LoggedSeries, Traverse, TraversePoint,
)  # fmt: skip
# Tables whose rows are read back in part: decisions on the curve of comparisons as found.
_IN_PART: tuple[type[SQLModel], ...] = (ReviewDecision,)
_READ_BACK = {*_WITHIN, *(declaration.table for declaration in FILES.values())} - {*_IN_PART}
_OTHERS: tuple[type[SQLModel], ...] = (
    *(table for table in EVIDENCE if table not in _READ_BACK), LedgerEntry,
)  # fmt: skip


@dataclass(frozen=True)
class ExportedFile:
    """One file of an export."""

    name: str  # with the folder below the export's own
    content: bytes
    rows: int | None = None  # absent: a file that belongs to a row


@dataclass(frozen=True)
class Exported:
    """What an export wrote: rows by file, and how many files of logs beside them; of what an import reads back, and of the rest."""

    imported: Mapping[str, int]
    not_imported: Mapping[str, int]


def export_records(session: Session) -> Iterator[ExportedFile]:
    """Every file of an export, one after the other; raises CalibError where a cell cannot be written.

    Files without a row are left out. What is read must not change meanwhile: the session reads one state of the records.
    """
    names = NamesOnRecord(session)
    logs = LogsOnRecord(names)
    for file, declaration in FILES.items():
        yield from csv_file(file, [*declaration.by_name], recorded_rows(names, file, logs))
    for name, content in logs.contents.items():
        yield ExportedFile(name, content)
    yield from _others(session)


# --- files ------------------------------------------------------------------------------------------------------------------------


def csv_file(name: str, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> Iterator[ExportedFile]:
    """A CSV file, unless there is no row; raises CalibError."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, columns, extrasaction="ignore", lineterminator="\n")
    writer.writeheader()
    count = 0
    for row in rows:
        writer.writerow(row)
        count += 1
    if count:
        try:
            yield ExportedFile(name, out.getvalue().encode(), count)
        except UnicodeEncodeError as error:
            raise CalibError(
                f"{Path(name).name}: a cell holds what is no text, put there past the program: {Step.VERIFY} names it"
            ) from error


# --- what an import does not read ------------------------------------------------------------------------------------------------


def _others(session: Session) -> Iterator[ExportedFile]:
    for table in _OTHERS:
        columns = table.__table__.columns  # type: ignore[attr-defined]
        records = session.exec(
            select(table).order_by(col(getattr(table, columns.keys()[0]))).execution_options(yield_per=100)
        )
        files = [column.name for column in columns if isinstance(column.type, LargeBinary)]
        rows = []
        for record in records:
            cells = _as_it_is(session, record)
            for column in files:
                if cells[column] is not None:
                    content, cells[column] = cells[column], hashlib.sha256(cells[column]).hexdigest()
                    yield ExportedFile(f"{NOT_IMPORTED}/files/{cells[column]}", content)
            rows.append(cells)
        yield from csv_file(f"{NOT_IMPORTED}/{table.__tablename__}.csv", columns.keys(), rows)


def _as_it_is(session: Session, record: SQLModel) -> RecordCells:
    """The cells of a record; of an issued form with its own bytes, however they are kept. Raises RecordsError."""
    cells = dict(record.model_dump())
    if isinstance(record, IssuedForm):
        cells |= {"content": form_bytes(session, record), "encoding": None}
    return cells
