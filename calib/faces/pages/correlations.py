"""How far the flows of a report go together: one with the others, reached from its budget; each with each, from the report."""

from calib.errors import BadInputError
from calib.faces.answers import correlated_flows as answer
from calib.faces.answers import correlation_matrix as matrix_answer
from calib.faces.pages.frame.form import choices, number_of
from calib.faces.pages.frame.portions import portions_shown, start_of
from calib.faces.pages.frame.routes import Filled, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.report_desk import DESK
from calib.faces.written import Content
from calib.procedures.measure.correlated_flows import correlated_flows, flows_in_matrix, others_that_count
from calib.procedures.measure.evaluate import evaluate
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


@pages.shows(f"{DESK}/correlations")
def matrix_page(visit: Visit, job: str) -> Filled:
    """The matrix of correlations, of one system where the address names it."""
    evaluation, system, wrong = evaluate(visit.reading(), job, visit.at), visit.asked.get("system") or None, ""
    systems = dict.fromkeys(evaluation.measured[row].outlet.system for row in evaluation.counting.values())
    shown: Content = {"readings": []}
    try:
        shown = matrix_answer.document(evaluation, flows_in_matrix(evaluation, system), system)
    except BadInputError as error:
        wrong = str(error)
    content = {
        "job": job,
        "readings": shown["readings"],
        "headings": matrix_answer.matrix_headings(shown),
        "rows": matrix_answer.matrix_rows(shown) if shown["readings"] else [],
        "words": matrix_answer.matrix_words(shown) if shown["readings"] else [],
        "system": system or "",
        "systems_shown": [("", "all"), *choices(list(systems))],
        "wrong": wrong,
    }
    return Filled("matrix.html", content, title=f"Correlations, {job}", status=422 if wrong else 200)
