"""Load the register as the gate reads it.

Nothing heavy is imported here: `calib due` starts with it.
"""

from collections import defaultdict
from datetime import date

from sqlmodel import Session, col, select

from calib.confirmation.interval import (
    CalibrationOnRecord,
    CheckOnRecord,
    EventOnRecord,
    InstrumentOnRecord,
    IntervalChange,
)
from calib.procedures.on_record.what_counts import curves_that_count
from calib.records.record import key, moment
from calib.records.tables import (
    INTERVAL_CHANGE,
    Acceptance,
    Calibration,
    Event,
    Instrument,
    IntermediateCheck,
    ReferenceStandard,
    Withdrawal,
)


def load_register(session: Session) -> dict[str, InstrumentOnRecord]:
    """Every instrument of the records with its calibrations, events and intermediate checks, by tag."""
    calibrations = _calibrations(session)
    events: dict[int, list[EventOnRecord]] = defaultdict(list)
    intervals: dict[int, list[IntervalChange]] = defaultdict(list)
    for event in session.exec(select(Event).order_by(col(Event.id))):
        events[event.instrument_id].append(EventOnRecord(event.kind, moment(event.at), event.reason))
        if event.kind == INTERVAL_CHANGE and event.value is not None:
            intervals[event.instrument_id].append(IntervalChange(moment(event.at), int(event.value)))
    checks: dict[int, list[CheckOnRecord]] = defaultdict(list)
    for check in session.exec(select(IntermediateCheck).order_by(col(IntermediateCheck.id))):
        checks[check.instrument_id].append(CheckOnRecord(moment(check.at), check.kind, check.result == "passed"))
    return {
        one.tag: InstrumentOnRecord(
            one.tag,
            one.interval_months,
            one.check_interval_days,
            tuple(calibrations[key(one.id)]),
            tuple(events[key(one.id)]),
            tuple(checks[key(one.id)]),
            tuple(intervals[key(one.id)]),
        )
        for one in session.exec(select(Instrument).order_by(col(Instrument.tag)))
    }


def withdrawals(session: Session) -> dict[int, Withdrawal]:
    """Calibrations that were withdrawn, by their key: whatever asks which calibration counts leaves these out."""
    return {one.calibration_id: one for one in session.exec(select(Withdrawal))}


def _calibrations(session: Session) -> dict[int, list[CalibrationOnRecord]]:
    withdrawn = withdrawals(session)
    accepted = {
        one.calibration_id: one.accepted_on
        for one in session.exec(select(Acceptance))
        if one.calibration_id not in withdrawn
    }
    curves = curves_that_count(session)
    standards: dict[int, list[str]] = defaultdict(list)
    for standard, tag in session.exec(
        select(ReferenceStandard, Instrument.tag).join(Instrument).order_by(col(ReferenceStandard.id))
    ):
        standards[standard.calibration_id].append(tag)
    found: dict[int, list[CalibrationOnRecord]] = defaultdict(list)
    for one in session.exec(select(Calibration).order_by(col(Calibration.id))):
        record_id = key(one.id)
        curve = curves[record_id]
        found[one.instrument_id].append(
            CalibrationOnRecord(
                record_id,
                one.certificate,
                one.laboratory,
                date.fromisoformat(one.calibrated_on),
                _day(accepted.get(record_id)),
                _day(one.due_on),
                curve.low,
                curve.high,
                curve.measuring_interval,
                tuple(standards[record_id]),
                record_id in withdrawn,
            )
        )
    return found


def _day(typed: str | None) -> date | None:
    return None if typed is None else date.fromisoformat(typed)
