"""An instrument by its tag, as its label's code leads to it: may it be used, here, today, and to what uncertainty."""

from calib.errors import UnitError
from calib.faces.answers import instrument_at_hand as answer
from calib.faces.pages.frame.routes import Filled, Pages
from calib.faces.pages.frame.visit import Visit
from calib.procedures.fleet.ready import ready, ready_in_the_middle
from calib.procedures.fleet.ready_instead import ready_instead
from calib.procedures.on_record.jobs_by_name import latest_jobs

pages = Pages()
_JOBS = 8  # to measure with it


@pages.shows("/instruments/{tag:name}")
def instrument(visit: Visit, tag: str) -> Filled:
    """The gate's answer now, what an indication means, and what else could be used."""
    session, now = visit.reading(), visit.at
    wrong, asked = "", visit.asked.get("at", "").strip()
    try:
        at_hand = ready(session, [tag], now, now, asked)[0] if asked else ready_in_the_middle(session, tag, now)
    except UnitError as error:
        wrong, at_hand = str(error), ready_in_the_middle(session, tag, now)
    instead = [] if at_hand.decision.allowed else ready_instead(session, tag, now, now)
    content = answer.document(now, at_hand, instead) | {"asked": asked, "wrong": wrong}
    return Filled(
        "instrument.html",
        content | {"jobs": latest_jobs(session, _JOBS), "from": visit.asked.get("job", "")},
        title=tag,
    )
