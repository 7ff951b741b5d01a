"""The first page: what waits for somebody, and the jobs by the day of their last reading."""

from itertools import groupby
from operator import itemgetter

from sqlmodel import Session

from calib.faces.answers import jobs as jobs_answer
from calib.faces.answers import status as status_answer
from calib.faces.pages.frame.routes import Filled, Pages
from calib.faces.pages.frame.visit import Visit
from calib.faces.written import Content
from calib.procedures.fleet.status import what_waits
from calib.procedures.on_record.jobs_on_file import jobs_of_late, jobs_on_file

pages = Pages()
COMES_DUE_WITHIN = 30  # [d]
OF_LATE = 30  # jobs that were recorded last; those of the last readings stand beside them
_NOT_BEGUN = "9999"  # behind every day: where the work is, stands first


@pages.shows("/", menu="Jobs")
def home(visit: Visit) -> Filled:
    """Jobs, the newest first and before them those that are not begun; what waits beside them."""
    session = visit.reading()
    are_all, jobs = jobs_asked(session, visit)
    in_order = sorted(jobs, key=_day, reverse=True)
    by_day = [(None if day == _NOT_BEGUN else day, list(of_day)) for day, of_day in groupby(in_order, key=_day)]
    waits = status_answer.document(what_waits(session, visit.at, COMES_DUE_WITHIN), ())
    left = {job["job"]: job["not_measured"] for job in waits["jobs"]}
    return Filled("home.html", {"by_day": by_day, "left": left, "waits": waits, "are_all": are_all}, title="Jobs")


def jobs_asked(session: Session, visit: Visit, *, all_of_them: bool = False) -> tuple[bool, list[Content]]:
    """Whether every job is asked for, by the address too; those, or else the ones recorded last, the newest first."""
    are_all = all_of_them or visit.asked.get("jobs") == "all"
    on_file = jobs_on_file(session, None if are_all else jobs_of_late(session, OF_LATE))
    return are_all, jobs_answer.document(on_file)["jobs"][::-1]


def _day(job: dict[str, str | None]) -> str:
    return itemgetter("last_read_on")(job) or _NOT_BEGUN
