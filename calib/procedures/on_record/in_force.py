"""What the records hold, loaded once for many readings."""

import json
from bisect import bisect_left, bisect_right
from collections import defaultdict
from collections.abc import Callable, Collection, Hashable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime, time, timedelta
from functools import cached_property, lru_cache
from typing import Any

from sqlmodel import Session, col, select

from calib.confirmation.history import History
from calib.confirmation.interval import CalibrationOnRecord, InstrumentOnRecord
from calib.curves.curve import Curve
from calib.curves.response import curve_from_text
from calib.procedures.on_record.amended import Amended, amended_instruments
from calib.procedures.on_record.by_keys import among, cells_of
from calib.procedures.on_record.errors_of_indication import history_of
from calib.procedures.on_record.factors_left_behind import LeftBehind, factors_left_behind
from calib.procedures.on_record.held_curves import Certificates, with_decisions
from calib.procedures.on_record.methods import methods_in_force
from calib.procedures.on_record.probe_pairs import Pair, all_pairs
from calib.procedures.on_record.register import register_among, with_standards
from calib.procedures.on_record.sources import SourceNames, source_names
from calib.procedures.on_record.what_counts import counts_of_its_calibration, not_retracted, on_trial, that_count
from calib.procedures.typed.observations import Traversed, observed_values
from calib.records.record import key
from calib.records.tables.calibrations import Calibration
from calib.records.tables.comparisons import Comparison
from calib.records.tables.conditions import Condition
from calib.records.tables.curves import StoredCurve
from calib.records.tables.factors import FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import DeclaredAir
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.tables.readings import LoggedSeries, Reading, Refusal, Traverse, TraversePoint


def _no_history(_: Instrument) -> History:
    return ()


def _no_comparisons(_: int) -> Sequence[Comparison]:
    return ()


@dataclass(frozen=True)
class OnRecord:
    """Register, curves, methods, conditions and factors, by the keys that readings carry."""

    register: Mapping[str, InstrumentOnRecord]
    instruments: Mapping[int, Instrument]  # as they count now
    methods: Mapping[int, Method]  # as they count now
    calibrations: Mapping[int, Calibration]
    curves: Mapping[int, StoredCurve]  # by the calibration: the one that counts
    conditions: Mapping[tuple[int, str], tuple[Condition, ...]]  # by job and name
    factors: Mapping[str, FoundFactor]  # by name: the revision that counts
    # Errors of an instrument over its calibrations: read when it is asked for, since most are not.
    history: Callable[[Instrument], History] = field(default=_no_history, repr=False)
    pairs: tuple[Pair, ...] = ()  # of probe and meter
    declared_air: Mapping[tuple[int, str], DeclaredAir] = field(default_factory=dict)  # by job and service: the latest
    # Comparisons of a calibration: read when they are asked for, of those made in house alone.
    comparisons: Callable[[int], Sequence[Comparison]] = field(default=_no_comparisons, repr=False)
    sources: SourceNames = field(default_factory=SourceNames)  # of outlet factors
    amended: Mapping[int, Amended[Instrument]] = field(default_factory=dict)  # instruments that were amended
    widened: Mapping[int, Curve] = field(
        default_factory=dict
    )  # the curve as found, where a review widened the one before
    left_behind: LeftBehind = field(default_factory=LeftBehind)  # factors, by what a review decided since
    # What many readings ask for, once it was worked out.
    worked_out: dict[Hashable, Any] = field(default_factory=dict, repr=False)

    def instrument_at(self, instrument: int, at: datetime | date) -> Instrument:
        """An instrument as it counts of a time, or of the end of a day."""
        amended = self.amended.get(instrument)
        return self.instruments[instrument] if amended is None else amended.at(at)

    def found_wrongly(self, factor: FoundFactor) -> str | None:
        """What is wrong with a factor that was found with a calibration whose values do not hold any more; None where they do."""
        tag = self.instruments[factor.instrument_id].tag
        used = self.register[tag].calibration(factor.calibration_id)
        return against_factor(factor.factor, tag, used)

    def stretch(self, at: datetime, now: datetime) -> Hashable:
        """The stretch of time in which `at` lies: whenever the gate is asked within it, it says the same of everything on record.

        Its answer turns with the day of whoever typed the time, and with whatever befell an instrument or a pair.
        """
        asked = ("stretch", at.date(), at.tzinfo, now)
        if asked not in self.worked_out:
            self.worked_out[asked] = self._whole_day(at, now)
        whole_day: Hashable | None = self.worked_out[asked]
        if whole_day is not None:
            return whole_day
        return at.isoformat() if at > now else (at.date(), bisect_right(self._turns, at))

    def _whole_day(self, at: datetime, now: datetime) -> Hashable | None:
        """The stretch of every time of the day of `at`, where it is one: times with zones are slow to compare."""
        if at > now:
            return None
        begins = datetime.combine(at.date(), time.min, at.tzinfo)
        ends = begins + timedelta(days=1)
        turned = bisect_left(self._turns, begins)
        return (at.date(), turned) if ends <= now and turned == bisect_left(self._turns, ends) else None

    @cached_property
    def _turns(self) -> list[datetime]:
        own = {
            each.at
            for instrument in self.register.values()
            for befell in (instrument.events, instrument.checks, instrument.interval_changes)
            for each in befell
        }
        own |= {
            held.since
            for instrument in self.register.values()
            for calibration in instrument.calibrations
            for held in calibration.held
            if held.since is not None
        }
        own |= {review.opened for instrument in self.register.values() for review in instrument.reviews}
        of_pairs = {at for pair in self.pairs for at in (pair.since, pair.until) if at is not None}
        return sorted(own | of_pairs | {at for each in self.amended.values() for at in each.turns})

    def curve(self, calibration: int) -> Curve:
        """The curve of a calibration."""
        return curve_of(self.curves[calibration].parameters)


def against_factor(factor: str, tag: str, used: CalibrationOnRecord) -> str | None:
    """What is wrong with a factor that was found with a certificate of an instrument, and the next step; None where nothing is."""
    if used.wrong_values is None:
        return None
    return f"factor {factor}: it was found with certificate {used.certificate} of {tag}, which {used.wrong_values}: find it again"


@lru_cache(maxsize=256)
def curve_of(parameters: str) -> Curve:
    """The curve that the records keep."""
    return curve_from_text(parameters)


def on_record(session: Session) -> OnRecord:
    """Load all of it: for what chooses among every instrument."""
    return _loaded(session, None, None)


def on_record_of(
    session: Session, instruments: Collection[int] = (), jobs: Collection[int] = (), *, decided: bool = True
) -> OnRecord:
    """Load what some instruments and jobs rest on, by key: nothing of other instruments, jobs and years.

    With a job come the instruments of its readings and of its conditions of the air, and the factors of its outlets; with an
    instrument its probe or meter, its calibrations and their reference standards. `decided`: with the curves that hold as reviews
    were decided; otherwise all is as before.
    """
    factors = _factors_of(session, jobs)
    touched = {*instruments, *_instruments_of(session, jobs), *_instruments_of_factors(session, factors)}
    return _loaded(session, touched | _partners(session, touched), jobs, factors, decided=decided)


def _loaded(
    session: Session,
    instruments: Collection[int] | None,
    jobs: Collection[int] | None,
    factors: Collection[str] = (),
    *,
    decided: bool = True,
) -> OnRecord:
    within = None if instruments is None else with_standards(session, instruments)
    conditions: dict[tuple[int, str], list[Condition]] = defaultdict(list)
    of_jobs = among(select(Condition), Condition.job_id, jobs).where(not_retracted(Condition))
    for condition in session.exec(of_jobs.order_by(col(Condition.id))):
        conditions[condition.job_id, condition.conditions].append(condition)
    of_factors = select(FoundFactor).order_by(col(FoundFactor.revision))
    if instruments is not None:
        of_factors = of_factors.where(col(FoundFactor.factor).in_(sorted(factors)))
    curves = (
        select(Calibration, StoredCurve)
        .select_from(Calibration)
        .join(StoredCurve, counts_of_its_calibration())
        .order_by(col(Calibration.id))
    )
    calibrated = session.exec(among(curves, Calibration.instrument_id, within)).all()
    registered, trial = amended_instruments(session, within), on_trial(session)
    certificates = Certificates(
        register_among(session, within),
        {record_id: each.now for record_id, each in registered.items()},
        {key(calibration.id): calibration for calibration, _ in calibrated},
        {key(calibration.id): trial.get(key(calibration.id), curve) for calibration, curve in calibrated},
    )
    if decided:
        certificates = with_decisions(session, certificates)
    counting = that_count(session.exec(of_factors), lambda factor: factor.factor)
    return OnRecord(
        certificates.register,
        certificates.instruments,
        methods_in_force(session),
        certificates.calibrations,
        certificates.curves,
        {names: tuple(rows) for names, rows in conditions.items()},
        counting,
        lambda instrument: history_of(session, instrument),
        all_pairs(session, within),
        {(air.job_id, air.service): air for air in declared_air_of(session, jobs)},
        lambda calibration: comparisons_of(session, certificates.compared_in.get(calibration, calibration)),
        source_names(session),
        {record_id: each for record_id, each in registered.items() if each.revisions},
        certificates.widened,
        factors_left_behind(session, counting.values()) if decided else LeftBehind(),
    )


def declared_air_of(session: Session, jobs: Collection[int] | None) -> list[DeclaredAir]:
    """Declared temperatures of jobs, or of all, in the order in which they were recorded."""
    declared = among(select(DeclaredAir), DeclaredAir.job_id, jobs)
    return list(session.exec(declared.order_by(col(DeclaredAir.id))))


def comparisons_of(session: Session, calibration: int) -> Sequence[Comparison]:
    """The comparisons of a calibration, in the order in which they were recorded."""
    of_calibration = select(Comparison).where(Comparison.calibration_id == calibration)
    return session.exec(of_calibration.order_by(col(Comparison.id))).all()


def _instruments_of(session: Session, jobs: Collection[int]) -> set[int]:
    """Instruments that the readings, the refusals and the conditions of jobs name."""
    if not jobs:
        return set()
    of_conditions = among(select(Condition.instrument_id).distinct(), Condition.job_id, jobs)
    named = set(session.exec(of_conditions))
    for table in (Reading, Refusal):
        used = select(table.instrument_id, table.probe_id).join(Outlet).distinct()
        named.update(*session.exec(among(used, Outlet.job_id, jobs)))
    return {instrument_id for instrument_id in named if instrument_id is not None}


def _factors_of(session: Session, jobs: Collection[int]) -> set[str]:
    """Names of the factors that outlets of jobs have, or had before they were amended."""
    if not jobs:
        return set()
    first = among(select(Outlet.found_factor).distinct(), Outlet.job_id, jobs)
    later = select(OutletRevision.found_factor).join(Outlet).distinct()
    named = {*session.exec(first), *session.exec(among(later, Outlet.job_id, jobs))}
    return {name for name in named if name is not None}


def _instruments_of_factors(session: Session, factors: Collection[str]) -> set[int]:
    if not factors:
        return set()
    used = select(FoundFactor.instrument_id).where(col(FoundFactor.factor).in_(sorted(factors)))
    return set(session.exec(used))


def _partners(session: Session, instruments: Collection[int]) -> set[int]:
    """The other instrument of every pair that one of these ever belonged to."""
    paired = all_pairs(session, instruments)
    return {instrument_id for pair in paired for instrument_id in (pair.probe_id, pair.meter_id)}


def outlets_in_force(session: Session, jobs: Collection[int] | None = None) -> dict[int, Outlet]:
    """Outlets of jobs, or of all, as they count now, by key in the order of the job: their cells, or the latest revision's."""
    outlets = cells_of(session, Outlet, lambda every: among(every, Outlet.job_id, jobs).order_by(col(Outlet.id)))
    revisions = select(OutletRevision).join(Outlet).order_by(col(OutletRevision.revision))
    recorded = session.exec(among(revisions, Outlet.job_id, jobs))
    latest = that_count(recorded, lambda revision: revision.outlet_id)
    return {outlet.id: as_amended(outlet, latest.get(outlet.id)) for outlet in outlets}


def as_amended(first: Outlet, revision: OutletRevision | None) -> Outlet:
    """The outlet with the cells of a revision."""
    if revision is None:
        return first
    amended = revision.model_dump(exclude={"id", "outlet_id", "revision", "reason"})
    return Outlet(id=first.id, job_id=first.job_id, outlet=first.outlet, **amended)


def traverses_on_record(session: Session, job: int) -> dict[int, Traversed]:
    """The traverses of a job's readings, by their key."""
    points: dict[int, list[TraversePoint]] = defaultdict(list)
    reading, outlet = Reading, Outlet

    def of_job(query: Any, traverse: Any) -> Any:
        of_readings = query.join(reading, col(reading.traverse_id) == traverse)
        return of_readings.join(outlet, col(outlet.id) == reading.outlet_id).where(outlet.job_id == job)

    for point in cells_of(session, TraversePoint, lambda every: of_job(every, TraversePoint.traverse_id)):
        points[point.traverse_id].append(point)
    made = cells_of(session, Traverse, lambda every: of_job(every, Traverse.id))
    return {traverse.id: _traversed(traverse, points[traverse.id]) for traverse in made}


def _traversed(traverse: Traverse, points: list[TraversePoint]) -> Traversed:
    typed = tuple(point.indications for point in _line_by_line(points))
    return Traversed(traverse.rule, traverse.lines, traverse.points, in_order(points), typed)


def logs_on_record(session: Session, job: int) -> dict[int, bytes]:
    """The log files of a job's readings, by their key."""
    logged = select(LoggedSeries.id, LoggedSeries.content)
    own = col(LoggedSeries.id) == Reading.logged_series_id
    of_job = logged.join(Reading, own).join(Outlet).where(Outlet.job_id == job)
    return {key(record_id): content for record_id, content in session.exec(of_job)}


def in_order(points: list[TraversePoint]) -> tuple[tuple[float, ...], ...]:
    """Indications of the points of one traverse, line by line."""
    return tuple(tuple(observed_values(point.indications)) for point in _line_by_line(points))


def _line_by_line(points: list[TraversePoint]) -> list[TraversePoint]:
    return sorted(points, key=lambda point: (point.line, point.point))


def face_indications(factor: FoundFactor) -> list[float]:
    """Mean indications [SI] of the face readings that a factor was found from."""
    return [float(indication) for indication in json.loads(factor.face_indications)]
