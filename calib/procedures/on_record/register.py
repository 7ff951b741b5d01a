"""Load the register as the gate reads it: the instruments asked for, and what their calibrations rest on.

Nothing heavy is imported here: `calib due` starts with it.
"""

from collections import defaultdict
from collections.abc import Collection, Mapping
from dataclasses import replace
from datetime import date

from sqlalchemy.orm import aliased
from sqlmodel import Session, col, select

from calib.confirmation.interval import (
    CalibrationOnRecord,
    CheckOnRecord,
    EventOnRecord,
    InstrumentOnRecord,
    IntervalChange,
)
from calib.procedures.on_record.amended import instruments_in_force
from calib.procedures.on_record.by_keys import among
from calib.procedures.on_record.recorded import entry_of
from calib.procedures.on_record.reviews_of_register import with_reviews
from calib.procedures.on_record.supersessions import reissued_and_waiting, took_its_place
from calib.procedures.on_record.what_counts import counts_of_its_calibration, not_retracted, on_trial
from calib.records.record import key, moment
from calib.records.tables.calibrations import Acceptance, Calibration, ReferenceStandard, Withdrawal
from calib.records.tables.curves import StoredCurve
from calib.records.tables.events import Event, IntermediateCheck
from calib.records.tables.instruments import Instrument
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.supersessions import Supersession
from calib.records.words import INTERVAL_CHANGE


def load_register(session: Session, instruments: Collection[int] | None = None) -> dict[str, InstrumentOnRecord]:
    """Instruments by tag with their calibrations, events and intermediate checks: all of them, or those asked for by key.

    With those asked for come the reference standards of their calibrations, and the standards of these: the gate asks them too.
    """
    return register_among(session, None if instruments is None else with_standards(session, instruments))


def register_among(session: Session, wanted: Collection[int] | None) -> dict[str, InstrumentOnRecord]:
    """These instruments by tag, or all of them; the reference standards of their calibrations are among those asked for."""
    calibrations = _calibrations(session, wanted)
    events: dict[int, list[EventOnRecord]] = defaultdict(list)
    intervals: dict[int, list[IntervalChange]] = defaultdict(list)
    happened = select(Event, LedgerEntry.time).outerjoin(LedgerEntry, entry_of(Event)).where(not_retracted(Event))
    for event, recorded in session.exec(among(happened, Event.instrument_id, wanted).order_by(col(Event.id))):
        recorded_on = None if recorded is None else moment(recorded).date()
        events[event.instrument_id].append(EventOnRecord(event.kind, moment(event.at), event.reason, recorded_on))
        if event.kind == INTERVAL_CHANGE and event.value is not None:
            intervals[event.instrument_id].append(IntervalChange(moment(event.at), int(event.value)))
    checks: dict[int, list[CheckOnRecord]] = defaultdict(list)
    of_instruments = among(select(IntermediateCheck), IntermediateCheck.instrument_id, wanted)
    for check in session.exec(
        of_instruments.where(not_retracted(IntermediateCheck)).order_by(col(IntermediateCheck.id))
    ):
        checks[check.instrument_id].append(CheckOnRecord(moment(check.at), check.kind, check.result == "passed"))
    register = {
        instrument.tag: InstrumentOnRecord(
            instrument.tag,
            instrument.interval_months,
            instrument.check_interval_days,
            tuple(calibrations[key(instrument.id)]),
            tuple(events[key(instrument.id)]),
            tuple(checks[key(instrument.id)]),
            tuple(intervals[key(instrument.id)]),
        )
        for instrument in instruments_in_force(session, wanted)
    }
    return with_reviews(session, register, wanted)


def with_standards(session: Session, instruments: Collection[int]) -> set[int]:
    """Instruments with the reference standards that any of their calibrations rests on, and so on up."""
    reached: set[int] = set()
    following = set(instruments)
    while following:
        reached |= following
        standards = select(ReferenceStandard.instrument_id).join(Calibration).distinct()
        following = {*session.exec(among(standards, Calibration.instrument_id, following))} - reached
    return reached


def _calibrations(session: Session, instruments: Collection[int] | None) -> dict[int, list[CalibrationOnRecord]]:
    standards: dict[int, list[str]] = defaultdict(list)
    of_calibrations = (
        select(ReferenceStandard.calibration_id, Instrument.tag)
        .join(Instrument, col(Instrument.id) == ReferenceStandard.instrument_id)
        .join(Calibration, col(Calibration.id) == ReferenceStandard.calibration_id)
        .order_by(col(ReferenceStandard.id))
    )
    for calibration_id, tag in session.exec(among(of_calibrations, Calibration.instrument_id, instruments)):
        standards[calibration_id].append(tag)
    new = aliased(Calibration)
    query = (
        select(  # type: ignore[call-overload, misc]
            Calibration.instrument_id,
            Calibration.id,
            Calibration.certificate,
            Calibration.laboratory,
            Calibration.calibrated_on,
            Acceptance.accepted_on,
            Calibration.due_on,
            StoredCurve.low,
            StoredCurve.high,
            StoredCurve.measuring_interval,
            Withdrawal.id,
            new.id,
            new.certificate,
            Supersession.same_values,
            Calibration.adjustment,
            reissued_and_waiting(),
        )
        .select_from(Calibration)
        .join(StoredCurve, counts_of_its_calibration())
        .outerjoin(Acceptance, col(Acceptance.calibration_id) == Calibration.id)
        .outerjoin(Withdrawal, col(Withdrawal.calibration_id) == Calibration.id)
        .outerjoin(Supersession, took_its_place())
        .outerjoin(new, col(new.id) == Supersession.calibration_id)
        .order_by(col(Calibration.id))
    )
    calibrations: dict[int, list[CalibrationOnRecord]] = defaultdict(list)
    trial = on_trial(session)
    reissued_for: dict[int, set[int]] = defaultdict(set)  # with the same values: old certificates, by the new one
    for row in session.exec(among(query, Calibration.instrument_id, instruments)):
        (
            instrument,
            record_id,
            certificate,
            laboratory,
            calibrated_on,
            accepted_on,
            due_on,
            low,
            high,
            interval,
            withdrawal,
            reissued,
            superseded_by,
            same_values,
            adjustment,
            reissued_as,
        ) = row
        if record_id in trial:
            low, high, interval = trial[record_id].low, trial[record_id].high, trial[record_id].measuring_interval
        if reissued is not None and same_values != "no":
            reissued_for[reissued].add(record_id)
        calibrations[instrument].append(
            CalibrationOnRecord(
                record_id,
                certificate,
                laboratory,
                date.fromisoformat(calibrated_on),
                _day(accepted_on) if withdrawal is None and superseded_by is None else None,
                _day(due_on),
                low,
                high,
                interval,
                tuple(standards[record_id]),
                withdrawal is not None,
                superseded_by,
                same_values != "no",
                adjusted=adjustment == "yes",
                reissued_as=reissued_as,
            )
        )
    if reissued_for:
        for own in calibrations.values():
            own[:] = [replace(each, same_as=_all_before(each.record_id, reissued_for)) for each in own]
    return calibrations


def _all_before(calibration: int, reissued_for: Mapping[int, Collection[int]]) -> frozenset[int]:
    """The certificates that one was reissued for, and those before them."""
    first = reissued_for.get(calibration, ())
    return frozenset(first).union(*(_all_before(each, reissued_for) for each in first))


def _day(typed: str | None) -> date | None:
    return None if typed is None else date.fromisoformat(typed)
