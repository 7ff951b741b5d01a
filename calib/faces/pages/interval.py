"""Review of an instrument's calibration interval, as the command answers it, and the interval that QA sets."""

from calib.confirmation.recommendation import KEEP
from calib.confirmation.words import JUDGED
from calib.faces.answers import changed_interval
from calib.faces.answers import interval as answer
from calib.faces.pages.frame.form import choices
from calib.faces.pages.frame.portions import portions_shown, start_of
from calib.faces.pages.frame.routes import Filled, Goto, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.written import Content
from calib.procedures.fleet.change_interval import change_interval
from calib.procedures.fleet.interval_review import review_interval, review_intervals
from calib.procedures.fleet.list_instruments import InstrumentWish, list_instruments
from calib.procedures.typed.known_words import not_among

pages = Pages()
INTERVAL = "/instruments/{tag:name}/interval"
_TARGETS = {"90": 0.90, "95": 0.95, "99": 0.99}  # how probable it is to be in tolerance at the end [%]
_USUAL = "95"
MOST_REVIEWED = 10  # at a time: each reads the whole history of its family


@pages.shows(INTERVAL)
def interval(visit: Visit, tag: str) -> Filled:
    """History, drift and family with one recommendation and its reason; nothing is changed by it."""
    asked = {"target": _USUAL} | visit.asked_for(("target", "judged"))
    wrong = not_among(("target", asked["target"], _TARGETS), ("judged", asked.get("judged"), JUDGED))
    if wrong:
        asked = {"target": _USUAL}
    reviewed = review_interval(visit.reading(), tag, visit.at.date(), _TARGETS[asked["target"]], asked.get("judged"))
    document = answer.document(reviewed)
    content = _said(document) | {
        "tag": tag,
        "head": answer.head_line(document),
        "tables": [
            ("Errors over its calibrations", *answer.history_table(document)),
            ("Drift and stability", *answer.drift_table(document)),
        ]
        if document["points"]
        else [],
        "notes": answer.note_lines(document),
        "family": answer.family_line(document),
        "months": document["recommendation"]["months"] if document["to_record"] else "",
        "asked": asked,
        "targets_shown": [(percent, f"{percent} %") for percent in _TARGETS],
        "judged_shown": [("", "as it was accepted"), *choices(JUDGED)],
        "wrong": wrong,
    }
    return Filled("interval.html", content, title=f"{tag}: interval", status=422 if wrong else 200)


@pages.takes(INTERVAL, again=interval, act="interval")
def set_interval(visit: Visit, tag: str) -> Goto:
    """Set another interval, with the reason."""
    with visit.writing_last() as session:
        changed = change_interval(
            session, tag, visit.form["months"], visit.form["reason"], visit.signature("page interval")
        )
    return Goto(
        address("/instruments/{}/interval", tag), changed_interval.text(changed_interval.document(tag, changed))
    )


@pages.shows("/intervals")
def intervals(visit: Visit) -> Filled:
    """What is recommended for instruments in service, so many at a time, those that are due first."""
    session, wanted = visit.reading(), visit.asked.get("text", "").strip()
    fitting = list_instruments(session, InstrumentWish(text=wanted or None), "due", visit.at)
    tags = [str(each.cells["tag"]) for each in fitting if not each.retired]
    first = start_of(visit)
    reviewed = review_intervals(session, tags[first : first + MOST_REVIEWED], visit.at.date(), _TARGETS[_USUAL])
    documents = map(answer.document, reviewed)
    content = {
        "reviews": [{"tag": each["tag"], "present": each["interval_months"], **_said(each)} for each in documents],
        "on": str(visit.at.date()),
        "target": _USUAL,
        "wanted": wanted,
        "portions": portions_shown("/intervals", {"text": wanted}, len(tags), MOST_REVIEWED, first),
    }
    return Filled("intervals.html", content, title="Calibration intervals")


def _said(document: Content) -> Content:
    """What is recommended, and why; whether something is to be done."""
    action, *why = answer.recommended_lines(document)
    return {"action": action, "why": why, "is_to_do": document["recommendation"]["action"] != KEEP}
