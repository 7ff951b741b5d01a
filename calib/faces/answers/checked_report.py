"""Whether a file is a report as it was issued, and the latest, as `calib report --check` answers."""

import hashlib
from collections.abc import Mapping

from calib.faces.plain_text import one_line
from calib.faces.written import Content
from calib.procedures.report.check_pdf_signature import PdfSignature
from calib.procedures.report.issued import FoundIssue


def document(
    file: str, content: bytes, issued: FoundIssue | None, signatures: Mapping[PdfSignature, str | None]
) -> Content:
    """What the file is: a revision with its form, or none of these records; and what the signatures within it are worth.

    Beside each signature stands who signed an issue of these records with its certificate.
    """
    told = [_signature(signature, signer, len(content)) for signature, signer in signatures.items()]
    return _issue(file, content, issued) | ({"signatures": told} if told else {})


def _signature(signature: PdfSignature, signer: str | None, size: int) -> Content:
    return {
        "holds": signature.holds,
        "fault": signature.fault,
        "by": signature.name,
        "certificate_issuer": signature.issuer,
        "certificate_sha256": signature.sha256,
        "signer_on_record": signer,
        "at": None if signature.at is None else signature.at.isoformat(),
        "covered_bytes": signature.covered,
        "covers_whole_file": signature.covered == size,
        "time_stamp": None if signature.stamped_at is None else signature.stamped_at.isoformat(),
        "time_stamp_by": signature.stamped_by,
    }


def _issue(file: str, content: bytes, issued: FoundIssue | None) -> Content:
    digest = hashlib.sha256(content).hexdigest()
    if issued is None:
        return {"file": file, "is_issued": False, "is_latest": False, "sha256": digest}
    signed = {} if issued.issue.signed_by is None else {"signed_by": issued.issue.signed_by}
    return signed | {
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
    signed = [_signature_text(signature) for signature in answer.get("signatures", ())]
    if not signed and answer.get("signed_by"):
        signed = [f"the PDF of this revision is signed by {one_line(answer['signed_by'])}"]
    return "\n".join([_issue_text(answer), *signed])


def _signature_text(signature: Content) -> str:
    name = one_line(signature["by"] or "a person who cannot be read")
    if not signature["holds"]:
        return f"the signature of {name} does not hold: {one_line(signature['fault'])}"
    if signature["covers_whole_file"]:
        covers = f"the whole file ({signature['covered_bytes']} bytes)"
    else:
        covers = f"its first {signature['covered_bytes']} bytes: what follows was added after it was signed"
    stamp = (
        ""
        if signature["time_stamp"] is None
        else (f", with a time stamp of {signature['time_stamp']} by {one_line(signature['time_stamp_by'])}")
    )
    certificate = (
        f"certificate issued by {one_line(signature['certificate_issuer'])}, SHA-256 {signature['certificate_sha256']}"
    )
    known = signature["signer_on_record"]
    on_record = (
        f"with which {one_line(known)} signed what was issued from these records"
        if known
        else "with which nothing was signed that these records hold: whose it is they do not tell"
    )
    return f"signed by {name} at {signature['at']}{stamp}: the signature holds, and covers {covers}\n{certificate}, {on_record}"


def _issue_text(answer: Content) -> str:
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
