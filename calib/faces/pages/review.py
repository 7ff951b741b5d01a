"""One impact review, line by line: what rests on what was out of order, what is decided on it, and which curve holds for it."""

from datetime import datetime

from calib.errors import BadInputError, Finding
from calib.faces.answers import review as answer
from calib.faces.pages.frame.form import choices, number_of
from calib.faces.pages.frame.portions import portions_shown, start_of
from calib.faces.pages.frame.routes import Filled, Goto, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.parts.review_on_job import CURVES_IN_WORDS
from calib.faces.written import Content
from calib.procedures.impact.decide_review import CurveWanted, curves_to_choose, decide_review
from calib.procedures.impact.dispose_review import DispositionWanted, decisions_to_choose, dispose_review
from calib.procedures.impact.gather import RecordKind
from calib.procedures.on_record.reviews import Review, review_numbered
from calib.procedures.typed.answers import answered
from calib.procedures.typed.cells import whole
from calib.procedures.typed.declared.reviews import REVIEW_DECISIONS_CSV

pages = Pages()
REVIEW = "/reviews/{review:name}"
MOST_LINES = 200  # on one page: each has two fields, and a form has at most a thousand


@pages.shows(REVIEW)
def review_page(visit: Visit, review: str) -> Filled:
    """What opened it, what it waits for, and its lines, each with what was decided on it; so many from the one asked for."""
    on_record = review_numbered(visit.reading(), number_of(review, "impact review"))
    document = answer.document(on_record)
    first = start_of(visit)
    shown = document["items"][first : first + MOST_LINES]
    content = _head(on_record, document) | {
        "headings": answer.line_headings(document),
        "lines": [_line(line, for_curve=document["waits_for_curve"]) for line in shown],
        "first": first,
        "portions": portions_shown(address("/reviews/{}", review), {}, document["lines"], MOST_LINES, first),
        "decisions_shown": choices(decisions_to_choose(on_record), may_be_blank=True),
    }
    return Filled("review.html", content, title=f"Review {review}")


@pages.takes(f"{REVIEW}/lines", again=review_page, act="dispose")
def dispose(visit: Visit, review: str) -> Goto:
    """Decide on the lines that were ticked: for one reason, or for a reason of each."""
    form, review_number = visit.form, number_of(review, "impact review")
    ticked = [place for name in form.typed if (place := _place_of(name)) is not None]
    own = {place: form[f"reason_{place}"].strip() for place in ticked}
    findings = [] if ticked else [Finding.typed("lines", None, "at least one line that is ticked")]
    if any(own.values()):
        expected = "why, as the other lines say it, or one reason for all and none beside a line"
        findings += [Finding.typed(f"reason_{place}", "", expected) for place, reason in own.items() if not reason]
    if findings:
        raise BadInputError(findings)
    reasons = [*own.values()] if any(own.values()) else [form["reason"]]
    wanted = DispositionWanted(review_number, ticked, form["decision"], reasons)
    with visit.writing_last() as session:
        disposed = dispose_review(session, wanted, visit.signature("page review"), visit.at)
        document = answer.document(disposed)
    said = answer.disposed_lines(document, ticked, wanted.decision)
    if document["waits_for_curve"]:
        said.append("a revision ends them once it is decided which curve holds")
    return Goto(address("/reviews/{}?after={}", review_number, start_of(visit)), said)


@pages.shows(f"{REVIEW}/curve", act="decide")
def curve_page(visit: Visit, review: str) -> Filled:
    """What each curve would mean, and what was decided before."""
    on_record = review_numbered(visit.reading(), number_of(review, "impact review"))
    own = curves_to_choose(on_record)
    content = _head(on_record, answer.document(on_record)) | {
        "curves_shown": choices(own, may_be_blank=True),
        "meanings": [(curve, CURVES_IN_WORDS[curve].format("a time")) for curve in own],
    }
    return Filled("review_curve.html", content, title=f"Review {review}: which curve holds")


@pages.takes(f"{REVIEW}/curve", again=curve_page, act="decide")
def decide(visit: Visit, review: str) -> Goto:
    """Record which curve holds, with the reason."""
    form, review_number = visit.form, number_of(review, "impact review")
    from_at = answered(REVIEW_DECISIONS_CSV.by_name["from_at"], form["from_at"], visit.at)
    if from_at.expected is not None:
        raise BadInputError([Finding.typed("from_at", form["from_at"], from_at.expected)])
    since = None if from_at.cell is None else datetime.fromisoformat(from_at.cell)
    with visit.writing_last() as session:
        wanted = CurveWanted(review_number, form["curve"], since, form["reason"])
        decided = decide_review(session, wanted, visit.signature("page review"), visit.at)
    said = [answer.decision_text(answer.document(decided.review)), *decided.remarks]
    return Goto(address("/reviews/{}", review_number), said)


def _place_of(name: str) -> int | None:
    """The line that a ticked field is of: line_3; None for any other field."""
    kind, _, place = name.partition("_")
    return int(place) if kind == "line" and whole(place) is None else None


# --- what is shown ---------------------------------------------------------------------------------------------------------------


def _head(review: Review, document: Content) -> Content:
    """What opened a review, and which curve holds."""
    return {
        "review": document,
        "said": list(answer.head_lines(document)),
        "compared_header": answer.COMPARED_AS_FOUND,
        "judged": [
            (each["criterion"], [answer.compared_cells(comparison) for comparison in each["comparisons"]])
            for each in document.get("judgements", ())
        ],
        "assumed": answer.assumed_lines(document),
        "curve_said": list(answer.decided_lines(document)),
        "may_choose": len(curves_to_choose(review)) > 1,
    }


def _line(line: Content, *, for_curve: bool) -> Content:
    place, record, *cells = answer.row(line)
    return {
        "place": place,
        "record": record,
        "link": _link(line),
        "cells": cells,
        "notes": list(answer.notes(line)),
        "decisions": list(answer.decisions(line)),
        "waits_for": answer.waits_for(line, for_curve=for_curve),
    }


def _link(line: Content) -> str | None:
    """Where the record of a line is shown."""
    kind = line["table"]
    if kind == RecordKind.READING:
        return address("/jobs/{}/readings/{}", line["job"], line["id"])
    if kind == RecordKind.REPORT:
        return address("/jobs/{}/report/revisions", line["job"])
    if kind == RecordKind.CALIBRATION:
        return address("/instruments/{}/certificates/{}", line["instrument"], line["certificate"])
    return address("/instruments/{}/checks", line["instrument"]) if kind == RecordKind.CHECK else None
