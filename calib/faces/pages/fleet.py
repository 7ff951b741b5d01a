"""The fleet at a desk: its time-line, and its list as the address says: filtered, sorted, the same for whoever opens the link."""

from calib.errors import BadInputError
from calib.faces.answers import instruments as answer
from calib.faces.drawings.due_bars import due_drawing, due_words
from calib.faces.drawings.time_line import time_line, under
from calib.faces.pages.frame.form import choices, days_findings
from calib.faces.pages.frame.heads import heads
from calib.faces.pages.frame.routes import Filled, Pages
from calib.faces.pages.frame.visit import Visit
from calib.procedures.fleet.due import due
from calib.procedures.fleet.list_instruments import STATES, InstrumentWish, list_instruments, unknown_words

pages = Pages()
_TEXTS = ("text", "kind", "location", "custodian")  # each contained in what is wanted
_ASKED = (*_TEXTS, "state", "within", "sort")
_COLUMNS = (  # heading, and the order that it leads to
    ("Tag", "tag"), ("State", None), ("Due on", "due"), ("Certificate", "certificate"), ("Kind", "kind"), ("Maker, model", "maker"),
    ("Serial", "serial"), ("Location", "location"), ("Custodian", "custodian"),
)  # fmt: skip


@pages.shows("/fleet", again=True, menu="Fleet")
def fleet(visit: Visit) -> Filled:
    """Instruments that fit, in an order, and when each is due; what an address cannot mean filters nothing, and is said."""
    session, on = visit.reading(), visit.at.date()
    asked = visit.asked_for(_ASKED)
    if findings := [
        *days_findings("within", asked.get("within", "")),
        *unknown_words(asked.get("state"), asked.get("sort")),
    ]:
        raise BadInputError(findings)
    within = int(asked.get("within", InstrumentWish.within_days))
    wish = InstrumentWish(**{name: asked.get(name) for name in (*_TEXTS, "state")}, within_days=within)
    sort = asked.get("sort", "tag")
    listed = list_instruments(session, wish, sort, visit.at)
    whole_fleet = due(session, on, wish.within_days)
    register = {tag: whole_fleet.register[tag] for tag in (str(each.cells["tag"]) for each in listed)}
    drawing = due_drawing(register, whole_fleet.decisions, on, wish.within_days)
    content = {
        "instruments": [
            each | {"state": answer.standing_text(each)} for each in answer.document(listed)["instruments"]
        ],
        "asked": asked,
        "states_shown": [("", "any"), *choices(STATES)],
        "heads": heads("/fleet", _COLUMNS, asked, sort),
        "within": wish.within_days,
        "time_line": time_line(drawing, "time-line-words") if drawing.bars else None,
        "words": due_words(drawing),
        "under": under(drawing),
    }
    return Filled("fleet.html", content, title="Fleet")
