"""What rests on what in the records: the links of traceability, from the standards to the readings and the reports."""

from collections import defaultdict
from collections.abc import Collection, Iterable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from sqlmodel import Session, select

from calib.confirmation.interval import CalibrationOnRecord, InstrumentOnRecord, calibration_in_force
from calib.confirmation.traceability import Record, TraceLink
from calib.measurement.way import ProbeUse
from calib.procedures.impact.gather import Gathered, RecordKind, above, below
from calib.procedures.on_record.amended import instruments_in_force
from calib.procedures.on_record.by_keys import by_keys
from calib.procedures.on_record.in_force import as_amended
from calib.procedures.on_record.jobs_by_name import jobs_in_force
from calib.procedures.on_record.recorded import sequences
from calib.procedures.on_record.register import register_among
from calib.procedures.on_record.taken_back import taken_back
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.on_record.what_counts import that_count
from calib.records.record import key, moment
from calib.records.tables.calibrations import Calibration, ReferenceStandard
from calib.records.tables.conditions import Condition
from calib.records.tables.events import IntermediateCheck
from calib.records.tables.factors import FactorPair, FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet, OutletRevision
from calib.records.tables.readings import Reading
from calib.records.tables.reports import IssuedReport

# Roles of what a record rests on.
METER, PROBE, STANDARD, OF, COMPARED = "meter", "probe", "reference standard", "of", "compared with"


@dataclass(frozen=True)
class Ground:
    """Links of traceability, and the records that they join."""

    links: tuple[TraceLink, ...]
    register: Mapping[str, InstrumentOnRecord]  # by tag
    instruments: Mapping[int, Instrument]
    calibrations: Mapping[int, Calibration]
    readings: Mapping[int, Reading]
    factors: Mapping[int, FoundFactor]
    latest_factors: Mapping[str, FoundFactor]  # by name: the revision that counts
    conditions: Mapping[int, Condition]
    outlets: Mapping[int, Outlet]  # as they count now
    jobs: Mapping[int, Job]
    reports: Mapping[int, IssuedReport]
    checks: Mapping[int, IntermediateCheck]  # that compared an instrument with another

    withdrawn: frozenset[int] = frozenset()  # readings that were taken back: issued reports rest on them still

    def is_withdrawn(self, record: Record) -> bool:
        """Whether a record is a reading that was taken back."""
        return record[0] == RecordKind.READING and record[1] in self.withdrawn

    def on_record(self, calibration: Calibration) -> CalibrationOnRecord:
        """A calibration as the gate knows it."""
        own = self.register[self.instruments[calibration.instrument_id].tag]
        return own.calibration(key(calibration.id))


def ground_below(session: Session, starts: Iterable[Record]) -> Ground:
    """What hangs on records, with every link among it."""
    return _ground(session, below(session, starts))


def ground_above(session: Session, starts: Iterable[Record]) -> Ground:
    """What records rest on, with every link among it."""
    return _ground(session, above(session, starts))


def _ground(session: Session, gathered: Gathered) -> Ground:
    factors = _loaded(session, FoundFactor, gathered.factors)
    own = by_keys(session, select(Calibration), Calibration.instrument_id, gathered.instruments)
    in_order = sorted(factors.values(), key=lambda factor: factor.revision)
    known = Ground(
        (),
        register_among(session, gathered.instruments),
        {key(each.id): each for each in instruments_in_force(session, gathered.instruments)},
        {key(each.id): each for each in _ordered(own)},
        _loaded(session, Reading, gathered.readings),
        factors,
        that_count(in_order, lambda factor: factor.factor),
        _loaded(session, Condition, gathered.conditions),
        _outlets(session, gathered.outlets),
        jobs_in_force(session, gathered.jobs),
        _loaded(session, IssuedReport, gathered.reports),
        _loaded(session, IntermediateCheck, gathered.checks),
        frozenset(taken_back(session, Reading, gathered.readings)),
    )
    links = (
        *_of_calibrations(session, known),
        *_of_conditions(known),
        *_of_factors(session, known),
        *_of_readings(known),
        *_of_places(known),
        *_of_reports(session, known),
        *_of_checks(known),
    )
    return replace(known, links=links)


def _loaded(session: Session, table: Any, keys: Collection[int]) -> dict[int, Any]:
    return {key(each.id): each for each in _ordered(by_keys(session, select(table), table.id, keys))}


def _ordered(records: Iterable[Any]) -> list[Any]:
    return sorted(records, key=lambda each: key(each.id))


def _outlets(session: Session, keys: Collection[int]) -> dict[int, Outlet]:
    """Outlets as they count now."""
    revisions = by_keys(session, select(OutletRevision), OutletRevision.outlet_id, keys)
    latest = that_count(sorted(revisions, key=lambda each: each.revision), lambda each: each.outlet_id)
    return {
        outlet_id: as_amended(outlet, latest.get(outlet_id))
        for outlet_id, outlet in _loaded(session, Outlet, keys).items()
    }


def link_to(known: Ground, record: Record, instrument: int, role: str, day: date) -> TraceLink:
    """A record rests on the calibration that an instrument had on a day, or on the instrument alone where it had none."""
    calibration = calibration_in_force(known.register[known.instruments[instrument].tag], day)
    on = (RecordKind.INSTRUMENT, instrument) if calibration is None else (RecordKind.CALIBRATION, calibration.record_id)
    return TraceLink(record, on, role, day)


def _of_calibrations(session: Session, known: Ground) -> Iterator[TraceLink]:
    for calibration_id, calibration in known.calibrations.items():
        record = (RecordKind.CALIBRATION, calibration_id)
        yield TraceLink(record, (RecordKind.INSTRUMENT, calibration.instrument_id), OF)
    standards = by_keys(session, select(ReferenceStandard), ReferenceStandard.calibration_id, known.calibrations)
    for standard in _ordered(standards):
        day = date.fromisoformat(known.calibrations[standard.calibration_id].calibrated_on)
        yield link_to(known, (RecordKind.CALIBRATION, standard.calibration_id), standard.instrument_id, STANDARD, day)


def sets_of_conditions(known: Ground) -> dict[tuple[int, str], int]:
    """Conditions of one name belong together: from job and name to the key of the first."""
    first: dict[tuple[int, str], int] = {}
    for condition_id, condition in sorted(known.conditions.items()):
        first.setdefault((condition.job_id, condition.conditions), condition_id)
    return first


def _of_conditions(known: Ground) -> Iterator[TraceLink]:
    first = sets_of_conditions(known)
    for condition in known.conditions.values():
        if condition.instrument_id is not None:
            record = (RecordKind.CONDITIONS, first[condition.job_id, condition.conditions])
            day = moment(condition.observed_at).date()
            yield link_to(known, record, condition.instrument_id, condition.quantity, day)


def _of_factors(session: Session, known: Ground) -> Iterator[TraceLink]:
    pairs = by_keys(session, select(FactorPair), FactorPair.found_factor_id, known.factors)
    for pair in _ordered(pairs):
        record, face = (RecordKind.FACTOR, pair.found_factor_id), known.readings[pair.face_reading_id]
        yield TraceLink(record, (RecordKind.READING, pair.traverse_reading_id), "traverse")
        yield TraceLink(record, (RecordKind.READING, pair.face_reading_id), "face")
        # The calibration with which it was found, whichever counts for the face reading now.
        used = known.factors[pair.found_factor_id].calibration_id
        yield TraceLink(record, (RecordKind.CALIBRATION, used), "meter at the face", moment(face.observed_at).date())


def _of_readings(known: Ground) -> Iterator[TraceLink]:
    conditions = sets_of_conditions(known)
    for reading_id, reading in known.readings.items():
        record, day = (RecordKind.READING, reading_id), moment(reading.observed_at).date()
        outlet = known.outlets[reading.outlet_id]
        yield link_to(known, record, reading.instrument_id, METER, day)
        # A probe that was calibrated together with its meter has no calibration of its own that counts.
        as_pair = way_of_instrument(known.instruments[reading.instrument_id]).probe is ProbeUse.CALIBRATED_WITH
        if reading.probe_id is not None and not as_pair:
            yield link_to(known, record, reading.probe_id, PROBE, day)
        observed = None if reading.conditions is None else conditions.get((outlet.job_id, reading.conditions))
        if observed is not None:
            yield TraceLink(record, (RecordKind.CONDITIONS, observed), "conditions of the air")
        factor = known.latest_factors.get(outlet.found_factor or "")
        if factor is not None and not way_of_instrument(known.instruments[reading.instrument_id]).is_flow:
            yield TraceLink(record, (RecordKind.FACTOR, key(factor.id)), "outlet factor")


def _of_places(known: Ground) -> Iterator[TraceLink]:
    for outlet_id, outlet in known.outlets.items():
        factor = known.latest_factors.get(outlet.found_factor or "")
        if factor is not None:
            yield TraceLink((RecordKind.OUTLET, outlet_id), (RecordKind.FACTOR, key(factor.id)), "outlet factor")
    for reading_id, reading in known.readings.items():
        record, job = (RecordKind.READING, reading_id), known.outlets[reading.outlet_id].job_id
        yield TraceLink((RecordKind.OUTLET, reading.outlet_id), record, "reading")
        yield TraceLink((RecordKind.JOB, job), record, "reading")


def _of_checks(known: Ground) -> Iterator[TraceLink]:
    """A check by comparison rests on the instrument that was compared with."""
    for check_id, check in known.checks.items():
        if check.other_instrument_id is not None and check.other_instrument_id in known.instruments:
            day = moment(check.at).date()
            yield link_to(known, (RecordKind.CHECK, check_id), check.other_instrument_id, COMPARED, day)


def _of_reports(session: Session, known: Ground) -> Iterator[TraceLink]:
    """A report rests on the readings of its job that were on record when it was issued."""
    written = sequences(session, RecordKind.REPORT, known.reports)
    recorded = sequences(session, RecordKind.READING, known.readings) if known.reports else {}
    of_jobs: dict[int, list[int]] = defaultdict(list)
    for reading in recorded:
        of_jobs[known.outlets[known.readings[reading].outlet_id].job_id].append(reading)
    for report, issued in known.reports.items():
        for reading in of_jobs[issued.job_id]:
            if recorded[reading] < written[report]:
                yield TraceLink((RecordKind.REPORT, report), (RecordKind.READING, reading), "reading")
