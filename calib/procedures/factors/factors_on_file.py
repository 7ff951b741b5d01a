"""Factors found in the field as the records hold them: revisions, pairs, who found them when, and the readings that use them."""

from collections import defaultdict
from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import chain

from sqlmodel import Session, col, select

from calib.procedures.on_record.amended import instrument_of
from calib.procedures.on_record.by_keys import among, by_keys
from calib.procedures.on_record.by_name import not_there
from calib.procedures.on_record.factors import factor_revisions
from calib.procedures.on_record.in_force import outlets_in_force
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.on_record.what_counts import not_retracted, that_count
from calib.procedures.pairs.paired_readings import cautions_of_times
from calib.records.record import key
from calib.records.tables.calibrations import Calibration
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.tables.readings import Reading
from calib.records.words import THIS_TYPE

_FACTOR, _READING, _OUTLET, _AMENDED = "found_factor", "reading", "outlet", "outlet_revision"


@dataclass(frozen=True)
class LedgerPlace:
    """A record's entry in the ledger."""

    sequence: int
    person: str
    time: str


@dataclass(frozen=True)
class ReadingOnFile:
    """A reading with its place."""

    reading: Reading
    job: str
    outlet: Outlet  # as it counts now


@dataclass(frozen=True)
class PairOnFile:
    """A pair that a factor was found from."""

    traverse: ReadingOnFile
    face: ReadingOnFile
    value: float  # K of the pair [1]


@dataclass(frozen=True)
class ReadingWithFactor:
    """A reading whose outlet has the factor, or had it when the reading was recorded."""

    of: ReadingOnFile
    written: LedgerPlace
    revision_then: int | None  # that counted for its outlet when it was recorded; None: none did
    revision_now: int | None  # that it is evaluated with; None: its outlet was amended and has the factor no more


@dataclass(frozen=True)
class FactorOnFile:
    """One revision of a factor with all that belongs to it."""

    factor: FoundFactor
    latest: bool
    written: LedgerPlace
    outlet: Outlet | None  # for which it holds; None: for a type
    job: str | None  # of that outlet
    instrument: Instrument
    calibration: Calibration
    method: Method
    pairs: tuple[PairOnFile, ...]

    @property
    def cautions(self) -> tuple[str, ...]:
        """What to bear in mind about it, in plain words."""
        return (*_of_one_place(self), *(caution for pair in self.pairs for caution in _of_times(pair)))


def _of_one_place(factor: FactorOnFile) -> Iterator[str]:
    outlets = sorted({pair.face.outlet.outlet for pair in factor.pairs})
    if factor.factor.scope == THIS_TYPE and len(outlets) == 1:
        yield (
            f"every pair was measured at {outlets[0]}: the spread shows nothing of what differs from one outlet of the type to "
            "another; add pairs at others"
        )


def _of_times(pair: PairOnFile) -> Iterator[str]:
    traverse, face = pair.traverse.reading, pair.face.reading
    yield from cautions_of_times(f"{traverse.id}:{face.id}", traverse.observed_at, face.observed_at)


def factors_on_file(session: Session) -> list[FactorOnFile]:
    """Every factor as it counts now, by name."""
    factors = _on_file(session, session.exec(select(FoundFactor).order_by(col(FoundFactor.revision))).all())
    return sorted((factor for factor in factors if factor.latest), key=lambda factor: factor.factor.factor)


def revisions_on_file(session: Session, name: str) -> list[FactorOnFile]:
    """Every revision of a factor, the first one first; raises NotInRecordsError."""
    revisions = factor_revisions(session, name)
    if not revisions:
        names = session.exec(select(FoundFactor.factor).distinct().order_by(col(FoundFactor.factor)))
        raise not_there(f"factor {name!r} in the records", names, name)
    return _on_file(session, revisions)


def revisions_of_factors(session: Session, names: Collection[str]) -> list[FactorOnFile]:
    """Every revision of some factors, by name, the first one first."""
    named = select(FoundFactor).where(col(FoundFactor.factor).in_(sorted(names)))
    ordered = named.order_by(col(FoundFactor.factor), col(FoundFactor.revision))
    return _on_file(session, session.exec(ordered).all()) if names else []


def _on_file(session: Session, factors: Sequence[FoundFactor]) -> list[FactorOnFile]:
    """Factors, every revision of each among them."""
    latest = that_count(factors, lambda factor: factor.factor)
    keys = [key(factor.id) for factor in factors]
    ledger = _ledger(session, _FACTOR, keys)
    pairs: dict[int, list[FactorPair]] = defaultdict(list)
    for pair in by_keys(session, select(FactorPair).order_by(col(FactorPair.id)), FactorPair.found_factor_id, keys):
        pairs[pair.found_factor_id].append(pair)
    read = {own for pair in chain(*pairs.values()) for own in (pair.traverse_reading_id, pair.face_reading_id)}
    places = _Places(session, set(by_keys(session, select(Outlet.job_id).join(Reading), Reading.id, read)))
    return [
        FactorOnFile(
            factor,
            latest[factor.factor].id == factor.id,
            ledger[key(factor.id)],
            None if factor.outlet_id is None else places.outlets[factor.outlet_id],
            None if factor.outlet_id is None else places.job(factor.outlet_id),
            instrument_of(session, factor.instrument_id),
            session.get_one(Calibration, factor.calibration_id),
            session.get_one(Method, factor.method_id),
            tuple(_pair(session, places, pair) for pair in pairs[key(factor.id)]),
        )
        for factor in factors
    ]


class _Places:
    """Outlets of jobs, or of all, as they count now, and their jobs."""

    def __init__(self, session: Session, jobs: Collection[int] | None = None) -> None:
        self.outlets = outlets_in_force(session, jobs)
        self.jobs: dict[int, str] = {key(job.id): job.job for job in session.exec(among(select(Job), Job.id, jobs))}

    def job(self, outlet: int) -> str:
        """The job of an outlet."""
        return self.jobs[self.outlets[outlet].job_id]

    def of(self, reading: Reading) -> ReadingOnFile:
        """A reading with its place."""
        return ReadingOnFile(reading, self.job(reading.outlet_id), self.outlets[reading.outlet_id])


def _pair(session: Session, places: _Places, pair: FactorPair) -> PairOnFile:
    traverse, face = (
        places.of(session.get_one(Reading, reading_id))
        for reading_id in (pair.traverse_reading_id, pair.face_reading_id)
    )
    return PairOnFile(traverse, face, pair.value)


def _ledger(session: Session, table: str, keys: Collection[int] | None = None) -> dict[int, LedgerPlace]:
    """Entries of the records of a table, or of some of them, by their key."""
    of_table = select(LedgerEntry).where(LedgerEntry.record_table == table)
    entries = session.exec(among(of_table, LedgerEntry.record_id, keys))
    return {entry.record_id: LedgerPlace(key(entry.sequence), entry.person, entry.time) for entry in entries}


# --- readings with a factor ------------------------------------------------------------------------------------------------------


def readings_with(session: Session, revisions: Sequence[FactorOnFile]) -> list[ReadingWithFactor]:
    """Readings that use a factor, or used it when they were recorded; `revisions` are all of the factor's, the first one first.

    The ledger's order decides: an outlet, its amendments, a revision of the factor and a reading each have their entry.
    """
    name = revisions[0].factor.factor
    had = _found_factors(session, name)
    places, ledger = _Places(session), _ledger(session, _READING)
    readings = session.exec(select(Reading).where(not_retracted(Reading)).order_by(col(Reading.id)))
    return [
        use
        for reading in readings
        if reading.outlet_id in had and _uses_factor(session, reading)
        for use in _with_factor(places.of(reading), ledger[key(reading.id)], had[reading.outlet_id], revisions)
    ]


def _uses_factor(session: Session, reading: Reading) -> bool:
    """Whether a velocity was read: a hood needs no factor."""
    return not way_of_instrument(session.get_one(Instrument, reading.instrument_id)).is_flow


def _found_factors(session: Session, name: str) -> Mapping[int, list[tuple[int, str | None]]]:
    """For outlets that ever had the factor: the name of theirs from each of their entries in the ledger on, in order."""
    first, amended = _ledger(session, _OUTLET), _ledger(session, _AMENDED)
    had: dict[int, list[tuple[int, str | None]]] = defaultdict(list)
    for outlet in session.exec(select(Outlet)):
        had[key(outlet.id)].append((first[key(outlet.id)].sequence, outlet.found_factor))
    for revision in session.exec(select(OutletRevision)):
        had[revision.outlet_id].append((amended[key(revision.id)].sequence, revision.found_factor))
    return {outlet: sorted(rows) for outlet, rows in had.items() if any(factor == name for _, factor in rows)}


def _with_factor(
    of: ReadingOnFile, written: LedgerPlace, had: Sequence[tuple[int, str | None]], revisions: Sequence[FactorOnFile]
) -> Iterator[ReadingWithFactor]:
    name = revisions[0].factor.factor
    # An outlet stands before its readings, so there is an entry before each.
    then = next(factor for sequence, factor in reversed(had) if sequence < written.sequence)
    counted = [revision.factor.revision for revision in revisions if revision.written.sequence < written.sequence]
    revision_then = counted[-1] if then == name and counted else None
    revision_now = revisions[-1].factor.revision if had[-1][1] == name else None
    if (revision_then, revision_now) != (None, None):
        yield ReadingWithFactor(of, written, revision_then, revision_now)
