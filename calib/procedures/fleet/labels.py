"""Which instruments get a label on a day: those that may be used; the reasons against the others."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime

from sqlmodel import Session, col, select

from calib.confirmation.interval import is_retired
from calib.errors import NotInRecordsError, Step
from calib.procedures.on_record.used_with import decision_on, gear_of
from calib.records.record import key
from calib.records.tables.instruments import Instrument


@dataclass(frozen=True)
class Label:
    """An instrument that may be used, with what stands on its label."""

    tag: str
    certificate: str
    calibrated_on: date
    due_on: date  # the earlier of both days
    calibration_due_on: date
    check_due_on: date | None  # absent: no intermediate check is required


@dataclass(frozen=True)
class LabelsAsked:
    """Labels, and why others get none: a label says that an instrument may be used."""

    labels: tuple[Label, ...]
    refused: tuple[tuple[str, tuple[str, ...]], ...]  # tag, the gate's reasons


def labels_of(session: Session, tags: Sequence[str] | None, at: datetime) -> LabelsAsked:
    """Labels at a time, in the order asked for; None asks for every instrument that is not retired. Raises NotInRecordsError."""
    named = select(Instrument).where(col(Instrument.tag).in_(tags or ()))
    own = None if tags is None else {key(instrument.id) for instrument in session.exec(named)}
    gear = gear_of(session, own)
    register = gear.register
    unknown = [tag for tag in tags or () if tag not in register]
    if unknown:
        raise NotInRecordsError(f"no instrument {unknown[0]!r} in the records: {Step.LIST_INSTRUMENTS} shows them")
    if tags is None:
        tags = [tag for tag, instrument in register.items() if not is_retired(instrument, at)]
    decisions = [decision_on(gear, tag, at, at) for tag in dict.fromkeys(tags)]
    return LabelsAsked(
        tuple(
            Label(
                decision.tag,
                decision.calibration.certificate,
                decision.calibration.calibrated_on,
                decision.first_due_on,
                decision.due_on,
                decision.check_due_on,
            )
            for decision in decisions
            if decision.allowed and decision.calibration and decision.due_on and decision.first_due_on
        ),
        tuple((decision.tag, decision.reasons) for decision in decisions if not decision.allowed),
    )
