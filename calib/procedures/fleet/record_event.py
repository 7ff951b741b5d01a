"""Record what happened to an instrument: suspension, damage, repair, adjustment, move, return, release, retirement.

Damage takes it out of use as a suspension does. After a repair or an adjustment the gate asks for a calibration made since
(calib.confirmation.interval). A move and a return say where it is; they alone may happen to one that is retired.
"""

from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session, select

from calib.confirmation.interval import CLOCKS_DIFFER_BY, OUT_OF_USE, RELEASE, RETIREMENT, SUSPENSION
from calib.errors import BadInputError, Finding
from calib.procedures.impact.out_of_order import open_for_damage
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.people.authorise import append
from calib.procedures.typed.reason import without_reason
from calib.procedures.typed.time_to_come import expected_of
from calib.records import ledger
from calib.records.record import key, moment
from calib.records.tables.events import Event
from calib.records.words import DAMAGE, PUT_SOMEWHERE


@dataclass(frozen=True)
class EventRecorded:
    """An event, and what is told of the impact review that it opened."""

    record: Event
    remarks: tuple[str, ...] = ()


def record_event(
    session: Session,
    tag: str,
    kind: str,
    at: datetime,
    reason: str,
    signature: ledger.Signature,
    location: str | None = None,
) -> EventRecorded:
    """Append an event; damage opens an impact review of what was measured before it was seen.

    `location` is where a move or a return has put it; of a return absent: where it was registered.

    Raises NotInRecordsError, or BadInputError for a blank reason, a time to come, a release of nothing, a move to nowhere.
    """
    instrument = instrument_tagged(session, tag)
    own = session.exec(select(Event).where(Event.instrument_id == instrument.id, not_retracted(Event))).all()
    past = sorted((event for event in own if moment(event.at) <= at), key=lambda event: moment(event.at))
    finding = _finding(kind, at, reason, [event.kind for event in past], signature.time)
    value = (instrument.location if location is None else location.strip()) if kind in PUT_SOMEWHERE else None
    if finding is None and value == "":
        finding = Finding.typed("location", location, "where it is now")
    if finding is not None:
        raise BadInputError([finding])
    event = Event(
        instrument_id=key(instrument.id),
        kind=kind,
        at=at.isoformat(timespec="seconds"),
        reason=reason.strip(),
        value=value,
    )
    append(session, [event], signature)
    opened = open_for_damage(session, event, signature, signature.time).remarks if kind == DAMAGE else ()
    return EventRecorded(event, opened)


def _finding(kind: str, at: datetime, reason: str, past: list[str], now: datetime) -> Finding | None:
    states = [each for each in past if each in (*OUT_OF_USE, RELEASE, RETIREMENT)]
    suspended = states[-1:] != [] and states[-1] in OUT_OF_USE
    for finding in without_reason(reason):
        return finding
    to_come = expected_of(at, now)
    if to_come is not None:
        return Finding.typed("at", at.isoformat(), to_come)
    if RETIREMENT in states and kind not in PUT_SOMEWHERE:
        expected = "an instrument in service; this one is retired"
    elif kind == RELEASE and suspended and at < now - CLOCKS_DIFFER_BY:
        return Finding.typed("at", at.isoformat(), "now: a release holds from now on only")
    elif kind == RELEASE and not suspended:
        expected = "a suspended instrument; this one is not suspended at that time"
    elif kind == SUSPENSION and suspended:
        expected = "an instrument that is not suspended already at that time"
    else:
        return None
    return Finding.typed("tag", None, expected)
