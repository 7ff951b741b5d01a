"""What held when a report was issued, and what changed since (ISO/IEC 17025:2017, 7.8.8).

Decision (2026-11-29): a report is asked by the records as they are now; beside that stands what its issued form states, and what
was recorded after the issue is marked; the chain of traceability alone is followed through the records as they were then. Options:
every question asked of these, of which the cost grows with the company's past. Cost: two ways to look back.
"""

import json
from collections.abc import Iterator, Mapping
from datetime import datetime
from typing import Any

from sqlmodel import Session

from calib.counted import count_of
from calib.errors import NotInRecordsError, RecordsError
from calib.procedures.audit.subject import JOB, Subject
from calib.procedures.impact.trace import trace_up
from calib.procedures.on_record.amended import Amended
from calib.procedures.on_record.as_recorded_until import as_recorded_until
from calib.procedures.on_record.jobs_by_name import amended_job
from calib.procedures.on_record.recorded import sequences
from calib.procedures.report.issued import Issue, issued_bytes, issues_of
from calib.procedures.report.watch_issued import says_now
from calib.records.record import key, moment
from calib.records.tables.jobs import Job
from calib.records.tables.reports import IssuedReport


def after_issue(
    session: Session, subject: Subject, table: str, record_id: int, said: str = ", recorded after the issue"
) -> str:
    """What is said of a record that came after the report that is asked about; nothing of any other."""
    return said if _is_after(session, subject, table, record_id) else ""


def _is_after(session: Session, subject: Subject, table: str, record_id: int) -> bool:
    issued = subject.numbers.get("issued_report", ())
    places = sequences(session, "issued_report", issued).values()
    return any(sequences(session, table, [record_id])[record_id] > place for place in places)


def held_when_issued(session: Session, subject: Subject) -> str:
    """How many readings stood in the report as it was issued; nothing where no report is asked about, or it is not whole."""
    document = _document(session, subject)
    if subject.issue is None or document is None:
        return ""
    stood, refused = (len(document[name]) for name in ("readings", "refusals"))
    against = count_of(refused, "was refused", "were refused") if refused else "none was refused"
    when = f"When revision {subject.issue.revision} was issued on {subject.issue.issued_at[:10]},"
    return f" {when} {count_of(stood, 'reading stood', 'readings stood')} and {against}."


def changed_since(session: Session, subject: Subject, now: datetime) -> Iterator[str]:
    """What the report states and the records say otherwise now, why aside, and which revisions took its place."""
    issue = subject.issue
    if issue is None or _document(session, subject) is None:
        return
    (report,) = (session.get_one(IssuedReport, each) for each in subject.numbers["issued_report"])
    says = says_now(session, report, now)
    # Why a reading is refused stands under the first question.
    differs = [
        f"{each['what']}: {each['before']} -> {str(each['after']).partition(': ')[0]}"
        for each in (() if says is None else says.differs)
    ]
    told = (
        f"states otherwise than the records now: {'; '.join(differs)}" if differs else "states what the records say now"
    )
    yield f"Revision {issue.revision} {told}."
    for later in issues_of(session, issue.job):
        if later.revision > issue.revision:
            yield f"Revision {later.revision} took its place on {later.issued_at[:10]} ({later.reason})."


def gaps_when_issued(session: Session, subject: Subject) -> tuple[str, ...] | None:
    """What the chain of traceability lacked when the report was issued; None where no report is asked about."""
    issue = subject.issue
    if issue is None:
        return None
    (place,) = sequences(session, "issued_report", subject.numbers["issued_report"]).values()
    with as_recorded_until(session, place):
        return trace_up(session, (JOB, issue.job), moment(issue.issued_at).date()).gaps


def job_as_issued(session: Session, subject: Subject) -> Job | None:
    """The job as it counted when the report was issued; None where no report is asked about."""
    if subject.issue is None:
        return None
    amended = amended_job(session, subject.issue.job)
    revisions = [
        each for each in amended.revisions if not _is_after(session, subject, each.__tablename__, key(each.id))
    ]
    return Amended(amended.first, revisions).now


def _document(session: Session, subject: Subject) -> Mapping[str, Any] | None:
    """The issued form of the report that is asked about; None where none is."""
    return None if subject.issue is None else issued_document(session, subject.issue)


def issued_document(session: Session, issue: Issue) -> Mapping[str, Any] | None:
    """The issued form that is read by machines; None where it was not kept, or is not what was issued."""
    try:
        document: Mapping[str, Any] = json.loads(issued_bytes(session, issue.job, issue.revision, "json"))
    except (NotInRecordsError, RecordsError):
        return None
    return document
