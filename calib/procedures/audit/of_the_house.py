"""The program, the decision rule, the records themselves (ISO/IEC 17025:2017, 7.1.3, 7.11.2, 8.4)."""

from sqlmodel import Session, select

from calib.counted import count_of
from calib.errors import RecordsError
from calib.procedures.audit.answer import Answer
from calib.procedures.audit.since_issue import after_issue, job_as_issued
from calib.procedures.audit.subject import Subject
from calib.procedures.on_record.attached_files import files_of
from calib.procedures.on_record.by_name import instrument_tagged
from calib.procedures.on_record.left_open import last_backup
from calib.procedures.on_record.validations import PASSED, validations
from calib.procedures.people.house_rules import value_of
from calib.procedures.report.issued import issued_bytes
from calib.procedures.verify.rests_on import changed_past
from calib.records.record import key
from calib.records.tables.files import Attached
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry
from calib.records.words import RETENTION


def validated(session: Session, subject: Subject) -> Answer:
    """Whether each version that wrote these records passed its published checks, and when."""
    question = "When was the software validated?"
    versions = sorted({entry.version or "" for entry in subject.entries})
    latest = {each.version: each for each in validations(session)}
    lines, lacking = [], []
    for version in versions:
        known = latest.get(version)
        name = f"version {version}" if version else "a version that left no mark"
        if known is None:
            lacking.append(name)
            lines.append(f"{name}: no validation on record.")
            continue
        after = after_issue(session, subject, "validation", known.record_id, " after the issue")
        lacking += [] if known.result == PASSED else [name]
        lines.append(
            f"{name}: {known.result} {count_of(known.checks, 'published check', 'published checks')} on {known.at[:10]} on "
            f"{known.platform}, recorded by {known.by}{after}, SHA-256 {known.sha256[:12]}."
        )
    if lacking:
        return Answer(question, f"Not shown: {', '.join(lacking)} has not passed.", True, tuple(lines))
    days = ", ".join(sorted({latest[version].at[:10] for version in versions}))
    return Answer(question, f"On {days}: every version that wrote these records passed.", False, tuple(lines))


def agreed(session: Session, subject: Subject) -> Answer:
    """The decision rule of a job with the client's agreement, or the rule by which an instrument is accepted."""
    question = "Which decision rule was applied, and who agreed to it?"
    job = subject.job
    if job is None:
        instrument = instrument_tagged(session, subject.name)
        rule = instrument.decision_rule
        said = (
            f"{rule.capitalize()} acceptance, as the register says."
            if rule
            else "The register names none: each acceptance says its own."
        )
        return Answer(question, said, is_finding=False)
    job_id = key(job.id)
    files = files_of(session, Attached.job_id, [job_id]).get(job_id, [])
    letters = tuple(f"Kept with the job: {file['name']}, SHA-256 {file['sha256'][:12]}." for file in files)
    said, before = _agreement(job), job_as_issued(session, subject)
    if before is not None and _agreement(before) != said:
        said = f"When it was issued: {_agreement(before)} Now: {said}"
    return Answer(question, said, is_finding=job.agreed_by is None, rests_on=letters)


def _agreement(job: Job) -> str:
    """The decision rule of a job, and the client's agreement to it."""
    rule = f"{job.decision_rule.capitalize()} acceptance"
    if job.agreed_by is None:
        return f"{rule}; no agreement of the client is on record."
    return f"{rule}, agreed by {job.agreed_by} for the client{f' on {job.agreed_on}' if job.agreed_on else ''}."


def as_written(session: Session, subject: Subject) -> Answer:
    """Whether the records are as they were written, and an issued report is the one that was issued."""
    question = "Are the records as they were written?"
    findings = [str(finding) for finding in changed_past(session, subject.numbers)]
    issue = subject.issue
    if issue is not None:
        findings += _of_issue(session, subject)
    count = sum(len(keys) for keys in subject.numbers.values())
    if findings:
        said = f"No: {count_of(len(findings), 'finding', 'findings')}."
        return Answer(question, said, True, tuple(f"{finding}." for finding in findings))
    told = f"Yes: {count_of(count, 'record is', 'records are')} as the ledger says."
    if issue is None:
        return Answer(question, told, False)
    forms = ", ".join(f"{form.form} (SHA-256 {form.sha256[:12]})" for form in issue.forms)
    rests_on = f"Revision {issue.revision} was issued by {issue.person} on {issue.issued_at[:10]}: {forms}."
    return Answer(question, told, False, (rests_on, f"The ledger ended then with {issue.ledger_digest}."))


def _of_issue(session: Session, subject: Subject) -> list[str]:
    assert subject.issue is not None  # noqa: S101 (asked only of a report)
    issue, wrong = subject.issue, []
    for form in issue.forms:
        try:
            issued_bytes(session, issue.job, issue.revision, form.form)
        except RecordsError as error:
            wrong.append(str(error))
    there = select(LedgerEntry.sequence).where(LedgerEntry.digest == issue.ledger_digest)
    if session.exec(there).first() is None:
        wrong.append(f"the ledger holds no entry with the digest {issue.ledger_digest} that the report prints")
    return wrong


def retained(session: Session) -> Answer:
    """The declared period, and the last backup on record."""
    question = "How long are the records kept, and is there a copy?"
    years = value_of(session, RETENTION)
    backup = last_backup(session)
    copy = "No backup is on record."
    if backup is not None:
        since = count_of(backup.entries_since, "ledger entry was", "ledger entries were")
        copy = (
            f"The last backup on record is {backup.name} of {backup.at[:10]}, by {backup.by}; {since} recorded since."
        )
    period = (
        "No period of retention is declared" if years is None else f"{years} years at least, as the house rule says"
    )
    return Answer(question, f"{period}; nothing is ever deleted.", years is None, (copy,))
