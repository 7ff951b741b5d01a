"""The report of a job as it stands, for the engineer who is to sign it: the verdict first; and the budget of each of its flows."""

from collections.abc import Callable, Mapping
from math import inf

from markupsafe import Markup

from calib.counted import count_of
from calib.errors import BadInputError
from calib.faces.answers import budget as budget_answer
from calib.faces.pages.frame.form import number_of
from calib.faces.pages.frame.heads import heads
from calib.faces.pages.frame.routes import Filled, Pages
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.home import jobs_asked
from calib.faces.parts.not_measured import why_not_measured
from calib.faces.report.content import content
from calib.faces.report.layout import lay_out
from calib.faces.report.page import within_a_page
from calib.faces.report.revision_changes import revised
from calib.faces.report.table_cells import NOTHING
from calib.faces.written import Content, two_digits
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.reading_in_job import ReadingInJob, reading_in_job
from calib.procedures.on_record.flow_unit import flow_unit_of_report
from calib.procedures.on_record.jobs_by_name import typed_in_job
from calib.procedures.report.collect import report
from calib.procedures.typed.known_words import not_among
from calib.records.credentials import IssueAsked
from calib.records.tables.readings import Reading

pages = Pages()
DESK = "/jobs/{job:name}/report"
LEVERS_OPEN = 8  # rows that are seen at first
_TEXTS = ("job", "title", "site", "client")
_COLUMNS = (  # heading, and the order that it leads to
    ("Job", "job"), ("What and where", None), ("Last read on", "read"), ("Outlets read", None), ("Revision issued", "revision"),
)  # fmt: skip
_ORDERS: Mapping[str, Callable[[Content], str | int]] = {
    "job": lambda job: job["job"],
    "read": lambda job: job["last_read_on"] or "",
    "revision": lambda job: job["issued_revision"] or 0,
}
_DESCENDING = ("read",)


@pages.shows("/reports", act="issue", again=True, menu="Reports")
def reports(visit: Visit) -> Filled:
    """The jobs recorded last, or all that fit what the address asks for, each with what was issued and the way to its report."""
    asked = visit.asked_for(("text", "sort"))
    text, sort = asked.get("text", ""), asked.get("sort")
    if findings := not_among(("sort", sort, _ORDERS)):
        raise BadInputError(findings)
    are_all, jobs = jobs_asked(visit.reading(), visit, all_of_them=bool(asked))
    listed = [job for job in jobs if text.casefold() in " ".join(job[name] or "" for name in _TEXTS).casefold()]
    content = {
        "jobs": sorted(listed, key=_ORDERS[sort], reverse=sort in _DESCENDING) if sort else listed,
        "are_all": are_all,
        "asked": asked,
        "heads": heads("/reports", _COLUMNS, asked, sort or "", _DESCENDING),
    }
    return Filled("reports.html", content, title="Reports")


@pages.shows(DESK)
def report_desk(visit: Visit, job: str) -> Filled:
    """The draft as it would be issued now, section by section, and before it what is missing and what would bring U down."""
    collected = report(visit.reading(), job, visit.at)
    document = revised(content(collected, visit.at), collected.issued_before)
    shown = {
        "job": job,
        "under_way": under_way(visit, job),
        "missing": what_is_missing(document),
        "levers": _levers(collected.evaluation, document),
        "levers_open": LEVERS_OPEN,
        "sections": Markup(within_a_page(lay_out(document, collected.every_calibration))),  # noqa: S704 (it escapes what was typed)
    }
    return Filled("report_desk.html", shown, title=f"Report on {job}")


def under_way(visit: Visit, job: str) -> IssueAsked | None:
    """The issue of this job's report that somebody asked for and that is not done; None where there is none."""
    asked = visit.served.credentials.issues_asked_of(job)
    return next((each for each in asked if visit.served.aside.steps(each.key) is not None), None)


def what_is_missing(document: Content) -> list[tuple[str, int | None]]:
    """What a report lacks before it is issued, a sentence each: outlets, decisions, what was refused; the review that it is of."""
    told: list[tuple[str, int | None]] = [
        (f"{each['outlet']}: {why_not_measured(each)}", None) for each in document["not_measured"]
    ]
    told += [
        (
            (
                f"review {each['review']} is open: {each['instrument'] or ''} {each['happened']}, with "
                f"{count_of(each['open_lines'], 'open line', 'open lines')} on this job"
            ),
            each["review"],
        )
        for each in document["open_reviews"]
    ]
    return told


def _levers(evaluation: Evaluation, document: Content) -> list[Content]:
    """What rules the U of each flow that counts, the least sure one first."""
    units = flow_unit_of_report(evaluation.outlets.values())
    counting = [(row, reading) for row, reading in enumerate(document["readings"]) if reading["latest"]]
    told = [_lever(reading, budget_answer.ruling(ReadingInJob(evaluation, row), units)) for row, reading in counting]
    return sorted(told, key=lambda each: -each["percent"])


def _lever(reading: Content, ruling: Content) -> Content:
    flow = reading["flow"]
    name, halved, removed = budget_answer.lever_cells(ruling)
    percent = 100.0 * flow["expanded_uncertainty"] / abs(flow["value"]) if flow["value"] else inf
    return {
        "outlet": reading["outlet"],
        "reading": reading["reading"],
        "flow": flow["statement"],
        "percent": percent,
        "share": NOTHING if percent == inf else f"{two_digits(percent)} %",
        "name": name,
        "of_variance": f"{ruling['variance_percent']:.0f} %",
        "halved": f"{halved} {flow['unit']}",
        "removed": f"{removed} {flow['unit']}",
    }


@pages.shows(f"{DESK}/readings/{{reading:name}}")
def budget(visit: Visit, job: str, reading: str) -> Filled:
    """The budget of one reading, what would bring its U down, and how many observations would bring it to what is wanted."""
    session = visit.reading()
    _, at = typed_in_job(session, job, Reading, number_of(reading))
    in_job = reading_in_job(session, number_of(reading), visit.at)
    wanted, wrong = visit.asked.get("wanted", "").strip(), ""
    try:
        answer = budget_answer.document(in_job, wanted or None, None)
    except BadInputError as error:
        answer, wrong = budget_answer.document(in_job, None, None), str(error)
    shown = {
        "job": job,
        "answer": answer,
        "outlet": at.outlet,
        "rests_on": budget_answer.rests_on_lines(answer),
        "headings": budget_answer.headings(answer["flow"]),
        "rows": [
            *map(budget_answer.contribution_cells, answer["contributions"]),
            budget_answer.combined_cells(answer["flow"]),
        ],
        "bases": budget_answer.bases(answer),
        "levers": [budget_answer.lever_cells(each) for each in answer["levers"]],
        "beside": budget_answer.beside_levers(answer),
        "wanted": wanted,
        "wrong": wrong,
    }
    return Filled("budget.html", shown, title=f"Budget of reading {reading}, {at.outlet}")
