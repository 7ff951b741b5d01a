"""Jobs that something recorded touches: those whose flows, statements or refusals may be others by it.

Of an instrument only what was observed with it from the day on that the record speaks of, and so along every chain: an instrument
that it calibrated from then on, the conditions of the air that it observed.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterator, Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Any

from sqlmodel import Session, col, func, select

from calib.confirmation.interval import ZONES_DIFFER_BY
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.reviews import review_numbered
from calib.records.record import key
from calib.records.tables.calibrations import Calibration, ReferenceStandard
from calib.records.tables.conditions import Condition
from calib.records.tables.entries import Retraction
from calib.records.tables.evidence import EVIDENCE_NAMED
from calib.records.tables.factors import FoundFactor
from calib.records.tables.jobs import Job
from calib.records.tables.methods import MethodRevision
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.tables.readings import Reading, Refusal
from calib.records.tables.reviews import ReviewDecision
from calib.records.tables.supersessions import Supersession

RecordedKeys = Mapping[str, Collection[int]]  # keys of what was recorded, by table
_ALWAYS = ""  # before any day
# What changes nothing that a report says: who writes, what is kept beside, reviews themselves, and what is only said of others.
_SAYS_NOTHING = frozenset(
    {
        "attached", "attachment", "attempt", "backup", "anchor", "clock_step", "company", "competence", "disposition", "house_rule",
        "impact_line", "impact_review", "instrument", "issued_form", "issued_report", "laboratory_certificate", "ledger_break",
        "method", "job", "outlet", "person", "person_login", "role", "sent_entry", "signature_verdict", "validation",
        "comparison", "comparison_correlation", "reference_standard", "logged_series", "traverse", "traverse_point",
        "factor_pair",
    }
)  # fmt: skip
_TAKEN = ("reading", "refusal")
_OF_INSTRUMENT = ("instrument_id", "probe_id", "meter_id")
_DAYS = ("at", "holds_from", "accepted_on", "observed_at")  # columns that say from when on a record holds


@dataclass
class _Touched:
    """Instruments with the day from which on, and jobs."""

    instruments: dict[int, str] = field(default_factory=dict)
    jobs: dict[int, str] = field(
        default_factory=lambda: defaultdict(str)
    )  # with the day of what was observed, "" always

    def instrument(self, instrument: int, day: str) -> None:
        """Touch an instrument from a day on."""
        self.instruments[instrument] = min(day, self.instruments.get(instrument, day))

    def job(self, job: int, day: str = _ALWAYS) -> None:
        """Touch a job, by something observed on a day, or whatever the day."""
        self.jobs[job] = min(day, self.jobs.get(job, day))


def touched_jobs(session: Session, recorded: RecordedKeys) -> Mapping[int, str]:
    """Jobs by key, each with the first day of what was observed in it or "" where that is not what counts."""
    touched = _Touched()
    _owners(session, recorded, touched)
    _down(session, touched)
    return touched.jobs


def day_held_from(session: Session, table: str, record_id: int) -> str:
    """The day from which on a record holds; "" where it holds whatever the day."""
    return _day(session.get_one(EVIDENCE_NAMED[table], record_id))


def _day(record: Any) -> str:
    return next((str(value)[:10] for column in _DAYS if (value := getattr(record, column, None))), _ALWAYS)


def says_something(table: str) -> bool:
    """Whether what a report says may be another by a record of a table."""
    return table not in _SAYS_NOTHING


def _owners(session: Session, recorded: RecordedKeys, touched: _Touched) -> None:
    for name, keys in recorded.items():
        if name in _TAKEN:
            _of_taken(session, EVIDENCE_NAMED[name], keys, touched)
        elif says_something(name):
            of_record = _OF_TABLE.get(name, _of_columns)
            for record in _rows(session, EVIDENCE_NAMED[name], keys):
                of_record(session, record, touched)


def _rows(session: Session, table: Any, keys: Collection[int]) -> Iterator[Any]:
    yield from by_keys(session, select(table), table.id, keys)


def _of_taken(session: Session, table: Any, keys: Collection[int], touched: _Touched) -> None:
    """Readings and refusals: the first day of each job."""
    first = select(Outlet.job_id, func.min(table.observed_at)).join(table, col(table.outlet_id) == Outlet.id)
    for job, at in by_keys(session, first.group_by(col(Outlet.job_id)), table.id, keys):
        touched.job(job, at[:10])


def _of_retraction(session: Session, record: Retraction, touched: _Touched) -> None:
    _owners(session, {record.record_table: [record.record_id]}, touched)


def _of_decision(session: Session, record: ReviewDecision, touched: _Touched) -> None:
    lines = review_numbered(session, record.impact_review_id).lines
    jobs = {str(line.finding["job"]) for line in lines if line.finding.get("job")}
    for job in session.exec(select(Job.id).where(col(Job.job).in_(sorted(jobs)))):
        touched.job(key(job))


def _of_method(session: Session, record: MethodRevision, touched: _Touched) -> None:
    used = select(Outlet.job_id).join(Reading).where(Reading.method_id == record.method_id)
    for job in session.exec(used.distinct()):
        touched.job(job)


def _of_factor(session: Session, record: FoundFactor, touched: _Touched) -> None:
    amended = select(Outlet.job_id).join(OutletRevision).where(OutletRevision.found_factor == record.factor)
    first = select(Outlet.job_id).where(Outlet.found_factor == record.factor)
    for job in {*session.exec(amended.distinct()), *session.exec(first.distinct())}:
        touched.job(job)


def _of_new_calibration(session: Session, record: Calibration, touched: _Touched) -> None:
    """A certificate says nothing before its acceptance, but that the instrument was adjusted."""
    if record.adjustment == "yes":
        _of_calibration(session, key(record.id), _ALWAYS, touched)


def _of_supersession(session: Session, record: Supersession, touched: _Touched) -> None:
    _of_calibration(session, record.old_calibration_id, _ALWAYS, touched)


def _of_columns(session: Session, record: Any, touched: _Touched) -> None:
    """Whose a record is stands in one of its columns."""
    day = _day(record)
    job, outlet, calibration = (getattr(record, f"{name}_id", None) for name in ("job", "outlet", "calibration"))
    if job is not None:
        touched.job(job)
    elif outlet is not None:
        touched.job(session.get_one(Outlet, outlet).job_id)
    elif calibration is not None:
        _of_calibration(session, calibration, day, touched)
    for column in _OF_INSTRUMENT if job is None else ():
        instrument = getattr(record, column, None)
        if instrument is not None:
            touched.instrument(instrument, day)


_OF_TABLE: Mapping[str, Callable[[Session, Any, _Touched], None]] = {
    "calibration": _of_new_calibration,
    "retraction": _of_retraction,
    "review_decision": _of_decision,
    "method_revision": _of_method,
    "found_factor": _of_factor,
    "supersession": _of_supersession,
}


def _of_calibration(session: Session, calibration_id: int, day: str, touched: _Touched) -> None:
    """A calibration counts from the day of its acceptance on, and never before it was made."""
    calibration = session.get_one(Calibration, calibration_id)
    touched.instrument(calibration.instrument_id, max(day, calibration.calibrated_on))


def _down(session: Session, touched: _Touched) -> None:
    """Along the calibrations made with the instruments, to the jobs that they were used in."""
    following = dict(touched.instruments)
    while following:
        calibrated = select(ReferenceStandard.instrument_id, Calibration.instrument_id, Calibration.calibrated_on).join(
            Calibration, col(Calibration.id) == ReferenceStandard.calibration_id
        )
        further: dict[int, str] = {}
        for standard, instrument, on in by_keys(session, calibrated, ReferenceStandard.instrument_id, following):
            if on >= following[standard] and not touched.instruments.get(instrument, on + "x") <= on:
                further[instrument] = min(on, further.get(instrument, on))
        for instrument, day in further.items():
            touched.instrument(instrument, day)
        following = further
    for instrument, day in touched.instruments.items():
        for job in _used_in(session, instrument, day):
            touched.job(job)


def _used_in(session: Session, instrument: int, day: str) -> set[int]:
    """Jobs in which an instrument was used from a day on; a zone may put an hour onto the day before."""
    since = day if day == _ALWAYS else str(date.fromisoformat(day) - ZONES_DIFFER_BY)
    jobs: set[int] = set()
    for table in (Reading, Refusal):
        for column in (table.instrument_id, table.probe_id):
            used = select(Outlet.job_id).join(table, col(table.outlet_id) == Outlet.id)
            jobs |= {*session.exec(used.where(column == instrument, table.observed_at >= since).distinct())}
    conditions = select(Condition.job_id).where(Condition.instrument_id == instrument, Condition.observed_at >= since)
    return jobs | {*session.exec(conditions.distinct())}
