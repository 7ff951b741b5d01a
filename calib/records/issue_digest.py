"""The digest of an issue: printed on it, it proves that the records still hold that very issue, with every form of it.

The ledger digest on a report is that of the entry before the issue: a ledger that was cut just after it still has it. So an issue
prints a digest of its own besides.

Decision (2026-11-29). It is made of what is known before the forms are: the ledger's digest, the job, the revision, the time and
which forms there are. Options: the digest of the issue's own ledger entry (a number would have to be reserved before the lock is
taken, and the time of the entry known before the report is made); one of the forms' bytes (they print it). Cost: whoever forges an
issue of the same job, revision, time and forms makes the same digest; that the bytes are others shows the file itself.
"""

import hashlib
import json
from collections import defaultdict
from collections.abc import Iterable

from sqlalchemy import Connection, text


def issue_digest(ledger_digest: str, job: str, revision: int, issued_at: str, forms: Iterable[str]) -> str:
    """SHA-256 of "issue", the ledger's digest when it was made, job, revision, time as recorded, and its forms in their order."""
    told = json.dumps(["issue", ledger_digest, job, revision, issued_at, sorted(forms)], ensure_ascii=False)
    return hashlib.sha256(told.encode()).hexdigest()


def is_of_an_issue(connection: Connection, digest: str) -> bool:
    """Whether the records hold the issue that a digest was printed on, with all of its forms."""
    forms: dict[int, list[str]] = defaultdict(list)
    for report, form in connection.execute(text("SELECT issued_report_id, form FROM issued_form")):
        forms[report].append(form)
    issues = text(
        "SELECT issued_report.id, ledger_digest, job, revision, issued_at "
        "FROM issued_report JOIN job ON job.id = issued_report.job_id"
    )
    return any(
        issue_digest(before, job, revision, issued_at, forms[report]) == digest
        for report, before, job, revision, issued_at in connection.execute(issues)
    )
