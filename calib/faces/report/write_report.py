"""Make a job's report in its forms, write it into a folder, issue it, write an issue again."""

import json
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path

from sqlmodel import Session

from calib.errors import CalibError, Step
from calib.faces.report.content import Issuing, content
from calib.faces.report.file_names import like_names, stem_among
from calib.faces.report.forms import in_forms
from calib.faces.report.revision_changes import revised
from calib.faces.write_over import write_whole
from calib.faces.written import Content
from calib.procedures.on_record.jobs_by_name import jobs_like
from calib.procedures.report.collect import JobReport, report
from calib.procedures.report.issue import ToIssue, issue_report, may_issue, must_say_why
from calib.procedures.report.issued import issued_bytes, issues_of
from calib.procedures.report.signing_key import Signing, must_sign_for
from calib.records import database, ledger
from calib.records.database import OpenRecords
from calib.records.issue_digest import issue_digest
from calib.records.ledger import Signature
from calib.records.verification import Progress
from calib.uncertainty.coverage import COVERAGE_PROBABILITY

_KEPT_ALWAYS = "json"  # the next revision says what it changes in it


@dataclass(frozen=True)
class WrittenReport:
    """Files of a report."""

    files: tuple[Path, ...]
    refusals: int
    revision: int


@dataclass(frozen=True)
class Wanted:
    """The report that is wanted."""

    job: str
    forms: Sequence[str]
    issued: datetime  # the time of issue to print, of a draft that of its writing
    now: datetime
    units: str | None = None  # absent: those that were typed
    coverage_probability: float = COVERAGE_PROBABILITY
    signing: Signing | None = None  # of an issue; absent: its PDF is not signed
    gaps_reason: str | None = None  # why it is issued without outlets that were not measured
    with_photographs: bool = False  # those kept with its outlets and readings are printed


def _silent(_: str) -> None:
    """Nobody wants to know."""


def write_draft(session: Session, wanted: Wanted, into: Path, progress: Progress = _silent) -> WrittenReport:
    """Write a job's report as it would be issued now, in each form; raises NotInRecordsError, CalibError."""
    report = _evaluated(session, wanted, progress)
    document = revised(content(report, wanted.issued, wanted.units), report.issued_before)
    made = in_forms(document, report, wanted.forms, progress)
    files = _write_all(into, {f"{_stem(session, wanted.job)}.{form}": made[form] for form in wanted.forms})
    return WrittenReport(files, len(report.evaluation.refused), document["revision"])


def issue(
    records: str | OpenRecords,
    wanted: Wanted,
    reason: str | None,
    sign: Callable[[], Signature],
    into: Path | None,
    progress: Progress = _silent,
) -> WrittenReport:
    """Issue a job's report: keep its bytes as the next revision, then write them into a folder, where one is named.

    It is made before others are kept from writing; where somebody wrote meanwhile it is made anew. It is signed when it is
    written, since making it may take longer than the time of an entry may differ from a server's. Raises NotInRecordsError,
    BadInputError where it may not be issued, GapError with outlets that were not measured and no reason to go without, CalibError
    where the folder cannot be written: then it is issued all the same.
    """
    with database.reading(records) as session:
        made = _made(session, wanted, reason, sign(), progress)
    with database.writing(records) as session:
        if ledger.ledger_head(session)[1] != made.issue.ledger_digest:
            progress("the records were written to meanwhile: the report is made anew")
            made = _made(session, wanted, reason, sign(), progress)
        issue_report(session, made.issue, sign())
    try:
        files = () if into is None else _write_new(into, dict(made.issue.forms.values()))
    except CalibError as error:
        revision = made.issue.revision
        again = f"{Step.WRITE_AGAIN} {wanted.job}, revision {revision}"
        raise CalibError(f"{error}; it is issued as revision {revision} all the same: {again}") from error
    return WrittenReport(files, made.refusals, made.issue.revision)


@dataclass(frozen=True)
class _Made:
    issue: ToIssue
    refusals: int


def _made(session: Session, wanted: Wanted, reason: str | None, signature: Signature, progress: Progress) -> _Made:
    person = may_issue(session, wanted.job, reason, signature).person
    if wanted.signing is not None:
        must_sign_for(session, wanted.signing, person)
    report = _evaluated(session, wanted, progress)
    must_say_why(session, report.evaluation, wanted.gaps_reason)
    document = content(report, wanted.issued, wanted.units, Issuing(person, reason, wanted.gaps_reason))
    document = revised(document, report.issued_before)
    forms = dict.fromkeys([*wanted.forms, _KEPT_ALWAYS])
    revision = document["revision"]
    document |= {
        "issue_digest": issue_digest(report.ledger_digest, document["job"], revision, wanted.issued.isoformat(), forms)
    }
    signed = None if wanted.signing is None else _signature(wanted.signing, person)
    if signed is not None:
        document |= {"signature": signed}
    made = in_forms(document, report, list(forms), progress, wanted.signing)
    stem = _stem(session, wanted.job)
    named = {form: (f"{stem}-r{revision}.{form}", made[form]) for form in forms}
    cited = None if report.validation is None else report.validation.record_id
    issue = ToIssue(
        wanted.job,
        revision,
        wanted.issued,
        reason,
        report.ledger_digest,
        named,
        cited,
        signed_by=None if signed is None else person,
        signature=None if signed is None else json.dumps(signed, ensure_ascii=False),
        gaps_reason=wanted.gaps_reason,
    )
    return _Made(issue, len(report.evaluation.refused))


def _signature(signing: Signing, person: str) -> Content:
    """What a signature says of itself, before it is made."""
    return {
        "by": person,
        "at": signing.at.isoformat(timespec="seconds"),
        "level": signing.level,
        "issuer": signing.key.issuer,
        "sha256": signing.key.sha256,
        "valid_from": signing.key.valid_from.isoformat(),
        "valid_until": signing.key.valid_until.isoformat(),
    }


def _evaluated(session: Session, wanted: Wanted, progress: Progress) -> JobReport:
    progress(f"evaluating the readings of job {wanted.job}")
    return report(
        session, wanted.job, wanted.now, wanted.coverage_probability, with_photographs=wanted.with_photographs
    )


def _stem(session: Session, job: str) -> str:
    """What the files of a job's report are called: each job's otherwise, whatever signs and case their names have."""
    return stem_among(job, jobs_like(session, like_names(job)))


def write_issued(
    session: Session, job: str, revision: int, forms: Sequence[str], into: Path, *, over: bool = False
) -> tuple[Path, ...]:
    """Write an issue again, byte for byte, in those forms, or all of it; raises NotInRecordsError, CalibError.

    `over`: also where files of its names hold something else.
    """
    of_revision = [issue for issue in issues_of(session, job) if issue.revision == revision]
    names = {each.form: each.name for issue in of_revision for each in issue.forms}
    asked = forms or list(names) or [_KEPT_ALWAYS]  # of a revision that was not issued this one is missed
    contents = {form: issued_bytes(session, job, revision, form) for form in asked}
    return (_write_all if over else _write_new)(into, {names[form]: made for form, made in contents.items()})


def _write_new(into: Path, contents: Mapping[str, bytes]) -> tuple[Path, ...]:
    """Write files that are frozen: one that is there with other bytes stays as it is; raises CalibError, none written."""
    for name, made in contents.items():
        path = into / name
        if path.is_file() and path.read_bytes() != made:
            raise CalibError(f"{path} is there already and holds something else: name another folder")
    return _write_all(into, contents)


def _write_all(into: Path, contents: Mapping[str, bytes]) -> tuple[Path, ...]:
    for name, made in contents.items():
        _write(into / name, made)
    return tuple(into / name for name in contents)


def _write(path: Path, made: bytes) -> None:
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        write_whole(path, made)
    except OSError as error:
        raise CalibError(f"{path}: the report cannot be written ({error.strerror})") from error
