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
from calib.records import tables
from calib.records.record import key


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
    owners = select(tables.Calibration.instrument_id)
    return Gathered(
        of_kind[RecordKind.INSTRUMENT]
        | {*by_keys(session, owners, tables.Calibration.id, of_kind[RecordKind.CALIBRATION])},
        of_kind[RecordKind.READING],
        of_kind[RecordKind.FACTOR],
        of_kind[RecordKind.CONDITIONS],
        of_kind[RecordKind.OUTLET],
        of_kind[RecordKind.JOB],
        of_kind[RecordKind.REPORT],
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
        select(tables.Calibration.instrument_id)
        .join(tables.ReferenceStandard, col(tables.ReferenceStandard.calibration_id) == tables.Calibration.id)
        .distinct()
    )
    hanging = Gathered(
        instruments={*by_keys(session, calibrated, tables.ReferenceStandard.instrument_id, last.instruments)}
    )
    for column in (tables.Reading.instrument_id, tables.Reading.probe_id):
        hanging.readings |= {*by_keys(session, select(tables.Reading.id), column, last.instruments)}
    observed = select(tables.Condition.id)
    hanging.conditions |= {*by_keys(session, observed, tables.Condition.instrument_id, last.instruments)}
    at_face = select(tables.FoundFactor.id)
    hanging.factors |= {*by_keys(session, at_face, tables.FoundFactor.instrument_id, last.instruments)}
    for column in (tables.FactorPair.traverse_reading_id, tables.FactorPair.face_reading_id):
        hanging.factors |= {*by_keys(session, select(tables.FactorPair.found_factor_id), column, last.readings)}
    hanging.readings |= {*_readings_in(session, last.conditions)} | {*_readings_with(session, last.factors)}
    places = (
        select(tables.Reading.outlet_id, tables.Outlet.job_id)
        .join(tables.Outlet, col(tables.Outlet.id) == tables.Reading.outlet_id)
        .distinct()
    )
    for outlet, job in by_keys(session, places, tables.Reading.id, last.readings):
        hanging.outlets.add(outlet)
        hanging.jobs.add(job)
    hanging.outlets |= {*_outlets_with(session, last.factors)}
    issued = select(tables.IssuedReport.id)
    hanging.reports |= {*by_keys(session, issued, tables.IssuedReport.job_id, hanging.jobs)}
    return hanging


def _rested_on(session: Session, last: Gathered) -> Gathered:
    """What records rest on directly."""
    rested_on = Gathered(instruments=with_standards(session, last.instruments))
    of_readings = select(tables.Reading.outlet_id, tables.Reading.instrument_id, tables.Reading.probe_id)
    taken = list(by_keys(session, of_readings, tables.Reading.id, last.readings))
    rested_on.instruments |= {
        instrument_id for _, *used in taken for instrument_id in used if instrument_id is not None
    }
    rested_on.factors |= {*_factors_at(session, {outlet for outlet, *_ in taken} | last.outlets)}
    rested_on.conditions |= {*_conditions_of(session, last.readings)}
    observed = select(tables.Condition.instrument_id)
    named = by_keys(session, observed, tables.Condition.id, last.conditions | rested_on.conditions)
    rested_on.instruments |= {instrument_id for instrument_id in named if instrument_id is not None}
    pairs = select(tables.FactorPair.traverse_reading_id, tables.FactorPair.face_reading_id)
    for both in by_keys(session, pairs, tables.FactorPair.found_factor_id, last.factors):
        rested_on.readings |= {*both}
    at_face = select(tables.FoundFactor.instrument_id)
    rested_on.instruments |= {*by_keys(session, at_face, tables.FoundFactor.id, last.factors)}
    at_outlets = select(tables.Reading.id)
    rested_on.readings |= {*by_keys(session, at_outlets, tables.Reading.outlet_id, last.outlets)}
    owners = select(tables.IssuedReport.job_id)
    jobs = last.jobs | {*by_keys(session, owners, tables.IssuedReport.id, last.reports)}
    of_jobs = select(tables.Reading.id).join(tables.Outlet)
    rested_on.readings |= {*by_keys(session, of_jobs, tables.Outlet.job_id, jobs)}
    return rested_on


def _readings_in(session: Session, conditions: Collection[int]) -> Iterator[int]:
    """Readings that name conditions of their job."""
    query = (
        select(tables.Reading.id)
        .join(tables.Outlet, col(tables.Outlet.id) == tables.Reading.outlet_id)
        .join(tables.Condition, col(tables.Condition.job_id) == tables.Outlet.job_id)
        .where(tables.Condition.conditions == tables.Reading.conditions)
    )
    yield from by_keys(session, query, tables.Condition.id, conditions)


def _conditions_of(session: Session, readings: Collection[int]) -> Iterator[int]:
    query = (
        select(tables.Condition.id)
        .join(tables.Outlet, col(tables.Outlet.job_id) == tables.Condition.job_id)
        .join(tables.Reading, col(tables.Reading.outlet_id) == tables.Outlet.id)
        .where(tables.Condition.conditions == tables.Reading.conditions)
        .distinct()
    )
    yield from by_keys(session, query, tables.Reading.id, readings)


def _outlets_with(session: Session, factors: Collection[int]) -> set[int]:
    """Outlets that have a factor of the same name, as they were first typed or as they were amended."""
    names = {*by_keys(session, select(tables.FoundFactor.factor), tables.FoundFactor.id, factors)}
    if not names:
        return set()
    first = select(tables.Outlet.id).where(col(tables.Outlet.found_factor).in_(names))
    later = select(tables.OutletRevision.outlet_id).where(col(tables.OutletRevision.found_factor).in_(names))
    return {key(outlet_id) for outlet_id in (*session.exec(first), *session.exec(later))}


def _readings_with(session: Session, factors: Collection[int]) -> Iterator[int]:
    at_outlets = select(tables.Reading.id)
    yield from by_keys(session, at_outlets, tables.Reading.outlet_id, _outlets_with(session, factors))


def _factors_at(session: Session, outlets: Collection[int]) -> set[int]:
    """Every revision of the factors that outlets have or had."""
    names = {*by_keys(session, select(tables.Outlet.found_factor), tables.Outlet.id, outlets)}
    names |= {*by_keys(session, select(tables.OutletRevision.found_factor), tables.OutletRevision.outlet_id, outlets)}
    names -= {None}
    query = select(tables.FoundFactor.id).where(col(tables.FoundFactor.factor).in_(names))
    return {key(factor_id) for factor_id in session.exec(query)} if names else set()


# --- what is needed to say what the records are ----------------------------------------------------------------------------------


def _named(session: Session, gathered: Gathered) -> Gathered:
    """With all revisions of factors and rows of conditions, the readings of pairs, and the instruments, outlets and jobs of all."""
    whole = gathered.copy()
    names = {*by_keys(session, select(tables.FoundFactor.factor), tables.FoundFactor.id, whole.factors)}
    if names:
        revisions = select(tables.FoundFactor.id).where(col(tables.FoundFactor.factor).in_(names))
        whole.factors |= {key(factor_id) for factor_id in session.exec(revisions)}
    pairs = select(tables.FactorPair.traverse_reading_id, tables.FactorPair.face_reading_id)
    for both in by_keys(session, pairs, tables.FactorPair.found_factor_id, whole.factors):
        whole.readings |= {*both}
    whole.conditions |= {*_conditions_of(session, whole.readings)} | {*_of_one_name(session, whole.conditions)}
    for query, column, keys in (
        (select(tables.Reading.instrument_id), tables.Reading.id, whole.readings),
        (select(tables.Reading.probe_id), tables.Reading.id, whole.readings),
        (select(tables.Condition.instrument_id), tables.Condition.id, whole.conditions),
        (select(tables.FoundFactor.instrument_id), tables.FoundFactor.id, whole.factors),
    ):
        whole.instruments |= {*by_keys(session, query, column, keys)} - {None}
    whole.instruments = with_standards(session, whole.instruments)
    whole.outlets |= {*by_keys(session, select(tables.Reading.outlet_id), tables.Reading.id, whole.readings)}
    of_factors = by_keys(session, select(tables.FoundFactor.outlet_id), tables.FoundFactor.id, whole.factors)
    whole.outlets |= {outlet_id for outlet_id in of_factors if outlet_id is not None}
    for query, column, keys in (
        (select(tables.Outlet.job_id), tables.Outlet.id, whole.outlets),
        (select(tables.Condition.job_id), tables.Condition.id, whole.conditions),
        (select(tables.IssuedReport.job_id), tables.IssuedReport.id, whole.reports),
    ):
        whole.jobs |= {*by_keys(session, query, column, keys)}
    return whole


def _of_one_name(session: Session, conditions: Collection[int]) -> Iterator[int]:
    """Conditions of one name in a job belong together."""
    sets = select(tables.Condition.job_id, tables.Condition.conditions)
    named = {*by_keys(session, sets, tables.Condition.id, conditions)}
    if named:
        jobs = sorted({job for job, _ in named})
        rows = by_keys(session, select(tables.Condition), tables.Condition.job_id, jobs)
        yield from (key(row.id) for row in rows if (row.job_id, row.conditions) in named)
