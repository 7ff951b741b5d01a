"""An instrument that failed a check, or was damaged, shakes what was measured since it was last shown to be in order."""

from datetime import datetime

from sqlmodel import Session

from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.open_review import Reviewed, open_for_cause
from calib.procedures.impact.shaken import Shaken, since_in_order
from calib.records.ledger import Signature
from calib.records.record import key, moment
from calib.records.tables.events import Event, IntermediateCheck

NOTHING_OPENED = Reviewed((), ())


def open_for_failed_check(session: Session, check: IntermediateCheck, signature: Signature, now: datetime) -> Reviewed:
    """Open a review of what was measured since the last passed check or the calibration; none for a check that passed."""
    if check.result == "passed":
        return NOTHING_OPENED
    at = moment(check.at)
    happened = f"intermediate check ({check.kind}) failed on {at.date()}"
    shaken = Shaken("check", (RecordKind.CHECK, key(check.id)), check.instrument_id, happened)
    return _open(session, shaken, at, signature, now)


def open_for_damage(session: Session, damage: Event, signature: Signature, now: datetime) -> Reviewed:
    """Open a review of what was measured since the last passed check or the calibration, before damage was seen."""
    at = moment(damage.at)
    happened = f"damaged on {at.date()}: {damage.reason}"
    shaken = Shaken("damage", ("event", key(damage.id)), damage.instrument_id, happened)
    return _open(session, shaken, at, signature, now)


def _open(session: Session, shaken: Shaken, at: datetime, signature: Signature, now: datetime) -> Reviewed:
    since = since_in_order(session, shaken.instrument, at)
    if since is None:  # nothing could be measured with it
        return NOTHING_OPENED
    return open_for_cause(session, shaken.between(since, at), signature, now)
