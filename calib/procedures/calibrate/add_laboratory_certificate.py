"""Trust the certificate that a laboratory signs with, or end the trust: an act of QA, with its reason."""

from typing import TYPE_CHECKING

from sqlmodel import Session

from calib.errors import BadInputError, Finding
from calib.procedures.dcc.check_signature import as_der, has_long_key, sha256_of, signer_of, x509_of
from calib.procedures.on_record.by_name import digest_meant
from calib.procedures.on_record.laboratory_certificates import LaboratoryCertificateOnFile, laboratory_certificates
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.reason import without_reason
from calib.procedures.typed.sheets import FileContent
from calib.records import ledger
from calib.records.tables.signatures import LaboratoryCertificate
from calib.records.words import NO_LONGER, TRUSTED

if TYPE_CHECKING:
    from cryptography.x509 import Certificate


def add_laboratory_certificate(
    session: Session, laboratory: str, file: FileContent, reason: str, signature: ledger.Signature
) -> tuple[LaboratoryCertificateOnFile, str | None]:
    """Trust a certificate from now on, and what there is to say of it; raises BadInputError with every finding."""
    authorise(session, signature, "trust")
    name = " ".join(laboratory.split())
    findings = [] if name else [Finding.typed("laboratory", laboratory, "the laboratory, as its certificates name it")]
    findings += without_reason(reason, "how it is known that it is theirs, in a few words")
    certificate = x509_of(file.content)
    expected = file.expected or _expected(file.content, certificate)
    if expected is not None:
        findings.append(_wrong(file, expected))
    if findings or certificate is None:
        raise BadInputError(findings)
    digest = sha256_of(certificate)
    there = next((each for each in laboratory_certificates(session) if each.latest.sha256 == digest), None)
    if there is not None and there.is_trusted and there.latest.laboratory == name:
        raise BadInputError([_wrong(file, f"another certificate: that of {name} is trusted since {there.latest.at}")])
    record = _record(name, as_der(certificate), digest, TRUSTED, reason, signature)
    append(session, [record], signature)
    ended = certificate.not_valid_after_utc
    said = f"notice: it was valid until {ended.date()}: signatures made later are not verified by it"
    earlier = () if there is None else there.recorded
    return LaboratoryCertificateOnFile((*earlier, record)), said if ended < signature.time else None


def distrust_laboratory_certificate(
    session: Session, digest: str, reason: str, signature: ledger.Signature
) -> LaboratoryCertificateOnFile:
    """End the trust in a certificate: what is signed with it is not verified from now on, and verdicts before stay as they are.

    `digest` is its SHA-256, or the beginning of it where that is enough. Raises NotInRecordsError, BadInputError.
    """
    authorise(session, signature, "trust")
    every = {each.latest.sha256: each for each in laboratory_certificates(session)}
    own = every[digest_meant(digest, every, "laboratory certificate", "laboratory certificates")]
    findings = without_reason(reason, "why it is trusted no more, in a few words")
    if not own.is_trusted:
        expected = f"a certificate that is trusted; the trust in this one ended at {own.latest.at}"
        findings = [*findings, Finding.typed("digest", digest, expected)]
    if findings:
        raise BadInputError(findings)
    latest = own.latest
    record = _record(latest.laboratory, latest.content, latest.sha256, NO_LONGER, reason, signature)
    append(session, [record], signature)
    return LaboratoryCertificateOnFile((*own.recorded, record))


def _record(
    laboratory: str, content: bytes, digest: str, kind: str, reason: str, signature: ledger.Signature
) -> LaboratoryCertificate:
    at = signature.time.isoformat()
    return LaboratoryCertificate(
        laboratory=laboratory, sha256=digest, content=content, kind=kind, at=at, reason=reason.strip()
    )


def _wrong(file: FileContent, expected: str) -> Finding:
    return Finding(file.source, None, None, None, expected)


def _expected(content: bytes, certificate: "Certificate | None") -> str | None:
    """What would have been right of a file whose certificate is not one to trust; None where it is."""
    if b"PRIVATE KEY" in content:
        return "a certificate alone: there is a private key in this file, which belongs to the laboratory"
    if certificate is None or content.count(b"-----BEGIN") > 1:
        return "one X.509 certificate (PEM or DER)"
    if has_long_key(certificate):
        return None
    expected = "a certificate of an RSA key of 2048 bits or more, or of an elliptic curve of 256 or more"
    return f"{expected} ({signer_of(certificate)} has another)"
