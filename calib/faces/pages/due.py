"""What is overdue, refused or comes due, as a list and as a calendar; and what a recalibration round should hold."""

from urllib.parse import urlencode

from calib.faces.answers import due as answer
from calib.faces.answers import recalibration_round as round_answer
from calib.faces.answers import reviews as reviews_answer
from calib.faces.handouts.due_calendar import as_calendar
from calib.faces.pages.frame.form import day_typed, days_typed
from calib.faces.pages.frame.routes import Filled, Pages, Sent
from calib.faces.pages.frame.visit import Visit
from calib.procedures.fleet.due import FleetDue, due
from calib.procedures.fleet.list_instruments import InstrumentWish
from calib.procedures.fleet.recalibration_round import due_instruments, identity, round_of
from calib.procedures.on_record.reviews import reviews

pages = Pages()
ROUND_OF_DAYS = 90  # [d] that a round looks ahead, where nobody says otherwise: a quarter


@pages.shows("/due")
def due_shown(visit: Visit) -> Filled:
    """Calibrations and intermediate checks, the most urgent first; what is put aside by itself."""
    fleet = _fleet_due(visit)
    document = answer.document(fleet.on, fleet.within_days, fleet.entries, fleet.open_reviews)
    rows = [(answer.due_row(entry), entry) for entry in document["instruments"]]
    content = {
        "on": document["on"],
        "within": document["within_days"],
        "headings": answer.HEADINGS,
        "lists": [
            ("In use", [row for row in rows if not row[1]["put_aside"]]),
            ("Put aside", [row for row in rows if row[1]["put_aside"]]),
        ],
        "open_reviews": document["open_reviews"],
        "calendar": f"/due/calendar?{urlencode({'within': fleet.within_days, 'on': fleet.on})}",
    }
    return Filled("due.html", content, title="What is due")


@pages.shows("/due/calendar")
def calendar_sent(visit: Visit) -> Sent:
    """The same of what is in use, as a file for a calendar."""
    fleet, session = _fleet_due(visit), visit.reading()
    in_use = [entry for entry in fleet.entries if not entry.put_aside]
    calendar = as_calendar(due_instruments(session, in_use, fleet.on), fleet.on, identity(session))
    return Sent(calendar, "text/calendar; charset=utf-8", f"due-{fleet.on}.ics")


def _fleet_due(visit: Visit) -> FleetDue:
    within = days_typed("within", visit.asked.get("within", ""), InstrumentWish.within_days)
    return due(visit.reading(), day_typed("on", visit.asked.get("on", ""), visit.at.date()), within)


@pages.shows("/round")
def round_shown(visit: Visit) -> Filled:
    """What should go to recalibration together, and what nothing in calibration would measure meanwhile."""
    on = day_typed("on", visit.asked.get("on", ""), visit.at.date())
    ahead = days_typed("days", visit.asked.get("days", ""), ROUND_OF_DAYS)
    session = visit.reading()
    planned = round_of(session, on, ahead)
    document = round_answer.document(planned, on, ahead)
    tags = {
        each.tag
        for travellers in (*(parcel.travellers for parcel in planned.parcels), planned.put_aside)
        for each in travellers
    }
    content = document | {
        "parcels": [each | {"said": list(round_answer.standards_lines(each))} for each in document["parcels"]],
        "gaps_said": [round_answer.gap_line(each) for each in document["gaps"]],
        "checks": [(each["tag"], round_answer.due_of_check(each)) for each in document["checks"]],
        "open_reviews": [reviews_answer.brief(each) for each in reviews(session, only_open=True) if each.tag in tags],
    }
    return Filled("round.html", content, title="Recalibration round")
