"""Look up the reports of a job as they were issued."""

import hashlib
from dataclasses import dataclass

from sqlmodel import Session, col, select

from calib.errors import NotInRecordsError
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.on_record.recorded import sequences
from calib.records.issued_forms import form_bytes, is_as_issued
from calib.records.ledger import written
from calib.records.record import key
from calib.records.tables.jobs import Job
from calib.records.tables.readings import Reading
from calib.records.tables.reports import IssuedForm, IssuedReport


@dataclass(frozen=True)
class FormOnFile:
    """A form of an issued report, without its bytes."""

    form: str
    name: str  # of its file
    sha256: str


@dataclass(frozen=True)
class Issue:
    """One issue of a job's report."""

    job: str
    revision: int
    issued_at: str
    reason: str | None  # absent: the first revision
    ledger_digest: str  # the ledger's head when it was made
    person: str
    forms: tuple[FormOnFile, ...]
    signed_by: str | None = None  # absent: its PDF is not signed
    gaps_reason: str | None = None  # why without outlets that were not measured; absent: every one was


@dataclass(frozen=True)
class FoundIssue:
    """The issue that some bytes belong to, and the latest of that job."""

    issue: Issue
    form: FormOnFile
    latest: Issue


def issues_of(session: Session, job: str) -> tuple[Issue, ...]:
    """Every issue of a job's report, the first one first; raises NotInRecordsError for an unknown job."""
    of_job = job_named(session, job)
    query = select(IssuedReport).where(IssuedReport.job_id == of_job.id).order_by(col(IssuedReport.revision))
    return tuple(_issue(session, of_job, report) for report in session.exec(query).all())


def _issue(session: Session, job: Job, report: IssuedReport) -> Issue:
    columns = (col(IssuedForm.form), col(IssuedForm.name), col(IssuedForm.sha256))
    own = select(*columns).where(col(IssuedForm.issued_report_id) == key(report.id)).order_by(col(IssuedForm.id))
    person, _ = written(session, "issued_report", key(report.id))
    forms = tuple(FormOnFile(*row) for row in session.execute(own).all())
    typed = (report.revision, report.issued_at, report.reason, report.ledger_digest)
    return Issue(job.job, *typed, person, forms, report.signed_by, report.gaps_reason)


def issued_without(session: Session, job: str, reading: int) -> int | None:
    """The latest revision of a job's report, where a reading was recorded after it; None where it has the reading, or is none.

    Raises NotInRecordsError for an unknown job.
    """
    of_job = select(IssuedReport).where(IssuedReport.job_id == job_named(session, job).id)
    latest = session.exec(of_job.order_by(col(IssuedReport.revision).desc()).limit(1)).first()
    if latest is None:
        return None
    issued = sequences(session, IssuedReport.__tablename__, [key(latest.id)])[key(latest.id)]
    recorded = sequences(session, Reading.__tablename__, [reading])[reading]
    return latest.revision if recorded > issued else None


def issued_bytes(session: Session, job: str, revision: int, form: str) -> bytes:
    """The bytes of a form as they were issued; raises NotInRecordsError, with what there is, or RecordsError for changed ones."""
    of_revision = session.exec(
        select(IssuedForm)
        .join(IssuedReport, col(IssuedReport.id) == col(IssuedForm.issued_report_id))
        .where(
            IssuedReport.job_id == job_named(session, job).id,
            IssuedReport.revision == revision,
            IssuedForm.form == form,
        )
    ).first()
    if of_revision is None:
        is_there = any(issue.revision == revision for issue in issues_of(session, job))
        what = f"the report of {job} as {form}" if is_there else f"the report of {job}"
        raise NotInRecordsError(f"no revision {revision} of {what}: {_issued(session, job)}")
    return form_bytes(session, of_revision)


def _issued(session: Session, job: str) -> str:
    there = [f"{issue.revision} ({', '.join(each.form for each in issue.forms)})" for issue in issues_of(session, job)]
    return f"issued are {'; '.join(there)}" if there else "none was issued"


def issue_with(session: Session, content: bytes) -> FoundIssue | None:
    """The issue that these very bytes are a form of; None where they are of none."""
    digest = hashlib.sha256(content).hexdigest()
    forms = session.exec(select(IssuedForm).where(IssuedForm.sha256 == digest)).all()
    same = next((form for form in forms if is_as_issued(session, form)), None)
    if same is None:
        return None
    report = session.exec(select(IssuedReport).where(IssuedReport.id == same.issued_report_id)).one()
    job = session.exec(select(Job).where(Job.id == report.job_id)).one()
    every = issues_of(session, job.job)
    own = next(issue for issue in every if issue.revision == report.revision)
    return FoundIssue(own, FormOnFile(same.form, same.name, same.sha256), every[-1])


def signer_on_record(session: Session, certificate: str) -> str | None:
    """Who signed an issue of these records with the certificate of that SHA-256; None: nobody."""
    query = select(IssuedReport.signed_by).where(col(IssuedReport.signature).contains(certificate, autoescape=True))
    return session.exec(query).first()
