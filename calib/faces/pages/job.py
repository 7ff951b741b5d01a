"""A job as cards, one for each outlet or duct, those that are left first."""

from calib.faces.answers import job_on_site
from calib.faces.pages.frame.routes import Filled, Pages
from calib.faces.pages.frame.visit import Visit
from calib.procedures.measure.evaluate import evaluate

pages = Pages()


@pages.shows("/jobs/{job:name}")
def job(visit: Visit, job: str) -> Filled:
    """What was measured of a job, and what is left; with the meter that was chosen before."""
    content = job_on_site.document(evaluate(visit.reading(), job, visit.at), None)
    begun = visit.served.credentials.traverses_begun(visit.person, job)
    return Filled("job.html", content | {"with": visit.asked.get("instrument", ""), "begun": begun}, title=job)
