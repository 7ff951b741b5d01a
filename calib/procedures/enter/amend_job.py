"""Amend a job: all but its name. Its decision rule, its density and the client's agreement are an act of QA or an engineer.

Which of both a revision is, the door to the ledger tells by what it changes, and so does a server (`authority.WRITTEN`).
"""

from collections.abc import Sequence

from sqlmodel import Session

from calib.errors import BadInputError
from calib.procedures.enter.amend_method import RecordAmended
from calib.procedures.enter.amended_row import amended_row
from calib.procedures.enter.check_jobs import agreement_whole
from calib.procedures.enter.record_rows import cells_of_table
from calib.procedures.impact.take_back import HungOn, reports_of_jobs
from calib.procedures.on_record.amended import cells_of_amendable
from calib.procedures.on_record.jobs_by_name import amended_job
from calib.procedures.people.authorise import append
from calib.procedures.typed.columns import FILES
from calib.records import ledger
from calib.records.record import key
from calib.records.tables.jobs import JobRevision


def amend_job(
    session: Session, name: str, typed: Sequence[str], reason: str, signature: ledger.Signature
) -> RecordAmended:
    """Append a revision of a job; `typed` are changes as column=value. Raises NotInRecordsError or BadInputError."""
    job = amended_job(session, name)
    asked = amended_row(FILES["jobs.csv"], cells_of_amendable(job.now), typed, reason)
    findings = [*asked.findings, *agreement_whole(asked.row)]
    if findings:
        raise BadInputError(findings)
    owner, counted = key(job.first.id), 2 + len(job.revisions)
    cells = cells_of_table(FILES["job_amendments.csv"], asked.row.cells)
    append(session, [JobRevision(job_id=owner, revision=counted, reason=reason.strip(), **cells)], signature)
    hung_on = HungOn(reports=tuple(reports_of_jobs(session, [owner])))
    return RecordAmended(name, counted, asked.changes, reason.strip(), hung_on)
