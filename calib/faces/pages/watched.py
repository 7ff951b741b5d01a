"""Issued reports watched: which of them wait since the records contradict them, and what one job's states otherwise now."""

from calib.faces.answers import watched_reports
from calib.faces.pages.frame.routes import Filled, Pages
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.report_desk import DESK
from calib.procedures.on_record.reviews import reviews
from calib.procedures.report.watch_issued import latest_says_now

pages = Pages()


@pages.shows("/reports/watched")
def watched(visit: Visit) -> Filled:
    """Every issued report on which a line of a review is open, with what shook it."""
    content = watched_reports.document(reviews(visit.reading(), only_open=True))
    return Filled("watched.html", content, title="Reports watched")


@pages.shows(f"{DESK}/watched")
def watched_of_job(visit: Visit, job: str) -> Filled:
    """What the latest issued report states otherwise than the records now, and the reviews that tell of it."""
    session = visit.reading()
    waiting = watched_reports.document(each for each in reviews(session, only_open=True) if each.of_job(job))["reports"]
    now = watched_reports.of_latest(latest_says_now(session, job, visit.at))
    content = now | {"job": job, "reports": [each for each in waiting if each["job"] == job]}
    return Filled("watched_job.html", content, title=f"Report on {job} watched")
