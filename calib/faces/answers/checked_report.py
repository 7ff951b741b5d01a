"""Whether a file is a report as it was issued, and the latest, as `calib report --check` answers."""

import hashlib

from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.report.issued import FoundIssue


def document(file: str, content: bytes, issued: FoundIssue | None) -> Content:
    """What the file is: a revision with its form, or none of these records."""
    digest = hashlib.sha256(content).hexdigest()
    if issued is None:
        return {"file": file, "is_issued": False, "is_latest": False, "sha256": digest}
    return {
        "file": file,
        "is_issued": True,
        "is_latest": issued.issue == issued.latest,
        "sha256": digest,
        "job": issued.issue.job,
        "revision": issued.issue.revision,
        "form": issued.form.form,
        "name": issued.form.name,
        "issued": issued.issue.issued_at,
        "issued_by": issued.issue.person,
        "latest_revision": issued.latest.revision,
        "latest_issued": issued.latest.issued_at,
        "latest_reason": issued.latest.reason,
    }


def text(answer: Content) -> str:
    """The same for people."""
    file = one_line(answer["file"])
    if not answer["is_issued"]:
        return (
            f"{file}: no report as it was issued from these records: changed since, a draft, or another's "
            f"({answer['sha256']})"
        )
    said = (
        f"{file}: revision {answer['revision']} of the report of job {one_line(answer['job'])} ({answer['form']}), "
        f"byte for byte as it was issued {answer['issued']} by {one_line(answer['issued_by'])}"
    )
    if answer["is_latest"]:
        return said
    reason = one_line(answer["latest_reason"] or "")
    return f"{said}\nsuperseded by revision {answer['latest_revision']}, issued {answer['latest_issued']}: {reason}"
