"""Look up what the records hold, as it was typed."""

from dataclasses import dataclass
from datetime import datetime
from typing import Any

from sqlalchemy import inspect
from sqlmodel import Session, SQLModel, col, select

from calib.confirmation.interval import gate
from calib.procedures.find import calibration_numbered, instrument_tagged
from calib.procedures.register import load_register
from calib.records.tables import (
    Acceptance,
    Calibration,
    Comparison,
    CorrectionCurve,
    Event,
    Instrument,
    IntermediateCheck,
    ReferenceStandard,
)

Cells = dict[str, Any]


@dataclass(frozen=True)
class InstrumentStatus:
    """An instrument as typed, and whether it may be used at a time."""

    cells: Cells
    certificate: str | None
    due_on: str | None
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class InstrumentHistory:
    """One instrument's whole history."""

    status: InstrumentStatus
    calibrations: tuple[Cells, ...]
    events: tuple[Cells, ...]
    checks: tuple[Cells, ...]


def instruments(session: Session, at: datetime) -> list[InstrumentStatus]:
    """Every instrument with its status at a time."""
    register = load_register(session)
    return [_status(one, register, at) for one in session.exec(select(Instrument).order_by(col(Instrument.tag)))]


def _status(one: Instrument, register: Any, at: datetime) -> InstrumentStatus:
    decision = gate(register, one.tag, at, at)
    certificate = None if decision.calibration is None else decision.calibration.certificate
    return InstrumentStatus(
        typed(one), certificate, None if decision.due_on is None else str(decision.due_on), decision.reasons
    )


def instrument_history(session: Session, tag: str, at: datetime) -> InstrumentHistory:
    """One instrument with everything that happened to it; raises NotInRecordsError."""
    one = instrument_tagged(session, tag)
    return InstrumentHistory(
        _status(one, load_register(session), at),
        tuple(calibrations(session, tag)),
        tuple(
            typed(event, "instrument_id")
            for event in session.exec(select(Event).where(Event.instrument_id == one.id).order_by(col(Event.id)))
        ),
        tuple(checks(session, tag)),
    )


def calibrations(session: Session, tag: str | None = None) -> list[Cells]:
    """Calibrations of one instrument, or of all, with their acceptance and the degree of their curve."""
    accepted = {one.calibration_id: one for one in session.exec(select(Acceptance))}
    curves = {
        one.calibration_id: one for one in session.exec(select(CorrectionCurve).order_by(col(CorrectionCurve.id)))
    }
    query = (
        select(Calibration, Instrument.tag)
        .join(Instrument)
        .order_by(col(Instrument.tag), col(Calibration.calibrated_on))
    )
    if tag is not None:
        query = query.where(Instrument.id == instrument_tagged(session, tag).id)
    return [
        {"tag": owner}
        | typed(one, "instrument_id")
        | _acceptance(accepted.get(one.id or 0))
        | {
            "shape": curves[one.id or 0].shape,
            "degree": curves[one.id or 0].degree,
            "measuring_interval": curves[one.id or 0].measuring_interval,
        }
        for one, owner in session.exec(query)
    ]


def _acceptance(one: Acceptance | None) -> Cells:
    if one is None:
        return {"accepted_on": None, "accepted_by": None, "criterion": None}
    return {"accepted_on": one.accepted_on, "accepted_by": one.accepted_by, "criterion": one.criterion}


def checks(session: Session, tag: str | None = None) -> list[Cells]:
    """Intermediate checks of one instrument, or of all."""
    query = select(IntermediateCheck, Instrument.tag).join(Instrument).order_by(col(IntermediateCheck.id))
    if tag is not None:
        query = query.where(Instrument.id == instrument_tagged(session, tag).id)
    return [{"tag": owner} | typed(one, "instrument_id") for one, owner in session.exec(query)]


@dataclass(frozen=True)
class CalibrationOnFile:
    """One calibration with everything its certificate says, and the curve that counts."""

    instrument: Instrument
    calibration: Calibration
    acceptance: Acceptance | None
    standards: tuple[str, ...]
    comparisons: tuple[Comparison, ...]
    curves: tuple[CorrectionCurve, ...]  # the last one counts


def calibration_on_file(session: Session, tag: str, certificate: str | None) -> CalibrationOnFile:
    """A calibration by its certificate number, or the instrument's latest; raises NotInRecordsError."""
    instrument = instrument_tagged(session, tag)
    one = calibration_numbered(session, instrument, certificate)
    standards = select(Instrument.tag).join(ReferenceStandard).where(ReferenceStandard.calibration_id == one.id)
    return CalibrationOnFile(
        instrument,
        one,
        session.exec(select(Acceptance).where(Acceptance.calibration_id == one.id)).first(),
        tuple(session.exec(standards)),
        tuple(session.exec(select(Comparison).where(Comparison.calibration_id == one.id).order_by(col(Comparison.id)))),
        tuple(
            session.exec(
                select(CorrectionCurve)
                .where(CorrectionCurve.calibration_id == one.id)
                .order_by(col(CorrectionCurve.id))
            )
        ),
    )


def typed(record: SQLModel, *without: str) -> dict[str, Any]:
    """The cells of a record as typed, in the order of its table, without keys of other tables."""
    columns = inspect(type(record)).local_table.columns
    return {column.name: getattr(record, column.name) for column in columns if column.name not in without}
