"""Gather the records that a chain of traceability can reach, outward from where it starts: nothing else of the past is read.

A step asks for all that touches the records reached last, in a few questions whatever their number. What is gathered may be more
than a chain reaches (all readings of an instrument, whichever calibration was in force), never less: `rests_on` draws the links.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Iterable, Iterator
from dataclasses import dataclass, field

from sqlmodel import Session, col, select

from calib.confirmation.traceability import Record
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.register import with_standards
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.record import key
from calib.records.tables.calibrations import Calibration, ReferenceStandard
from calib.records.tables.conditions import Condition
from calib.records.tables.events import IntermediateCheck
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.tables.readings import Reading
from calib.records.tables.reports import IssuedReport


class RecordKind:
    """Tables whose records rest on one another, as the ledger names them."""

    INSTRUMENT = "instrument"
    CALIBRATION = "calibration"
    READING = "reading"
    FACTOR = "found_factor"
    CONDITIONS = "condition"
    OUTLET = "outlet"
    JOB = "job"
    REPORT = "issued_report"
    CHECK = "intermediate_check"


@dataclass
class Gathered:
    """Keys of records, by kind; the calibrations of every instrument among them belong to it."""

    instruments: set[int] = field(default_factory=set)
    readings: set[int] = field(default_factory=set)
    factors: set[int] = field(default_factory=set)
    conditions: set[int] = field(default_factory=set)
    outlets: set[int] = field(default_factory=set)
    jobs: set[int] = field(default_factory=set)
    reports: set[int] = field(default_factory=set)
    checks: set[int] = field(default_factory=set)  # by comparison with an instrument

    def copy(self) -> "Gathered":
        """The same, apart."""
        return Gathered(**{name: set(keys) for name, keys in vars(self).items()})

    def add(self, other: "Gathered") -> None:
        """Take in what another holds."""
        for name, keys in vars(self).items():
            keys.update(getattr(other, name))

    def without(self, other: "Gathered") -> "Gathered":
        """What the other does not hold."""
        return Gathered(**{name: keys - getattr(other, name) for name, keys in vars(self).items()})

    def __bool__(self) -> bool:
        return any(vars(self).values())


def below(session: Session, starts: Iterable[Record]) -> Gathered:
    """All that can hang on records, and what is needed to say what it is."""
    return _named(session, _reached(session, _at(session, starts), _hanging_on))


def above(session: Session, starts: Iterable[Record]) -> Gathered:
    """All that records can rest on."""
    return _named(session, _reached(session, _at(session, starts), _rested_on))


def _at(session: Session, starts: Iterable[Record]) -> Gathered:
    """The records where a chain starts; a calibration is one of its instrument's."""
    of_kind: dict[str, set[int]] = defaultdict(set)
    for table, record_id in starts:
        of_kind[table].add(record_id)
    owners = select(Calibration.instrument_id)
    return Gathered(
        of_kind[RecordKind.INSTRUMENT] | {*by_keys(session, owners, Calibration.id, of_kind[RecordKind.CALIBRATION])},
        of_kind[RecordKind.READING],
        of_kind[RecordKind.FACTOR],
        of_kind[RecordKind.CONDITIONS],
        of_kind[RecordKind.OUTLET],
        of_kind[RecordKind.JOB],
        of_kind[RecordKind.REPORT],
        of_kind[RecordKind.CHECK],
    )


def _reached(session: Session, start: Gathered, step: Callable[[Session, Gathered], Gathered]) -> Gathered:
    gathered, following = Gathered(), start
    while following:
        gathered.add(following)
        following = step(session, following).without(gathered)
    return gathered


def _hanging_on(session: Session, last: Gathered) -> Gathered:
    """What rests directly on records."""
    calibrated = (
        select(Calibration.instrument_id)
        .join(ReferenceStandard, col(ReferenceStandard.calibration_id) == Calibration.id)
        .distinct()
    )
    hanging = Gathered(instruments={*by_keys(session, calibrated, ReferenceStandard.instrument_id, last.instruments)})
    for column in (Reading.instrument_id, Reading.probe_id):
        hanging.readings |= {*by_keys(session, select(Reading.id), column, last.instruments)}
    compared = select(IntermediateCheck.id).where(not_retracted(IntermediateCheck))
    hanging.checks |= {*by_keys(session, compared, IntermediateCheck.other_instrument_id, last.instruments)}
    observed = select(Condition.id)
    hanging.conditions |= {*by_keys(session, observed, Condition.instrument_id, last.instruments)}
    at_face = select(FoundFactor.id)
    hanging.factors |= {*by_keys(session, at_face, FoundFactor.instrument_id, last.instruments)}
    for column in (FactorPair.traverse_reading_id, FactorPair.face_reading_id):
        hanging.factors |= {*by_keys(session, select(FactorPair.found_factor_id), column, last.readings)}
    hanging.readings |= {*_readings_in(session, last.conditions)} | {*_readings_with(session, last.factors)}
    places = select(Reading.outlet_id, Outlet.job_id).join(Outlet, col(Outlet.id) == Reading.outlet_id).distinct()
    for outlet, job in by_keys(session, places, Reading.id, last.readings):
        hanging.outlets.add(outlet)
        hanging.jobs.add(job)
    hanging.outlets |= {*_outlets_with(session, last.factors)}
    issued = select(IssuedReport.id)
    hanging.reports |= {*by_keys(session, issued, IssuedReport.job_id, hanging.jobs)}
    return hanging


def _rested_on(session: Session, last: Gathered) -> Gathered:
    """What records rest on directly."""
    rested_on = Gathered(instruments=with_standards(session, last.instruments))
    of_readings = select(Reading.outlet_id, Reading.instrument_id, Reading.probe_id)
    taken = list(by_keys(session, of_readings, Reading.id, last.readings))
    rested_on.instruments |= {
        instrument_id for _, *used in taken for instrument_id in used if instrument_id is not None
    }
    rested_on.factors |= {*_factors_at(session, {outlet for outlet, *_ in taken} | last.outlets)}
    rested_on.conditions |= {*_conditions_of(session, last.readings)}
    observed = select(Condition.instrument_id)
    named = by_keys(session, observed, Condition.id, last.conditions | rested_on.conditions)
    rested_on.instruments |= {instrument_id for instrument_id in named if instrument_id is not None}
    pairs = select(FactorPair.traverse_reading_id, FactorPair.face_reading_id)
    for both in by_keys(session, pairs, FactorPair.found_factor_id, last.factors):
        rested_on.readings |= {*both}
    at_face = select(FoundFactor.instrument_id)
    rested_on.instruments |= {*by_keys(session, at_face, FoundFactor.id, last.factors)}
    compared = select(IntermediateCheck.other_instrument_id)
    others = by_keys(session, compared, IntermediateCheck.id, last.checks)
    rested_on.instruments |= {instrument_id for instrument_id in others if instrument_id is not None}
    at_outlets = select(Reading.id)
    rested_on.readings |= {*by_keys(session, at_outlets, Reading.outlet_id, last.outlets)}
    owners = select(IssuedReport.job_id)
    jobs = last.jobs | {*by_keys(session, owners, IssuedReport.id, last.reports)}
    of_jobs = select(Reading.id).join(Outlet)
    rested_on.readings |= {*by_keys(session, of_jobs, Outlet.job_id, jobs)}
    return rested_on


def _readings_in(session: Session, conditions: Collection[int]) -> Iterator[int]:
    """Readings that name conditions of their job."""
    query = (
        select(Reading.id)
        .join(Outlet, col(Outlet.id) == Reading.outlet_id)
        .join(Condition, col(Condition.job_id) == Outlet.job_id)
        .where(Condition.conditions == Reading.conditions)
    )
    yield from by_keys(session, query, Condition.id, conditions)


def _conditions_of(session: Session, readings: Collection[int]) -> Iterator[int]:
    query = (
        select(Condition.id)
        .join(Outlet, col(Outlet.job_id) == Condition.job_id)
        .join(Reading, col(Reading.outlet_id) == Outlet.id)
        .where(Condition.conditions == Reading.conditions)
        .distinct()
    )
    yield from by_keys(session, query, Reading.id, readings)


def _outlets_with(session: Session, factors: Collection[int]) -> set[int]:
    """Outlets that have a factor of the same name, as they were first typed or as they were amended."""
    names = {*by_keys(session, select(FoundFactor.factor), FoundFactor.id, factors)}
    if not names:
        return set()
    first = select(Outlet.id).where(col(Outlet.found_factor).in_(names))
    later = select(OutletRevision.outlet_id).where(col(OutletRevision.found_factor).in_(names))
    return {key(outlet_id) for outlet_id in (*session.exec(first), *session.exec(later))}


def _readings_with(session: Session, factors: Collection[int]) -> Iterator[int]:
    at_outlets = select(Reading.id)
    yield from by_keys(session, at_outlets, Reading.outlet_id, _outlets_with(session, factors))


def _factors_at(session: Session, outlets: Collection[int]) -> set[int]:
    """Every revision of the factors that outlets have or had."""
    names = {*by_keys(session, select(Outlet.found_factor), Outlet.id, outlets)}
    names |= {*by_keys(session, select(OutletRevision.found_factor), OutletRevision.outlet_id, outlets)}
    names -= {None}
    query = select(FoundFactor.id).where(col(FoundFactor.factor).in_(names))
    return {key(factor_id) for factor_id in session.exec(query)} if names else set()


# --- what is needed to say what the records are ----------------------------------------------------------------------------------


def _named(session: Session, gathered: Gathered) -> Gathered:
    """With all revisions of factors and rows of conditions, the readings of pairs, and the instruments, outlets and jobs of all."""
    whole = gathered.copy()
    names = {*by_keys(session, select(FoundFactor.factor), FoundFactor.id, whole.factors)}
    if names:
        revisions = select(FoundFactor.id).where(col(FoundFactor.factor).in_(names))
        whole.factors |= {key(factor_id) for factor_id in session.exec(revisions)}
    pairs = select(FactorPair.traverse_reading_id, FactorPair.face_reading_id)
    for both in by_keys(session, pairs, FactorPair.found_factor_id, whole.factors):
        whole.readings |= {*both}
    whole.conditions |= {*_conditions_of(session, whole.readings)} | {*_of_one_name(session, whole.conditions)}
    for query, column, keys in (
        (select(Reading.instrument_id), Reading.id, whole.readings),
        (select(Reading.probe_id), Reading.id, whole.readings),
        (select(Condition.instrument_id), Condition.id, whole.conditions),
        (select(FoundFactor.instrument_id), FoundFactor.id, whole.factors),
        (select(IntermediateCheck.instrument_id), IntermediateCheck.id, whole.checks),
    ):
        whole.instruments |= {*by_keys(session, query, column, keys)} - {None}
    whole.instruments = with_standards(session, whole.instruments)
    whole.outlets |= {*by_keys(session, select(Reading.outlet_id), Reading.id, whole.readings)}
    of_factors = by_keys(session, select(FoundFactor.outlet_id), FoundFactor.id, whole.factors)
    whole.outlets |= {outlet_id for outlet_id in of_factors if outlet_id is not None}
    for query, column, keys in (
        (select(Outlet.job_id), Outlet.id, whole.outlets),
        (select(Condition.job_id), Condition.id, whole.conditions),
        (select(IssuedReport.job_id), IssuedReport.id, whole.reports),
    ):
        whole.jobs |= {*by_keys(session, query, column, keys)}
    return whole


def _of_one_name(session: Session, conditions: Collection[int]) -> Iterator[int]:
    """Conditions of one name in a job belong together."""
    sets = select(Condition.job_id, Condition.conditions)
    named = {*by_keys(session, sets, Condition.id, conditions)}
    if named:
        jobs = sorted({job for job, _ in named})
        rows = by_keys(session, select(Condition), Condition.job_id, jobs)
        yield from (key(row.id) for row in rows if (row.job_id, row.conditions) in named)
