"""The log: who recorded what, when and with which version of the program; confined and turned over by its address."""

from urllib.parse import urlencode

from calib.faces.answers import log as answer
from calib.faces.pages.frame.form import choices, day_typed, number_of
from calib.faces.pages.frame.routes import Filled, Pages
from calib.faces.pages.frame.visit import Visit
from calib.procedures.on_record.log import RECORDED, LogWish, log
from calib.procedures.people.authorise import people_on_record

pages = Pages()
_ON_A_PAGE = 50  # entries
_TEXTS = ("person", "action", "kind", "instrument", "job")
_ASKED = (*_TEXTS, "since", "until", "before")


@pages.shows("/log")
def log_shown(visit: Visit) -> Filled:
    """The newest entries that fit, an act a row, and the way to those before them."""
    session = visit.reading()
    asked = visit.asked_for(_ASKED)
    person, action, kind, instrument, job = (asked.get(name) for name in _TEXTS)
    since, until = (
        day_typed(name, asked[name], visit.at.date()) if name in asked else None for name in ("since", "until")
    )
    before = number_of(asked["before"], "ledger entry") if "before" in asked else None
    wish = LogWish(_ON_A_PAGE, instrument, job, person, since, until, before, action, kind)
    document = answer.document(log(session, wish))
    confined = {name: typed for name, typed in asked.items() if name != "before"}
    earlier = confined | {"before": document["entries"][-1]["sequence"]} if document["more"] else None
    content = {
        "acts": answer.acts(document),
        "more": document["more"],
        "asked": asked,
        "people": [person.name for person in people_on_record(session).people],
        "kinds_shown": [("", "any"), *choices(list(RECORDED))],
        "earlier": earlier and f"/log?{urlencode(earlier)}",
        "newest": f"/log?{urlencode(confined)}" if "before" in asked else None,
    }
    return Filled("log.html", content, title="Log")
