"""With what is measured at an outlet: meter, probe, air, unit, method, as they are remembered, chosen and asked for."""

import secrets

from sqlmodel import Session

from calib.confirmation.interval import Decision
from calib.errors import NotInRecordsError
from calib.faces.answers import readiness
from calib.faces.pages.frame.form import Form, choices
from calib.faces.pages.frame.visit import Visit
from calib.faces.written import Content
from calib.procedures.enter.on_site import asks_of_setup, conditions_of, is_traversed, last_used
from calib.procedures.enter.send_entry import Sending
from calib.procedures.enter.sitting import SETUP
from calib.procedures.fleet.ready_instead import ready_instead
from calib.procedures.on_record.by_name import tags_in_use
from calib.procedures.on_record.methods import names_of_methods
from calib.procedures.on_record.serves_as import Duty
from calib.procedures.typed.declared.readings import READINGS_CSV
from calib.records.tables.outlets import Outlet
from calib.records.words import STAGES

BESIDE = ("stage", "remarks", "averaging_s")  # cells of the reading itself, beside its values
_COLUMNS = tuple(READINGS_CSV.by_name[name] for name in (*SETUP, *BESIDE))


def chosen(visit: Visit) -> dict[str, str]:
    """What was typed or chosen of the set-up; what was not is absent."""
    return Form(visit.asked).meant(_COLUMNS) | visit.form.meant(_COLUMNS)


def measured_with(session: Session, visit: Visit, job: str, outlet: Outlet) -> Content:
    """The set-up as it stands: what was chosen, else what this person used last at such a place, else what the meter asks for."""
    said = chosen(visit)
    last = last_used(session, job, visit.person, outlet.place, said.get("instrument"))
    tag = said.get("instrument") or last.get("instrument", "")
    unknown, asks = "", None
    try:
        asks = asks_of_setup(session, tag, visit.at) if tag else None
    except NotInRecordsError as error:
        unknown, tag = str(error), ""
    own_unit = {} if asks is None else {"unit": asks.unit}
    start, conditions = own_unit | last | said, conditions_of(session, job)
    return {
        "instrument": tag,
        "unknown": unknown,
        "start": {column: start.get(column, "") for column in (*SETUP, *BESIDE)},
        "asked": [] if asks is None else asks.columns,
        "units_shown": choices(() if asks is None else asks.units),
        "not_traversed": None if asks is None else asks.way.not_traversed,
        "takes_probe": asks is not None and asks.way.probe.value != "none",
        "is_throttled": asks is not None and asks.way.throttled is not None,
        "methods_shown": choices(names_of_methods(session), may_be_blank=not start.get("method")),
        "conditions": conditions,
        "conditions_shown": choices(conditions, may_be_blank=True),
        "tags": tags_in_use(session),
        "stages_shown": choices(STAGES, may_be_blank=True),
        "readiness": None if asks is None else _readiness(session, visit, asks.decision, outlet),
        "client_key": fresh_key(visit),
    }


def _readiness(session: Session, visit: Visit, decision: Decision, outlet: Outlet) -> Content:
    """The gate's answer on a meter now; where it may not be used, or what was typed is refused, what else could be."""
    is_barred = visit.form.refused or not decision.allowed
    instead = _instead_of(session, visit, decision.tag, outlet) if is_barred else []
    return {"tag": decision.tag, "allowed": decision.allowed, "reasons": decision.reasons, "instead": instead}


def _instead_of(session: Session, visit: Visit, tag: str, outlet: Outlet) -> list[Content]:
    """What else could be used at an outlet: instruments that measure the same there and may be used now."""
    wanted = Duty.IN_A_SECTION if is_traversed(outlet) else Duty.AT_A_FACE
    instead = ready_instead(session, tag, visit.at, visit.at, wanted)
    return list(readiness.document(visit.at, instead, None)["instruments"])


def fresh_key(visit: Visit) -> str:
    """The key of what is typed into this form: the one that it had, unless that was given to another entry."""
    typed = visit.form["client_key"] or visit.asked.get("client_key", "")
    return secrets.token_urlsafe(18) if not typed or visit.form.wrong("client_key") else typed


def sending(visit: Visit) -> Sending:
    """What is said of an entry that a page sends; without its script it has no clock but this one."""
    return Sending(visit.form["client_key"], visit.form["sent_at"] or visit.at.isoformat(), visit.agent)
