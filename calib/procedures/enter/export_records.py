"""Write the records as the CSV files that an import reads back to the same content; the rest beside them, marked as not imported.

What an import reads is every cell as it was typed, in the order in which it was recorded; readings by job and time, whether the
gate let them through or not: it decides anew. So records that are imported from an export have the same flows and the same export.

In the folder `not-imported` stand, row by row as they are stored, what belongs to these records alone: the ledger with who wrote
what and when, people and their roles, impact reviews with their dispositions, files and issued reports with their bytes, the
reasons of refusals.

Decision (2026-11-29): decisions on curves, rules of the house, competences and validations come back; people, dispositions and
issued reports do not. A role is given by whoever has one to give, a line is disposed of by whoever looked at it, and an issued
report is the bytes that went out with the ledger's digest: an import would say each in the name of whoever types it. Options: all
of it by sheets (roles in a ledger that nobody in it could have given), nothing of it. Cost: people are added, lines disposed of
and files attached again; whoever wants records whole carries them over with their ledger instead.
"""

import csv
import hashlib
import io
import json
from collections import defaultdict
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from sqlalchemy import LargeBinary
from sqlmodel import Session, SQLModel, col, select

from calib.errors import CalibError, Step
from calib.procedures.enter.names_on_record import NamesOnRecord
from calib.procedures.on_record.recorded import sequences
from calib.procedures.on_record.reviews import FOUND_BEYOND
from calib.procedures.typed.cells import same_time
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.declaration import TAKEN_BACK
from calib.records.issued_forms import form_bytes
from calib.records.record import RecordCells, key
from calib.records.tables.calibrations import Acceptance, Calibration, ReferenceStandard
from calib.records.tables.curves import StoredCurve
from calib.records.tables.entries import Retraction
from calib.records.tables.evidence import EVIDENCE
from calib.records.tables.factors import FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import LoggedSeries, Reading, Refusal, Traverse, TraversePoint
from calib.records.tables.reports import IssuedForm, SoftwareValidation
from calib.records.tables.reviews import ImpactReview, ReviewDecision
from calib.records.words import BY_THE_RULE

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
    logs = _Logs(session)
    for file, declaration in FILES.items():
        columns = [column.name for column in declaration]
        yield from _csv(file, columns, _OTHERWISE.get(file, _plain)(names, file, logs))
    for name, content in logs.contents.items():
        yield ExportedFile(name, content)
    yield from _others(session)


# --- what an import reads --------------------------------------------------------------------------------------------------------


def _plain(names: NamesOnRecord, file: str, _logs: "_Logs") -> Iterator[RecordCells]:
    """Each record as its row, with the names of the records that it refers to."""
    declaration = FILES[file]
    withdrawn = _withdrawn(names, declaration.table) if any(each.name == TAKEN_BACK for each in declaration) else {}
    for record in names.all(declaration.table):
        yield names.cells(declaration, record) | {TAKEN_BACK: withdrawn.get(key(record.id))}


def _withdrawn(names: NamesOnRecord, table: type[SQLModel]) -> Mapping[int, str]:
    """Why records of a table were taken back, by their key."""
    own = str(table.__tablename__)
    return {each.record_id: each.reason for each in names.all(Retraction) if each.record_table == own}


def _calibrations(names: NamesOnRecord, file: str, _logs: "_Logs") -> Iterator[RecordCells]:
    """With acceptance and reference standards, which are records of their own."""
    accepted = {each.calibration_id: each.model_dump() for each in names.all(Acceptance)}
    standards: dict[int, list[str]] = defaultdict(list)
    for standard in names.all(ReferenceStandard):
        standards[standard.calibration_id] += names.names(Instrument)[standard.instrument_id]
    for cells in _plain(names, file, _logs):
        acceptance = accepted.get(cells["id"], {})
        joined = ";".join(standards[cells["id"]]) or None
        yield acceptance | cells | {"standards": joined, "judged": _judged(acceptance)}


def _judged(acceptance: RecordCells) -> str | None:
    """What the acceptance was judged by, where it states its decision rule."""
    if acceptance.get("decision_rule") is None or acceptance.get("assessment") is None:
        return None
    judged = json.loads(acceptance["assessment"]).get("judged")
    return None if judged is None else str(judged)


def _chosen_curves(names: NamesOnRecord, file: str, logs: "_Logs") -> Iterator[RecordCells]:
    """Those that a person chose: the others follow from the comparisons."""
    return (cells for cells in _plain(names, file, logs) if cells["chosen_by"] != BY_THE_RULE)


def _factors(names: NamesOnRecord, file: str, logs: "_Logs") -> Iterator[RecordCells]:
    for cells in _plain(names, file, logs):
        yield cells | {"face_indications": ";".join(repr(each) for each in json.loads(cells["face_indications"]))}


def _decisions(names: NamesOnRecord, _file: str, _logs: "_Logs") -> Iterator[RecordCells]:
    """Of reviews that comparisons as found opened: the others say no more than that all is as before."""
    reviews = {key(each.id): each for each in names.all(ImpactReview) if each.cause in (None, FOUND_BEYOND)}
    decisions = [each for each in names.all(ReviewDecision) if each.impact_review_id in reviews]
    places = {table: _places(names, table) for table in (ReviewDecision, FoundFactor)} if decisions else {}
    for decision in decisions:
        place = places[ReviewDecision][key(decision.id)]
        before = sum(each < place for each in places[FoundFactor].values())
        owner = zip(
            ("tag", "certificate"),
            names.names(Calibration)[key(reviews[decision.impact_review_id].calibration_id)],
            strict=True,
        )
        yield decision.model_dump() | dict(owner) | {"factors_before": before or None}


def _places(names: NamesOnRecord, table: type[SQLModel]) -> Mapping[int, int]:
    """Places in the ledger of the records of a table, by their key."""
    return sequences(names.session, str(table.__tablename__), [key(each.id) for each in names.all(table)])


def _validations(names: NamesOnRecord, _file: str, logs: "_Logs") -> Iterator[RecordCells]:
    """Each with what it gave in a file beside."""
    for validation in names.all(SoftwareValidation):
        name = f"validation-{validation.sha256[:12]}.json"
        yield validation.model_dump(exclude={"content"}) | {"file": logs.beside(name, validation.content)}


def _observed(names: NamesOnRecord) -> list[Reading | Refusal]:
    """Readings and refusals by job and time: an order that does not hang on what the gate decided."""
    outlets, tags = names.names(Outlet), names.names(Instrument)
    places = {outlet_id: place for place, outlet_id in enumerate(outlets)}
    return sorted(
        [*names.all(Reading), *names.all(Refusal)],
        key=lambda reading: (
            outlets[reading.outlet_id][0],
            same_time(reading.observed_at),
            places[reading.outlet_id],
            tags[reading.instrument_id],
            reading.revision or 1,
        ),
    )


def _readings(names: NamesOnRecord, file: str, logs: "_Logs") -> Iterator[RecordCells]:
    """Accepted or refused, with the traverse and the log that belong to each."""
    traverses = {key(each.id): each for each in names.all(Traverse)}
    withdrawn = {table: _withdrawn(names, table) for table in (Reading, Refusal)}
    for reading in _observed(names):
        traverse = traverses.get(reading.traverse_id or 0)
        yield names.cells(FILES[file], reading) | {
            "log_file": logs.names.get(reading.logged_series_id or 0),
            "traverse_rule": getattr(traverse, "rule", None),
            "traverse_lines": getattr(traverse, "lines", None),
            "traverse_points": getattr(traverse, "points", None),
            TAKEN_BACK: withdrawn[type(reading)].get(key(reading.id)),
        }


def _traverses(names: NamesOnRecord, _file: str, _logs: "_Logs") -> Iterator[RecordCells]:
    """Points with the names of the reading that they belong to."""
    points: dict[int, list[TraversePoint]] = defaultdict(list)
    for point in names.all(TraversePoint):
        points[point.traverse_id].append(point)
    for reading in _observed(names):
        for point in points[reading.traverse_id or 0]:
            yield names.cells(FILES["readings.csv"], reading) | point.model_dump()


# Files whose rows are more than one record each, or fewer than the table has, or told otherwise than stored.
_OTHERWISE: Mapping[str, Callable[[NamesOnRecord, str, "_Logs"], Iterator[RecordCells]]] = {
    "calibrations.csv": _calibrations,
    "curves.csv": _chosen_curves,
    "factors.csv": _factors,
    "review_decisions.csv": _decisions,
    "validations.csv": _validations,
    "readings.csv": _readings,
    "traverses.csv": _traverses,
}


class _Logs:
    """What stands beside the sheets, under file names of their own: logged series, what validations gave.

    The same name and content is one file, the same name with another is another.
    """

    def __init__(self, session: Session) -> None:
        self.contents: dict[str, bytes] = {}
        self.names: dict[int, str] = {}
        self._names: dict[str, str] = {}  # in lower case -> as the file is called
        for series in session.exec(select(LoggedSeries).order_by(col(LoggedSeries.id))):
            self.names[key(series.id)] = self.beside(series.name, series.content)

    def beside(self, name: str, content: bytes) -> str:
        """Put a file beside the sheets; the name that it has there."""
        stem, suffix, count = Path(name).stem, Path(name).suffix, 1
        while name.lower() in FILES or self._taken(name, content):
            count += 1
            name = f"{stem}-{count}{suffix}"
        self.contents[name] = content
        self._names[name.casefold()] = name
        return name

    def _taken(self, name: str, content: bytes) -> bool:
        """Whether a system that takes upper and lower case for one has another file, or another name, there."""
        other = self._names.get(name.casefold())
        return other is not None and (other != name or self.contents[other] != content)


def _csv(name: str, columns: Sequence[str], rows: Iterable[Mapping[str, Any]]) -> Iterator[ExportedFile]:
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
        yield from _csv(f"{NOT_IMPORTED}/{table.__tablename__}.csv", columns.keys(), rows)


def _as_it_is(session: Session, record: SQLModel) -> RecordCells:
    """The cells of a record; of an issued form with its own bytes, however they are kept. Raises RecordsError."""
    cells = dict(record.model_dump())
    if isinstance(record, IssuedForm):
        cells |= {"content": form_bytes(session, record), "encoding": None}
    return cells
