"""Issue a job's report: its exact bytes are kept as a revision, and never changed (ISO/IEC 17025:2017, 7.8.8).

An issue is never made again from the records, since an instrument suspended later changes what they say. It is made before the
write lock is taken, and anew within it if somebody wrote meanwhile: so others seldom wait, and the digest on it is that of the
entry just before its own. JSON is always among the forms, since the next revision is compared with it.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from calib.errors import BadInputError, Finding, GapError, Step
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.people.authorise import append, authorise
from calib.procedures.report.issued import issues_of
from calib.procedures.verify.rests_on import must_be_whole, of_job
from calib.records.issued_forms import kept_forms
from calib.records.ledger import Signature
from calib.records.record import key
from calib.records.tables.reports import IssuedReport


@dataclass(frozen=True)
class ToIssue:
    """A report that was made to be issued."""

    job: str
    revision: int
    issued_at: datetime
    reason: str | None
    ledger_digest: str  # the ledger's head when it was made
    forms: Mapping[str, tuple[str, bytes]]  # form -> name of its file, its bytes
    validation_id: int | None = None  # that it cites; absent: the program was not validated
    signed_by: str | None = None  # absent: its PDF is not signed
    signature: str | None = None  # JSON: what the signature says of itself
    gaps_reason: str | None = None  # why without outlets that were not measured; absent: every one was


def may_issue(session: Session, job: str, reason: str | None, signature: Signature) -> Signature:
    """The signature with the name as it is on record; raises NotInRecordsError, BadInputError where it may not be issued."""
    signature = authorise(session, signature, "issue")
    findings = list(_findings(session, job, reason))
    if findings:
        raise BadInputError(findings)
    return signature


def _findings(session: Session, job: str, reason: str | None) -> Iterator[Finding]:
    earlier = issues_of(session, job)
    said = (reason or "").strip()
    if earlier and not said:
        expected = f"why: revision {earlier[-1].revision} was issued on {earlier[-1].issued_at[:10]}"
        yield Finding.typed("reason", reason, expected)
    if not earlier and said:
        yield Finding.typed("reason", reason, "nothing: no revision was issued before")


def must_say_why(session: Session, evaluation: Evaluation, gaps_reason: str | None) -> None:
    """Raise GapError with outlets that were not measured where no reason is given, BadInputError for a reason without any.

    Raises DamagedError where a reading is missing since it was taken out past the program: that is no gap.
    """
    left = ", ".join(outlet.outlet for outlet in evaluation.not_measured)
    said = (gaps_reason or "").strip()
    if left and not said:
        must_be_whole(session, of_job(session, key(evaluation.job.id)))
        raise GapError(f"not measured: {left}; nothing was issued; {Step.SAY_WHY_WITHOUT}")
    if not left and gaps_reason is not None:
        raise BadInputError([Finding.typed("gaps_reason", gaps_reason, "nothing: every outlet is measured")])


def issue_report(session: Session, wanted: ToIssue, signature: Signature) -> None:
    """Append the issue and its forms.

    Raises BadInputError where it may not be issued, or another was issued meanwhile; DamagedError where what it rests on was
    changed past the program.
    """
    signature = may_issue(session, wanted.job, wanted.reason, signature)
    expected = 1 + len(issues_of(session, wanted.job))
    if wanted.revision != expected:
        said = f"revision {expected}: another was issued meanwhile"
        raise BadInputError([Finding.typed("revision", str(wanted.revision), said)])
    job = key(job_named(session, wanted.job).id)
    must_be_whole(session, of_job(session, job))
    report = IssuedReport(
        job_id=job,
        revision=wanted.revision,
        issued_at=wanted.issued_at.isoformat(),
        reason=None if wanted.reason is None else wanted.reason.strip(),
        ledger_digest=wanted.ledger_digest,
        validation_id=wanted.validation_id,
        signed_by=wanted.signed_by,
        signature=wanted.signature,
        gaps_reason=None if wanted.gaps_reason is None else wanted.gaps_reason.strip(),
    )
    append(session, [report], signature)
    append(session, kept_forms(wanted.forms, key(report.id)), signature)
