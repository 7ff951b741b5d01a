"""Whether the report on a job was issued with all its outlets (ISO/IEC 17025:2017, 7.8.2.2)."""

from collections.abc import Iterator

from sqlmodel import Session

from calib.counted import count_of
from calib.procedures.audit.answer import Answer
from calib.procedures.audit.since_issue import issued_document
from calib.procedures.audit.subject import Subject
from calib.procedures.report.issued import Issue, issues_of


def complete(session: Session, subject: Subject) -> Iterator[Answer]:
    """What each issue left out and the reason given; nothing of an instrument. A gap without a reason is a finding."""
    if subject.job is None:
        return
    question = "Was the report complete when it was issued?"
    issues = [subject.issue] if subject.issue is not None else list(issues_of(session, subject.job.job))
    if not issues:
        yield Answer(question, "No report of the job was issued.", is_finding=False)
        return
    lacks = {issue.revision: _left_out(session, issue) for issue in issues}
    lines = tuple(_told(issue, lacks[issue.revision]) for issue in issues)
    last = issues[-1]
    if lacks[last.revision] is None:
        said = f"That of revision {last.revision} cannot be read."
    elif left := lacks[last.revision]:
        said = f"No: revision {last.revision} was issued without {count_of(len(left), 'outlet', 'outlets')}."
    else:
        said = f"Yes: revision {last.revision} has every outlet of the job."
    unexplained = any(
        left is None or (left and issue.gaps_reason is None) for issue, left in zip(issues, lacks.values(), strict=True)
    )
    yield Answer(question, said, unexplained, lines)


def _left_out(session: Session, issue: Issue) -> list[str] | None:
    """Outlets and ducts that an issue says were not measured; None where its form is not what was issued."""
    document = issued_document(session, issue)
    return None if document is None else [each["outlet"] for each in document.get("not_measured", ())]


def _told(issue: Issue, left: list[str] | None) -> str:
    said = f"Revision {issue.revision} of {issue.issued_at[:10]}"
    if left is None:
        return f"{said}: its form for machines is not kept, or is not what was issued."
    if not left:
        return f"{said}: every outlet and duct was measured."
    reason = (
        "no reason is on record" if issue.gaps_reason is None else f"the reason given: {issue.gaps_reason.rstrip('.')}"
    )
    return f"{said}: without {', '.join(left)}; {reason}."
