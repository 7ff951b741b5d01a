"""What befalls an instrument, recorded by a page: suspension, damage, repair, move; taken back where it was wrong."""

from collections.abc import Callable
from datetime import datetime

from sqlmodel import Session

from calib.confirmation.authority import act_of
from calib.errors import BadInputError, Finding
from calib.faces.answers import event as answer
from calib.faces.answers import instrument as history_answer
from calib.faces.answers import withdrawn_event
from calib.faces.pages.frame.form import choices, number_of
from calib.faces.pages.frame.routes import Filled, Goto, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.procedures.fleet.record_event import record_event
from calib.procedures.fleet.withdraw_event import WithdrawnEvent, withdraw_event
from calib.procedures.on_record.instrument_history import instrument_history
from calib.procedures.typed.answers import answered
from calib.procedures.typed.declared.events import EVENTS_CSV
from calib.records.ledger import Signature
from calib.records.words import EVENT_KINDS, INTERVAL_CHANGE, PUT_SOMEWHERE

pages = Pages()
Withdraw = Callable[[Session, str, int, str, Signature], WithdrawnEvent]
EVENTS = "/instruments/{tag:name}/events"
_RETURN = PUT_SOMEWHERE[1]


@pages.shows(EVENTS)
def events(visit: Visit, tag: str) -> Filled:
    """What befell it, and the form for what does now: the kinds that the person may record."""
    document = history_answer.document(instrument_history(visit.reading(), tag, visit.at))
    kinds = [kind for kind in EVENT_KINDS if kind != INTERVAL_CHANGE and visit.may(act_of("event", {"kind": kind}))]
    content = {
        "tag": tag,
        "reasons": document["reasons"],
        "events": document["events"],
        "kinds_shown": choices(kinds, may_be_blank=True),
    }
    return Filled("events.html", content, title=f"{tag}: events")


@pages.takes(EVENTS, again=events, act="suspend")
def befallen(visit: Visit, tag: str) -> Goto:
    """Record it; who may record which kind the records know."""
    form = visit.form
    kind, at = form["kind"], happened(visit)
    if kind not in EVENT_KINDS or kind == INTERVAL_CHANGE:
        raise BadInputError([Finding.typed("kind", kind, "what happened, one of those to choose from")])
    location = form["location"].strip() or (None if kind == _RETURN else "")
    with visit.writing_last() as session:
        recorded = record_event(session, tag, kind, at, form["reason"], visit.signature(kind), location)
    named = {"tag": tag, "event": kind}
    told = answer.text(answer.document(named, kind, at.isoformat(), visit.at.isoformat(), form["reason"]))
    return Goto(address("/instruments/{}/events", tag), [told, *recorded.remarks])


@pages.shows(f"{EVENTS}/{{entry:name}}", act="retract")
def event(visit: Visit, tag: str, entry: str) -> Filled:
    """One event, to be taken back."""
    document = history_answer.document(instrument_history(visit.reading(), tag, visit.at))
    return Filled(
        "taken_back.html", to_take_back(tag, entry, "events", document["events"]), title=f"{tag}: event {entry}"
    )


@pages.takes(f"{EVENTS}/{{entry:name}}/withdrawal", again=event, act="retract")
def take_back_event(visit: Visit, tag: str, entry: str) -> Goto:
    """Take it back, with the reason."""
    return take_record_back(visit, tag, entry, "events", withdraw_event)


def take_record_back(visit: Visit, tag: str, entry: str, of: str, withdraw: Withdraw) -> Goto:
    """Take a record of an instrument back, and go to those that are left."""
    number = number_of(entry, of.removesuffix("s"))
    with visit.writing_last() as session:
        withdrawn = withdraw(session, tag, number, visit.form["reason"], visit.signature("page withdrawal"))
    said = withdrawn_event.text(withdrawn_event.document(withdrawn)).splitlines()
    return Goto(address("/instruments/{}/", tag) + of, said)


def to_take_back(tag: str, entry: str, of: str, records: list[dict[str, object]]) -> dict[str, object]:
    """The record of a number among those of an instrument, as the page that takes it back shows it."""
    number = number_of(entry, of.removesuffix("s"))
    own = [each for each in records if each["id"] == number]
    return {"tag": tag, "number": entry, "of": of, "record": own[0] if own else None}


def happened(visit: Visit) -> datetime:
    """When it happened, as typed, or now; raises BadInputError."""
    typed = answered(EVENTS_CSV.by_name["at"], visit.form["at"].strip() or visit.at.isoformat(), visit.at)
    if typed.cell is None:
        raise BadInputError([Finding.typed("at", visit.form["at"], typed.expected or "a time")])
    return datetime.fromisoformat(typed.cell)
