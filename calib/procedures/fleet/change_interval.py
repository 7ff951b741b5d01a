"""Record another calibration interval of an instrument, with its reason."""

from dataclasses import dataclass

from sqlmodel import Session

from calib.confirmation.interval import RETIREMENT, Decision, gate, interval_at
from calib.errors import BadInputError, Finding
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.register import load_register
from calib.procedures.people.authorise import append
from calib.procedures.typed import cells
from calib.procedures.typed.reason import without_reason
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.events import Event
from calib.records.words import INTERVAL_CHANGE


@dataclass(frozen=True)
class ChangedInterval:
    """An interval that was changed, and what follows for the calibration in force."""

    before: int  # [calendar months]
    months: int
    decision: Decision  # of the gate, after the change
    at_once: bool  # whether it holds for the calibration in force: a shorter one, or one of the day it was accepted on


def change_interval(
    session: Session, tag: str, months: str, reason: str, signature: ledger.Signature
) -> ChangedInterval:
    """Append an interval change that holds from now on; raises NotInRecordsError or BadInputError.

    It is never dated back, and never lengthens the validity of a calibration that is in use: a longer interval holds from the next
    calibration accepted on, a shorter one at once.
    """
    instrument = instrument_tagged(session, tag)
    register = load_register(session, [key(instrument.id)])
    on_record, due_on = register[tag], gate(register, tag, signature.time, signature.time).due_on
    before = interval_at(on_record, signature.time.date())
    findings = list(_findings(months.strip(), reason, before))
    if any(event.kind == RETIREMENT for event in on_record.events):
        findings.append(Finding.typed("tag", None, "an instrument in service; this one is retired"))
    if findings:
        raise BadInputError(findings)
    event = Event(
        instrument_id=key(instrument.id),
        kind=INTERVAL_CHANGE,
        at=signature.time.isoformat(timespec="seconds"),
        reason=reason.strip(),
        value=str(int(months)),
    )
    append(session, [event], signature)
    register = load_register(session, [key(instrument.id)])
    after = gate(register, tag, signature.time, signature.time)
    return ChangedInterval(before, int(months), after, int(months) < before or after.due_on != due_on)


def _findings(months: str, reason: str, before: int) -> list[Finding]:
    findings = []
    expected = cells.whole(months)
    if expected is None and int(months) == before:
        expected = f"another number of months than the {before} in force"
    if expected is not None:
        findings.append(Finding.typed("months", months, expected))
    return findings + without_reason(reason)
