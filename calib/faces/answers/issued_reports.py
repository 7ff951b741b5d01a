"""Answers on reports as they were issued: the list of them, and whether a file is one."""

import hashlib
from collections.abc import Sequence
from dataclasses import asdict

from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.report.issued import FoundIssue, Issue


def issues(found: Sequence[Issue]) -> list[Content]:
    """Each issue with the digests of its forms."""
    return [
        {
            "revision": one.revision,
            "issued": one.issued_at,
            "issued_by": one.person,
            "reason": one.reason,
            "ledger_digest": one.ledger_digest,
            "forms": [asdict(each) for each in one.forms],
        }
        for one in found
    ]


def issues_text(job: str, found: Sequence[Issue]) -> str:
    """The same for people."""
    if not found:
        return f"no report of {one_line(job)} was issued: `calib report {one_line(job)} --issue` does so"
    lines = []
    for one in found:
        why = "" if one.reason is None else f": {one_line(one.reason)}"
        lines.append(f"revision {one.revision}, issued {one.issued_at} by {one_line(one.person)}{why}")
        lines += [f"  {each.sha256}  {one_line(each.name)}" for each in one.forms]
    return "\n".join(lines)


def checked(found: FoundIssue | None, content: bytes) -> Content:
    """Whether some bytes are an issued report, and whether it is the latest."""
    digest = hashlib.sha256(content).hexdigest()
    if found is None:
        return {"is_issued": False, "is_latest": False, "sha256": digest}
    return {
        "is_issued": True,
        "is_latest": found.issue == found.latest,
        "sha256": digest,
        "job": found.issue.job,
        "revision": found.issue.revision,
        "form": found.form.form,
        "name": found.form.name,
        "issued": found.issue.issued_at,
        "issued_by": found.issue.person,
        "latest_revision": found.latest.revision,
        "latest_reason": found.latest.reason,
    }


def checked_text(file: str, found: FoundIssue | None, content: bytes) -> str:
    """The same for people."""
    if found is None:
        digest = hashlib.sha256(content).hexdigest()
        return f"{one_line(file)}: no report as it was issued from these records: changed since, a draft, or another's ({digest})"
    one, latest = found.issue, found.latest
    said = (
        f"{one_line(file)}: revision {one.revision} of the report of job {one_line(one.job)} ({found.form.form}), "
        f"byte for byte as it was issued {one.issued_at} by {one_line(one.person)}"
    )
    if one == latest:
        return said
    return (
        f"{said}\nsuperseded by revision {latest.revision}, issued {latest.issued_at}: {one_line(latest.reason or '')}"
    )
