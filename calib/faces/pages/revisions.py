"""What was issued of a job's report: each revision with its files as they are kept, two of them side by side, a file checked."""

import json
from collections.abc import Iterator, Mapping, Sequence

from sqlmodel import Session

from calib.errors import BadInputError, Finding
from calib.faces.answers import checked_report
from calib.faces.answers import issued_reports as issued_answer
from calib.faces.pages.frame.form import Upload, number_of
from calib.faces.pages.frame.routes import Filled, Pages, Sent
from calib.faces.pages.frame.visit import Visit
from calib.faces.pages.report_desk import DESK
from calib.faces.report.revision_changes import content_changes
from calib.faces.report.verdict_section import verdict_sentence
from calib.faces.written import Content
from calib.procedures.report.check_pdf_signature import pdf_signatures
from calib.procedures.report.issued import Issue, issue_with, issued_bytes, issues_of, signer_on_record

pages = Pages()
_REVISIONS = f"{DESK}/revisions"
_LARGEST = 50_000_000  # [byte] of a report that is checked
_KINDS: Mapping[str, str] = {
    "html": "text/html; charset=utf-8",
    "pdf": "application/pdf",
    "json": "application/json",
    "csv": "text/csv; charset=utf-8",
    "xlsx": "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet",
    "eml": "message/rfc822",
}


@pages.shows(_REVISIONS)
def revisions(visit: Visit, job: str) -> Filled:
    """Every revision, the last one first; two of them side by side where the address names them."""
    session = visit.reading()
    issued = issues_of(session, job)
    compared, wrong = None, ""
    if "first" in visit.asked:
        try:
            compared = _compared(session, job, issued, visit.asked)
        except BadInputError as error:
            wrong = str(error)
    shown = issued_answer.document(job, issued) | {"compared": compared, "wrong": wrong, "checked": None}
    return Filled("revisions.html", shown, title=f"Issued reports on {job}")


def _compared(session: Session, job: str, issued: Sequence[Issue], asked: Mapping[str, str]) -> Content:
    """Two revisions side by side: what each says of itself, what differs, what was amended between them."""
    by_revision = {str(each.revision): each for each in issued}
    wanted = {name: asked.get(name, "") for name in ("first", "other")}
    missed = {name: revision for name, revision in wanted.items() if revision not in by_revision}
    if missed:
        expected = f"one of the revisions that were issued ({', '.join(by_revision) or 'none was'})"
        raise BadInputError([Finding.typed(name, revision, expected) for name, revision in missed.items()])
    sides = [by_revision[revision] for revision in wanted.values()]
    first, other = (json.loads(issued_bytes(session, job, each.revision, "json")) for each in sides)
    return {
        "sides": [_side(issue, document) for issue, document in zip(sides, (first, other), strict=True)],
        "changes": content_changes(first, other),
        "amendments": list(_amended_between(first, other)),
    }


def _side(issue: Issue, document: Content) -> Content:
    summary = document.get("summary")  # older issues have none
    return issued_answer.of_revision(issue) | {"verdict": None if summary is None else verdict_sentence(summary)}


def _amended_between(first: Content, other: Content) -> Iterator[Content]:
    """What the one has among its amendments and the other has not."""
    told = [[_named(each) for each in document["amendments"]] for document in (first, other)]
    for document, names, others in ((first, told[0], told[1]), (other, told[1], told[0])):
        yield from (each for each, name in zip(document["amendments"], names, strict=True) if name not in others)


def _named(amendment: Content) -> tuple[str, int, str]:
    return amendment["record"], amendment["revision"], amendment["at"]


@pages.shows(f"{_REVISIONS}/{{revision:name}}/{{form:name}}")
def form(visit: Visit, job: str, revision: str, form: str) -> Sent:
    """A form of a revision, byte for byte as it was issued, to keep."""
    session, of_issue = visit.reading(), number_of(revision, "revision")
    content = issued_bytes(session, job, of_issue, form)
    name = next(
        each.name
        for issue in issues_of(session, job)
        if issue.revision == of_issue
        for each in issue.forms
        if each.form == form
    )
    return Sent(content, _KINDS.get(form, "application/octet-stream"), name)


@pages.takes(f"{_REVISIONS}/check", again=revisions, largest=_LARGEST)
def checked_file(visit: Visit, job: str) -> Filled:
    """Say whether a file is a report as it was issued, and the latest; whatever job it is of. Nothing of it is kept."""
    file: Upload | None = visit.form.file("file")
    if file is None:
        raise BadInputError([Finding.typed("file", None, "a file: a report in any of its forms")])
    session = visit.reading()
    signatures = {each: each.sha256 and signer_on_record(session, each.sha256) for each in pdf_signatures(file.content)}
    answer = checked_report.document(file.name, file.content, issue_with(session, file.content), signatures)
    lines = checked_report.text(answer).splitlines()
    is_sound = answer["is_latest"] and all(each.holds for each in signatures)
    shown = issued_answer.document(job, issues_of(session, job))
    shown |= {"compared": None, "wrong": "", "checked": {"lines": lines, "is_sound": is_sound}}
    return Filled("revisions.html", shown, title=f"{file.name} checked")
