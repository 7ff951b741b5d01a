"""The first page: what waits for the person, what they may do, and the jobs by their day."""

from calib.faces.answers import jobs as jobs_answer
from calib.faces.pages.frame.routes import Filled, Pages
from calib.faces.pages.frame.visit import Visit
from calib.procedures.on_record.jobs_on_file import jobs_on_file

pages = Pages()


@pages.shows("/", menu="Jobs")
def home(visit: Visit) -> Filled:
    """Jobs, the newest first."""
    document = jobs_answer.document(jobs_on_file(visit.reading()))
    return Filled("home.html", {"jobs": list(reversed(document["jobs"]))}, title="Jobs")
