"""Take a record back, with the reason: from then on it counts for nothing, at no time; it stays on record, and shown.

Source: ISO/IEC 17025:2017, 7.5.2 (amendments can be tracked to previous versions, both are kept), from memory. A retraction is one
row that names the record; whatever reads its table asks for it (`calib.procedures.on_record.what_counts.not_retracted`).
What hung on a record is told with the reports that were issued with it: what they say does not change by itself.
"""

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlmodel import Session, SQLModel, col, select

from calib.confirmation.traceability import Record, downward, reached
from calib.errors import BadInputError, Finding
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.rests_on import Ground, ground_below
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.taken_back import against_taken_back, taken_back
from calib.procedures.people.authorise import append
from calib.procedures.typed.reason import without_reason
from calib.records import ledger
from calib.records.record import key, moment
from calib.records.tables.entries import Retraction
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading, Refusal
from calib.records.tables.reports import IssuedReport

# Table -> what a person types the number of a record as.
_TYPED_AS = {str(table.__tablename__): str(table.__tablename__) for table in (Reading, Refusal)}


@dataclass(frozen=True)
class HungOn:
    """What hung on a record that was taken back or amended."""

    readings: tuple[int, ...] = ()  # numbers of those that count
    reports: tuple[str, ...] = ()  # as issued: job and revision
    factors: tuple[str, ...] = ()  # found with it: they keep their value until they are found again


def take_back(session: Session, record: SQLModel, reason: str, signature: ledger.Signature) -> Retraction:
    """Append the retraction of a record; raises BadInputError where there is no reason, or where the person may not."""
    findings = reason_and_number(session, record, reason)
    if findings:
        raise BadInputError(findings)
    retraction = Retraction(
        record_table=str(record.__tablename__),
        record_id=key(record.id),  # type: ignore[attr-defined]
        reason=reason.strip(),
    )
    append(session, [retraction], signature)
    return retraction


def reason_and_number(session: Session, record: Any, reason: str) -> list[Finding]:
    """What is wrong with taking a record back: no reason, or it was taken back already."""
    return [
        *without_reason(reason, "what was wrong, in a few words"),
        *against_taken_back(session, type(record), key(record.id), _TYPED_AS.get(str(record.__tablename__), "entry")),
    ]


# --- what hung on it -------------------------------------------------------------------------------------------------------------


def hung_on_reading(session: Session, reading: int) -> HungOn:
    """What hung on a reading: factors found with it, and the reports issued since."""
    return _hung_on(session, (RecordKind.READING, reading), lambda _: False)


def hung_on_instrument(session: Session, instrument: int, since: datetime | None = None) -> HungOn:
    """What hung on an instrument, or since a time: readings with it, with what it was the standard of, and so on."""
    return _hung_on(session, (RecordKind.INSTRUMENT, instrument), lambda at: since is None or at >= since)


def hung_on_readings(session: Session, readings: Iterable[int]) -> HungOn:
    """The readings that count among some, and the issued reports of their jobs."""
    counting = _that_count(session, readings)
    return HungOn(tuple(counting), tuple(reports_of_jobs(session, _jobs_of(session, counting))))


def _hung_on(session: Session, start: Record, counts: Callable[[datetime], bool]) -> HungOn:
    ground = ground_below(session, [start])
    below = [record for record in reached(downward(ground.links), [start]) if record != start]
    readings = [
        record_id
        for table, record_id in below
        if table == RecordKind.READING and counts(moment(ground.readings[record_id].observed_at))
    ]
    factors = {ground.factors[record_id].factor for table, record_id in below if table == RecordKind.FACTOR}
    counting = _that_count(session, readings)
    jobs = {ground.outlets[ground.readings[reading].outlet_id].job_id for reading in counting}
    return HungOn(tuple(counting), tuple(_reports(ground, below, jobs, start)), tuple(sorted(factors)))


def _reports(ground: Ground, below: Sequence[Record], jobs: set[int], start: Record) -> Iterable[str]:
    for table, record_id in below:
        report = ground.reports.get(record_id) if table == RecordKind.REPORT else None
        if report is not None and (start[0] == RecordKind.READING or report.job_id in jobs):
            yield f"{ground.jobs[report.job_id].job} revision {report.revision}"


def _that_count(session: Session, readings: Iterable[int]) -> list[int]:
    counting = sorted(readings)
    withdrawn = taken_back(session, Reading, counting)
    return [reading for reading in counting if reading not in withdrawn]


def _jobs_of(session: Session, readings: Sequence[int]) -> set[int]:
    of_readings = select(Outlet.job_id).join(Reading, col(Reading.outlet_id) == Outlet.id).distinct()
    return set(by_keys(session, of_readings, Reading.id, readings))


def reports_of_jobs(session: Session, jobs: Iterable[int]) -> list[str]:
    """Reports that were issued of some jobs, in the order of their issue."""
    issued = select(IssuedReport.id, Job.job, IssuedReport.revision).join(Job, col(Job.id) == IssuedReport.job_id)
    rows = sorted(by_keys(session, issued, IssuedReport.job_id, set(jobs)))
    return [f"{job} revision {revision}" for _, job, revision in rows]
