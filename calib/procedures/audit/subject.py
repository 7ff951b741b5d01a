"""What an assessor asks about: an instrument on a day, a job, or a report as it was issued; and what it rests on."""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date, datetime
from functools import cached_property

from sqlmodel import Session, select

from calib.confirmation.traceability import Record
from calib.errors import BadInputError, Finding, NotInRecordsError
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.record_named import record_named
from calib.procedures.impact.rests_on import STANDARD
from calib.procedures.impact.trace import Trace, trace_up
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.calibrations import CalibrationOnFile, calibrations_by_key
from calib.procedures.on_record.jobs_by_name import jobs_in_force
from calib.procedures.report.issued import Issue, issues_of
from calib.procedures.verify.rests_on import Numbers, of_instruments, of_job
from calib.records.record import moment
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry

INSTRUMENT, JOB, REPORT = "instrument", "job", "report"
_REPORT = re.compile(r"(?:report )?(?P<job>.+?) (?:revision )?(?P<revision>[1-9][0-9]{0,5})")


@dataclass(frozen=True)
class Use:
    """An instrument that was relied on at a time, or on a day as a whole."""

    tag: str
    at: datetime | date
    calibration_id: int | None  # absent: none was accepted then

    @property
    def day(self) -> str:
        """The day of it, as its own calendar says."""
        return str(self.at.date() if isinstance(self.at, datetime) else self.at)


@dataclass(frozen=True)
class Signed:
    """A record, who wrote it, when and with which version of the program."""

    table: str
    record_id: int
    person: str
    time: str
    version: str | None


@dataclass(frozen=True)
class Subject:
    """What is asked about."""

    kind: str
    name: str
    on: date  # as of which day it is asked
    job: Job | None  # as it counts now; absent for an instrument
    issue: Issue | None  # absent unless a report is asked about
    trace: Trace
    uses: tuple[Use, ...]  # by the readings, their air and their factors; of an instrument on the day asked about
    numbers: Numbers  # keys of every record that it rests on, by table
    calibrations: Mapping[int, CalibrationOnFile]  # that it rests on, with those of the reference standards
    standards: frozenset[int]  # calibrations among them that are of reference standards alone
    entries: tuple[Signed, ...]  # of the ledger, on these records, as they were written

    @cached_property
    def tags(self) -> tuple[str, ...]:
        """Instruments that were relied on, reference standards left out."""
        return tuple(sorted({use.tag for use in self.uses}))

    def written(self, *tables: str) -> list[Signed]:
        """Entries on records of some tables."""
        return [entry for entry in self.entries if entry.table in tables]


def subject_named(session: Session, words: Sequence[str], on: date) -> Subject:
    """The instrument, the job or the issued report (`LM-27 2`) that words name; raises NotInRecordsError, BadInputError."""
    issue = _issue_named(session, " ".join(word.strip() for word in words))
    record = (RecordKind.JOB, _job_id(session, issue.job)) if issue else record_named(session, words)
    if record[0] not in (RecordKind.INSTRUMENT, RecordKind.JOB):
        raise BadInputError([Finding.typed("NAME", " ".join(words), "an instrument, a job, or a report as `LM-27 2`")])
    is_job = record[0] == RecordKind.JOB
    job = jobs_in_force(session, [record[1]])[record[1]] if is_job else None
    if job is not None:
        numbers, name = of_job(session, record[1]), job.job
    else:
        numbers, name = of_instruments(session, {record[1]}), session.get_one(Instrument, record[1]).tag
    if issue is not None:
        numbers |= {"issued_report": _report_id(session, issue, record[1])}
    trace = trace_up(session, (INSTRUMENT if job is None else JOB, name), on)
    uses = tuple(_uses(trace, None if is_job else (name, on)))
    resting = {link.on[1] for link in trace.links if link.on[0] == RecordKind.CALIBRATION}
    used = {use.calibration_id for use in uses}
    return Subject(
        REPORT if issue else JOB if is_job else INSTRUMENT,
        name if issue is None else f"{name} revision {issue.revision}",
        on,
        job,
        issue,
        trace,
        uses,
        numbers,
        calibrations_by_key(session, sorted(resting)),
        frozenset(resting - used),
        _entries(session, numbers),
    )


def _issue_named(session: Session, text: str) -> Issue | None:
    """The issue that a job's name and a number name; None where they name no job that was issued."""
    parts = _REPORT.fullmatch(text)
    if parts is None or session.exec(select(Job.id).where(Job.job == parts["job"])).first() is None:
        return None
    issues = issues_of(session, parts["job"])
    asked = next((issue for issue in issues if issue.revision == int(parts["revision"])), None)
    if asked is None:
        there = ", ".join(str(issue.revision) for issue in issues) or "none"
        raise NotInRecordsError(f"no revision {parts['revision']} of the report of {parts['job']}: issued is {there}")
    return asked


def _job_id(session: Session, job: str) -> int:
    return int(session.exec(select(Job.id).where(Job.job == job)).one() or 0)


def _report_id(session: Session, issue: Issue, job_id: int) -> set[int]:
    from calib.records.tables.reports import IssuedReport  # noqa: PLC0415 (of a report alone)

    of_issue = select(IssuedReport.id).where(IssuedReport.job_id == job_id, IssuedReport.revision == issue.revision)
    return {record_id for record_id in session.exec(of_issue) if record_id is not None}


def _uses(trace: Trace, asked: tuple[str, date] | None) -> Sequence[Use]:
    if asked is not None:
        in_force = [link.on[1] for link in trace.links if link.record == trace.start and _is_calibration(link.on)]
        return [Use(*asked, next(iter(in_force), None))]
    uses: dict[Use, None] = {}
    for link in trace.links:
        if link.day is None or link.role == STANDARD:
            continue
        knot, by = trace.knots[link.on], trace.knots[link.record]
        observed = by.says.get("observed_at")
        at = moment(str(observed)) if observed else link.day
        uses[Use(str(knot.says["tag"]), at, link.on[1] if _is_calibration(link.on) else None)] = None
    return list(uses)


def _is_calibration(record: Record) -> bool:
    return record[0] == RecordKind.CALIBRATION


def _entries(session: Session, numbers: Numbers) -> tuple[Signed, ...]:
    entry = LedgerEntry
    columns = (entry.record_table, entry.record_id, entry.person, entry.time, entry.version)
    return tuple(
        Signed(*row)
        for table, keys in numbers.items()
        if keys
        for row in by_keys(session, select(*columns).where(entry.record_table == table), entry.record_id, keys)  # type: ignore[call-overload]
    )
