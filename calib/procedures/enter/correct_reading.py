"""Correct a reading: a new record takes the place of the one that was typed wrongly; both stay, and both are shown.

Outlet, instrument and time stay: they say which reading it is. One typed at the wrong outlet, with the wrong instrument or time is
withdrawn, and typed again. The corrected one is checked and goes through the gate as any other; refused, it is kept as a refusal.
Photographs kept with the reading are kept with the one that takes its place too.

Decision (2026-11-29). A corrected reading is the whole of one with its revision in its key, and the retraction of the one before
names it. Options: a table of corrections by cell (each reader puts cells together), a new reading by hand (nothing ties both).
Cost: a traverse's points and a log are kept again.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, col, select

from calib.errors import BadInputError, Finding
from calib.procedures.enter.add_reading import rows_of_points
from calib.procedures.enter.import_sheets import import_sheets
from calib.procedures.impact.take_back import HungOn, hung_on_reading, reason_and_number
from calib.procedures.on_record.by_name import tags_of
from calib.procedures.on_record.corrected_readings import indications_at_points
from calib.procedures.on_record.jobs_by_name import typed_in_job
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.people.authorise import append
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.sheets import Cells, FileContent, TypedRow, typed_row
from calib.records import ledger
from calib.records.record import key, typed
from calib.records.tables.files import Attached
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import LoggedSeries, Reading, Traverse


@dataclass(frozen=True)
class CorrectedReading:
    """A reading and what took its place."""

    reading: int
    outlet: str
    corrected: int | None  # key of the new one; None: the gate refused it
    reasons: tuple[str, ...]  # of the gate
    hung_on: HungOn  # on the reading that was corrected
    remarks: tuple[str, ...]


def correct_reading(
    session: Session,
    job: str,
    reading_id: int,
    changes: Cells,
    log: FileContent | None,
    points: Mapping[tuple[int, int], str],
    reason: str,
    signature: ledger.Signature,
    now: datetime,
    *,
    sure: bool = False,
) -> CorrectedReading:
    """Append the corrected reading and the retraction of the one before.

    `changes` are cells of readings.csv: what is None stays, what is blank is taken out; `points` those of a traverse by line and
    point. Raises NotInRecordsError, BadInputError with every finding, or DoubtError (`calib.procedures.enter.add_reading`).
    """
    reading, outlet = typed_in_job(session, job, Reading, reading_id)
    before = _row(session, reading, outlet, job)
    row = typed_row(None, before.cells | {name: cell for name, cell in changes.items() if cell is not None})
    row.log = log if log is not None else before.log if row.get("log_file") == before.get("log_file") else None
    of_points, findings = _points(session, reading, row, points)
    findings += reason_and_number(session, reading, reason)
    if row.cells == before.cells and log is None and not points:
        findings.append(Finding.typed(None, None, "another value than the one on record, of one cell at least"))
    if findings:
        raise BadInputError(findings)
    row.cells["revision"] = str((reading.revision or 1) + 1)
    for point in of_points:
        point.cells["revision"] = row.cells["revision"]
    hung_on = hung_on_reading(session, reading_id)
    sheets = {"readings.csv": [row], "traverses.csv": of_points}
    imported = import_sheets(session, sheets, signature, now, correcting=reason.strip(), sure=sure)
    reasons = tuple(reason for refused in imported.refusals for reason in refused.reasons)
    corrected = None if reasons else _next(session, reading)
    if corrected is not None:
        _photographs_along(session, reading_id, corrected, signature)
    return CorrectedReading(reading_id, outlet.outlet, corrected, reasons, hung_on, imported.remarks)


def _row(session: Session, reading: Reading, outlet: Outlet, job: str) -> TypedRow:
    """A reading as the row of readings.csv that it was."""
    tags = tags_of(session, {reading.instrument_id, reading.probe_id} - {None})  # type: ignore[arg-type]
    series = None if reading.logged_series_id is None else session.get_one(LoggedSeries, reading.logged_series_id)
    traverse = None if reading.traverse_id is None else session.get_one(Traverse, reading.traverse_id)
    columns = FILES["readings.csv"].by_name
    cells = {name: cell for name, cell in typed(reading).items() if name in columns and name != "revision"} | {
        "job": job,
        "outlet": outlet.outlet,
        "instrument": tags[reading.instrument_id],
        "method": session.get_one(Method, reading.method_id).method,
        "probe": tags.get(reading.probe_id),
        "log_file": None if series is None else series.name,
        "traverse_rule": None if traverse is None else traverse.rule,
        "traverse_lines": None if traverse is None else str(traverse.lines),
        "traverse_points": None if traverse is None else str(traverse.points),
    }
    row = typed_row(None, cells)
    row.log = None if series is None else FileContent(series.name, series.content)
    return row


def _points(
    session: Session, reading: Reading, row: TypedRow, changed: Mapping[tuple[int, int], str]
) -> tuple[list[TypedRow], list[Finding]]:
    """Rows of the points of a traverse, as they are to be; and what was typed for points that it has not."""
    there = indications_at_points(session, reading)
    rows = rows_of_points(row.cells, there | {place: changed[place] for place in changed.keys() & there.keys()})
    expected = "a point of the traverse, as LINE/POINT=VALUES" if there else "nothing: this reading is no traverse"
    return rows, [
        Finding.typed("point", f"{line}/{point}", expected) for line, point in sorted(changed.keys() - there.keys())
    ]


def _next(session: Session, reading: Reading) -> int:
    """Number of the reading that took the place of another."""
    same = (
        Reading.outlet_id == reading.outlet_id,
        Reading.instrument_id == reading.instrument_id,
        Reading.observed_at == reading.observed_at,
    )
    return key(session.exec(select(Reading.id).where(*same, Reading.revision == (reading.revision or 1) + 1)).one())


def _photographs_along(session: Session, reading: int, corrected: int, signature: ledger.Signature) -> None:
    own = select(Attached).where(Attached.reading_id == reading, not_retracted(Attached)).order_by(col(Attached.id))
    along = [
        Attached(attachment_id=each.attachment_id, reading_id=corrected, remarks=each.remarks)
        for each in session.exec(own)
    ]
    append(session, along, signature)
