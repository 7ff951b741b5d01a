"""Withdraw an event or an intermediate check that was recorded wrongly, with the reason: it counts for nothing, at no time.

A suspension typed on the wrong instrument, a failed check of another one, an interval set by a slip. What the gate refused
meanwhile stays a refusal: whoever dismisses it may type the reading again.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

from sqlmodel import Session, col, select

from calib.confirmation.interval import Decision, gate
from calib.counted import count_of
from calib.errors import BadInputError, Finding, NotInRecordsError
from calib.procedures.impact.take_back import HungOn, hung_on_instrument, take_back
from calib.procedures.on_record.by_keys import numbered
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.register import load_register
from calib.procedures.on_record.reviews import reviews_opened_by
from calib.procedures.on_record.what_counts import not_retracted
from calib.records import ledger
from calib.records.record import key, moment
from calib.records.tables.events import Event, IntermediateCheck
from calib.records.words import INTERVAL_CHANGE


@dataclass(frozen=True)
class WithdrawnEvent:
    """What was withdrawn of an instrument, what hung on it since, and what the gate says now."""

    tag: str
    record_id: int
    what: str  # suspension; zero check
    at: datetime
    hung_on: HungOn
    decision: Decision
    remarks: tuple[str, ...] = ()  # of the reviews that it had opened


def withdraw_event(
    session: Session, tag: str, record_id: int, reason: str, signature: ledger.Signature
) -> WithdrawnEvent:
    """Append the retraction of an event; raises NotInRecordsError, or BadInputError."""
    return _withdraw(session, Event, tag, record_id, reason, signature)


def withdraw_check(
    session: Session, tag: str, record_id: int, reason: str, signature: ledger.Signature
) -> WithdrawnEvent:
    """Append the retraction of an intermediate check; raises NotInRecordsError, or BadInputError."""
    return _withdraw(session, IntermediateCheck, tag, record_id, reason, signature)


def withdraw_interval(session: Session, tag: str, reason: str, signature: ledger.Signature) -> WithdrawnEvent:
    """Append the retraction of the last change of an interval: the one before holds again. Raises as the others."""
    own = (Event.instrument_id == instrument_tagged(session, tag).id, Event.kind == INTERVAL_CHANGE)
    last = session.exec(select(Event.id).where(*own, not_retracted(Event)).order_by(col(Event.id).desc())).first()
    if last is None:
        raise BadInputError([Finding.typed("tag", tag, "an instrument whose interval was changed; this one's was not")])
    return _withdraw(session, Event, tag, last, reason, signature)


def _withdraw(
    session: Session, table: Any, tag: str, record_id: int, reason: str, signature: ledger.Signature
) -> WithdrawnEvent:
    instrument = instrument_tagged(session, tag)
    record = numbered(session, table, record_id)
    what = "intermediate check" if table is IntermediateCheck else "event"
    if record is None or record.instrument_id != instrument.id:
        own = session.exec(select(table.id).where(table.instrument_id == instrument.id).order_by(table.id)).all()
        there = ", ".join(map(str, own)) or "none"
        raise NotInRecordsError(f"no {what} {record_id} of {tag}: there is {there}")
    since = moment(record.at)
    # A factor that was found keeps its value: what counts of it are its readings.
    hung_on = replace(hung_on_instrument(session, key(instrument.id), since), factors=())
    take_back(session, record, reason, signature)
    register = load_register(session, [key(instrument.id)])
    named = f"{record.kind} check" if table is IntermediateCheck else record.kind
    decision = gate(register, tag, signature.time, signature.time)
    remarks = tuple(_left_open(session, str(record.__tablename__), record_id))
    return WithdrawnEvent(tag, record_id, named, since, hung_on, decision, remarks)


def _left_open(session: Session, table: str, record_id: int) -> Iterator[str]:
    for review in reviews_opened_by(session, table, [record_id]):
        if review.is_open:
            lines = count_of(review.open_lines, "line", "lines")
            yield (
                f"review {review.review}, which it had opened, shakes nothing any more; it stays open with {lines} until "
                "somebody has disposed of each"
            )
