"""How far the flow of a reading goes together with the others of its report: reached from its budget."""

from calib.faces.answers import correlated_flows as answer
from calib.faces.pages.frame.form import number_of
from calib.faces.pages.frame.portions import portions_shown, start_of
from calib.faces.pages.frame.routes import Filled, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.report_desk import DESK
from calib.procedures.measure.correlated_flows import correlated_flows, others_that_count
from calib.procedures.measure.reading_in_job import reading_in_job
from calib.procedures.on_record.jobs_by_name import typed_in_job
from calib.records.tables.readings import Reading

pages = Pages()
MOST_FLOWS = 100  # at a time


@pages.shows(f"{DESK}/readings/{{reading:name}}/correlations")
def correlations_page(visit: Visit, job: str, reading: str) -> Filled:
    """The correlation coefficient of a flow with each other one that counts, and what both share."""
    session, reading_number = visit.reading(), number_of(reading)
    typed_in_job(session, job, Reading, reading_number)
    in_job = reading_in_job(session, reading_number, visit.at)
    others, first = others_that_count(in_job), start_of(visit)
    document = answer.document(in_job, correlated_flows(in_job, others[first : first + MOST_FLOWS]))
    here = address("/jobs/{}/report/readings/{}", job, reading)
    shown = {
        "job": job,
        "answer": document,
        "headings": answer.CORRELATION_HEADINGS,
        "rows": [(each["reading"], answer.cells(each)) for each in document["others"]],
        "words": answer.words(document),
        "portions": portions_shown(f"{here}/correlations", {}, len(others), MOST_FLOWS, first),
    }
    return Filled("correlations.html", shown, title=f"Correlations of reading {reading}, {document['outlet']}")
