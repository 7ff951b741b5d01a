"""What rests on what in the records: the links of traceability, from the standards to the readings and the reports."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Any

from sqlmodel import Session, col, select

from calib.confirmation.interval import CalibrationOnRecord, InstrumentOnRecord, calibration_in_force
from calib.confirmation.traceability import Record, TraceLink
from calib.measurement.way import ProbeUse
from calib.procedures.on_record.in_force import outlets_in_force
from calib.procedures.on_record.register import load_register
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.on_record.what_counts import factors_that_count
from calib.records import tables
from calib.records.record import key, moment


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


# Roles of what a record rests on.
METER, PROBE, STANDARD, OF = "meter", "probe", "reference standard", "of"


@dataclass(frozen=True)
class Ground:
    """Every link, and the records that it joins."""

    links: tuple[TraceLink, ...]
    register: Mapping[str, InstrumentOnRecord]  # by tag
    instruments: Mapping[int, tables.Instrument]
    calibrations: Mapping[int, tables.Calibration]
    readings: Mapping[int, tables.Reading]
    factors: Mapping[int, tables.FoundFactor]
    latest_factors: Mapping[str, tables.FoundFactor]  # by name: the revision that counts
    conditions: Mapping[int, tables.Condition]
    outlets: Mapping[int, tables.Outlet]  # as they count now
    jobs: Mapping[int, tables.Job]
    reports: Mapping[int, tables.IssuedReport]

    def on_record(self, calibration: tables.Calibration) -> CalibrationOnRecord:
        """A calibration as the gate knows it."""
        own = self.register[self.instruments[calibration.instrument_id].tag]
        return next(each for each in own.calibrations if each.record_id == calibration.id)


def ground_of(session: Session) -> Ground:
    """Load it."""
    known = Ground(
        (),
        load_register(session),
        _by_key(session, tables.Instrument),
        _by_key(session, tables.Calibration),
        _by_key(session, tables.Reading),
        _by_key(session, tables.FoundFactor),
        factors_that_count(session),
        _by_key(session, tables.Condition),
        outlets_in_force(session),
        _by_key(session, tables.Job),
        _by_key(session, tables.IssuedReport),
    )
    links = (
        *_of_calibrations(session, known),
        *_of_conditions(known),
        *_of_factors(session, known),
        *_of_readings(known),
        *_of_places(known),
        *_of_reports(session, known),
    )
    return Ground(links, **{name: value for name, value in vars(known).items() if name != "links"})


def _by_key(session: Session, table: Any) -> dict[int, Any]:
    return {key(one.id): one for one in session.exec(select(table))}


def link_to(known: Ground, record: Record, instrument: int, role: str, day: date) -> TraceLink:
    """A record rests on the calibration that an instrument had on a day, or on the instrument alone where it had none."""
    found = calibration_in_force(known.register[known.instruments[instrument].tag], day)
    on = (RecordKind.INSTRUMENT, instrument) if found is None else (RecordKind.CALIBRATION, found.record_id)
    return TraceLink(record, on, role, day)


def _of_calibrations(session: Session, known: Ground) -> Iterator[TraceLink]:
    for number, one in known.calibrations.items():
        yield TraceLink((RecordKind.CALIBRATION, number), (RecordKind.INSTRUMENT, one.instrument_id), OF)
    for standard in session.exec(select(tables.ReferenceStandard).order_by(col(tables.ReferenceStandard.id))):
        day = date.fromisoformat(known.calibrations[standard.calibration_id].calibrated_on)
        yield link_to(known, (RecordKind.CALIBRATION, standard.calibration_id), standard.instrument_id, STANDARD, day)


def sets_of_conditions(known: Ground) -> dict[tuple[int, str], int]:
    """Conditions of one name belong together: from job and name to the key of the first."""
    first: dict[tuple[int, str], int] = {}
    for number, one in sorted(known.conditions.items()):
        first.setdefault((one.job_id, one.conditions), number)
    return first


def _of_conditions(known: Ground) -> Iterator[TraceLink]:
    first = sets_of_conditions(known)
    for one in known.conditions.values():
        if one.instrument_id is not None:
            record = (RecordKind.CONDITIONS, first[one.job_id, one.conditions])
            yield link_to(known, record, one.instrument_id, one.quantity, moment(one.observed_at).date())


def _of_factors(session: Session, known: Ground) -> Iterator[TraceLink]:
    for pair in session.exec(select(tables.FactorPair).order_by(col(tables.FactorPair.id))):
        record, face = (RecordKind.FACTOR, pair.found_factor_id), known.readings[pair.face_reading_id]
        yield TraceLink(record, (RecordKind.READING, pair.traverse_reading_id), "traverse")
        yield TraceLink(record, (RecordKind.READING, pair.face_reading_id), "face")
        # The calibration with which it was found, whichever counts for the face reading now.
        used = known.factors[pair.found_factor_id].calibration_id
        yield TraceLink(record, (RecordKind.CALIBRATION, used), "meter at the face", moment(face.observed_at).date())


def _of_readings(known: Ground) -> Iterator[TraceLink]:
    conditions = sets_of_conditions(known)
    for number, one in known.readings.items():
        record, day, outlet = (RecordKind.READING, number), moment(one.observed_at).date(), known.outlets[one.outlet_id]
        yield link_to(known, record, one.instrument_id, METER, day)
        # A probe that was calibrated together with its meter has no calibration of its own that counts.
        as_pair = way_of_instrument(known.instruments[one.instrument_id]).probe is ProbeUse.CALIBRATED_WITH
        if one.probe_id is not None and not as_pair:
            yield link_to(known, record, one.probe_id, PROBE, day)
        observed = None if one.conditions is None else conditions.get((outlet.job_id, one.conditions))
        if observed is not None:
            yield TraceLink(record, (RecordKind.CONDITIONS, observed), "conditions of the air")
        factor = known.latest_factors.get(outlet.found_factor or "")
        if factor is not None and not way_of_instrument(known.instruments[one.instrument_id]).is_flow:
            yield TraceLink(record, (RecordKind.FACTOR, key(factor.id)), "outlet factor")


def _of_places(known: Ground) -> Iterator[TraceLink]:
    for number, outlet in known.outlets.items():
        factor = known.latest_factors.get(outlet.found_factor or "")
        if factor is not None:
            yield TraceLink((RecordKind.OUTLET, number), (RecordKind.FACTOR, key(factor.id)), "outlet factor")
    for number, one in known.readings.items():
        yield TraceLink((RecordKind.OUTLET, one.outlet_id), (RecordKind.READING, number), "reading")
        yield TraceLink((RecordKind.JOB, known.outlets[one.outlet_id].job_id), (RecordKind.READING, number), "reading")


def _of_reports(session: Session, known: Ground) -> Iterator[TraceLink]:
    """A report rests on the readings of its job that were on record when it was issued."""
    if not known.reports:
        return
    written = {
        RecordKind.READING: sequences(session, RecordKind.READING),
        RecordKind.REPORT: sequences(session, RecordKind.REPORT),
    }
    for report, issued in known.reports.items():
        for number, one in known.readings.items():
            of_job = known.outlets[one.outlet_id].job_id == issued.job_id
            if of_job and written[RecordKind.READING][number] < written[RecordKind.REPORT][report]:
                yield TraceLink((RecordKind.REPORT, report), (RecordKind.READING, number), "reading")


def sequences(session: Session, table: str) -> dict[int, int]:
    """Place in the ledger of each record of a table, by its key."""
    entry = tables.LedgerEntry
    found = session.exec(select(entry.record_id, entry.sequence).where(entry.record_table == table))
    return {number: key(sequence) for number, sequence in found}
