"""Record a suspension, a release or a retirement of an instrument."""

from datetime import datetime

from sqlmodel import Session, select

from calib.errors import BadInputError, Finding
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.people.authorise import append
from calib.records import ledger
from calib.records.record import key, moment
from calib.records.tables import Event


def record_event(
    session: Session, tag: str, kind: str, at: datetime, reason: str, signature: ledger.Signature
) -> Event:
    """Append an event; raises NotInRecordsError, or BadInputError for a blank reason, a time to come or a release of nothing."""
    instrument = instrument_tagged(session, tag)
    own = session.exec(select(Event).where(Event.instrument_id == instrument.id)).all()
    past = sorted((one for one in own if moment(one.at) <= at), key=lambda event: moment(event.at))
    finding = _finding(kind, at, reason, [one.kind for one in past], signature.time)
    if finding is not None:
        raise BadInputError([finding])
    event = Event(
        instrument_id=key(instrument.id), kind=kind, at=at.isoformat(timespec="seconds"), reason=reason.strip()
    )
    append(session, [event], signature)
    return event


def _finding(kind: str, at: datetime, reason: str, past: list[str], now: datetime) -> Finding | None:
    source = "command line"
    states = [one for one in past if one in ("suspension", "release", "retirement")]
    if not reason.strip():
        return Finding(source, None, "reason", "", "why, in a few words")
    if at > now:
        return Finding(
            source,
            None,
            "at",
            at.isoformat(),
            f"a time that is not in the future (it is {now.isoformat(timespec='minutes')})",
        )
    if "retirement" in states:
        return Finding(source, None, "tag", None, "an instrument in service; this one is retired")
    if kind == "release" and states[-1:] != ["suspension"]:
        return Finding(source, None, "tag", None, "a suspended instrument; this one is not suspended at that time")
    if kind == "suspension" and states[-1:] == ["suspension"]:
        return Finding(source, None, "tag", None, "an instrument that is not suspended already at that time")
    return None
