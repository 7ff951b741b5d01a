"""Record a suspension, a release or a retirement of an instrument."""

from datetime import datetime

from sqlmodel import Session, select

from calib.confirmation.interval import RELEASE, RETIREMENT, SUSPENSION
from calib.errors import BadInputError, Finding
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.people.authorise import append
from calib.procedures.typed.reason import without_reason
from calib.procedures.typed.time_to_come import expected_of
from calib.records import ledger
from calib.records.record import key, moment
from calib.records.tables.events import Event


def record_event(
    session: Session, tag: str, kind: str, at: datetime, reason: str, signature: ledger.Signature
) -> Event:
    """Append an event; raises NotInRecordsError, or BadInputError for a blank reason, a time to come or a release of nothing."""
    instrument = instrument_tagged(session, tag)
    own = session.exec(select(Event).where(Event.instrument_id == instrument.id, not_retracted(Event))).all()
    past = sorted((event for event in own if moment(event.at) <= at), key=lambda event: moment(event.at))
    finding = _finding(kind, at, reason, [event.kind for event in past], signature.time)
    if finding is not None:
        raise BadInputError([finding])
    event = Event(
        instrument_id=key(instrument.id), kind=kind, at=at.isoformat(timespec="seconds"), reason=reason.strip()
    )
    append(session, [event], signature)
    return event


def _finding(kind: str, at: datetime, reason: str, past: list[str], now: datetime) -> Finding | None:
    states = [each for each in past if each in (SUSPENSION, RELEASE, RETIREMENT)]
    suspended = states[-1:] == [SUSPENSION]
    for finding in without_reason(reason):
        return finding
    to_come = expected_of(at, now)
    if to_come is not None:
        return Finding.typed("at", at.isoformat(), to_come)
    if RETIREMENT in states:
        expected = "an instrument in service; this one is retired"
    elif kind == RELEASE and not suspended:
        expected = "a suspended instrument; this one is not suspended at that time"
    elif kind == SUSPENSION and suspended:
        expected = "an instrument that is not suspended already at that time"
    else:
        return None
    return Finding.typed("tag", None, expected)
