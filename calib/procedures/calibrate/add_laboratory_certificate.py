"""Trust the certificate that a laboratory signs with, or no longer: an act of QA, with its reason."""

from sqlmodel import Session

from calib.errors import BadInputError, Finding, NotInRecordsError
from calib.procedures.dcc.check_signature import as_der, has_long_key, sha256_of, signer_of, x509_of
from calib.procedures.on_record.laboratory_certificates import (
    NO_LONGER,
    TRUSTED,
    LaboratoryCertificateOnFile,
    laboratory_certificates,
)
from calib.procedures.people.authorise import append, authorise
from calib.procedures.typed.reason import without_reason
from calib.procedures.typed.sheets import FileContent
from calib.records import ledger
from calib.records.tables.signatures import LaboratoryCertificate

_SHORTEST_PREFIX = 8  # characters of a digest that a person may type instead of the whole


def add_laboratory_certificate(
    session: Session, laboratory: str, file: FileContent, reason: str, signature: ledger.Signature
) -> tuple[LaboratoryCertificateOnFile, str | None]:
    """Trust a certificate from now on, and what there is to say of it; raises BadInputError with every finding."""
    authorise(session, signature, "trust")
    name = " ".join(laboratory.split())
    findings = [] if name else [Finding.typed("laboratory", laboratory, "the laboratory, as its certificates name it")]
    findings += [*without_reason(reason, "how it is known that it is theirs, in a few words"), *_of_file(file)]
    if findings:
        raise BadInputError(findings)
    certificate = x509_of(file.content)
    if certificate is None:
        raise BadInputError([_wrong(file, _CERTIFICATE)])
    digest = sha256_of(certificate)
    there = next((each for each in laboratory_certificates(session) if each.latest.sha256 == digest), None)
    if there is not None and there.is_trusted and there.latest.laboratory == name:
        raise BadInputError([_wrong(file, f"another certificate: that of {name} is trusted since {there.latest.at}")])
    record = _record(name, as_der(certificate), digest, TRUSTED, reason, signature)
    append(session, [record], signature)
    ended = certificate.not_valid_after_utc
    said = f"notice: it was valid until {ended.date()}: signatures made later are not verified by it"
    on_file = next(each for each in laboratory_certificates(session) if each.latest.sha256 == digest)
    return on_file, said if ended < signature.time else None


def distrust_laboratory_certificate(
    session: Session, digest: str, reason: str, signature: ledger.Signature
) -> LaboratoryCertificateOnFile:
    """Trust a certificate no longer: what is signed with it is not verified from now on, and verdicts before stay as they are.

    `digest` is its SHA-256, or the beginning of it where that is enough. Raises NotInRecordsError, BadInputError.
    """
    authorise(session, signature, "trust")
    wanted = digest.strip().lower()
    own = [each for each in laboratory_certificates(session) if each.latest.sha256.startswith(wanted)]
    if len(wanted) < _SHORTEST_PREFIX or len(own) != 1:
        told = "no laboratory certificate" if not own else f"{len(own)} laboratory certificates"
        raise NotInRecordsError(
            f"{told} with a SHA-256 that begins with {digest!r}: type at least {_SHORTEST_PREFIX} characters of one"
        )
    findings = without_reason(reason, "why, in a few words")
    if not own[0].is_trusted:
        expected = f"one that is trusted; this one is not, since {own[0].latest.at}"
        findings = [*findings, Finding.typed("digest", digest, expected)]
    if findings:
        raise BadInputError(findings)
    latest = own[0].latest
    record = _record(latest.laboratory, latest.content, latest.sha256, NO_LONGER, reason, signature)
    append(session, [record], signature)
    return LaboratoryCertificateOnFile((*own[0].recorded, record))


def _record(
    laboratory: str, content: bytes, digest: str, kind: str, reason: str, signature: ledger.Signature
) -> LaboratoryCertificate:
    at = signature.time.isoformat()
    return LaboratoryCertificate(
        laboratory=laboratory, sha256=digest, content=content, kind=kind, at=at, reason=reason.strip()
    )


_CERTIFICATE = "one X.509 certificate (PEM or DER)"


def _wrong(file: FileContent, expected: str) -> Finding:
    return Finding(file.source, None, None, None, expected)


def _of_file(file: FileContent) -> list[Finding]:
    if file.expected is not None:
        return [_wrong(file, file.expected)]
    if b"PRIVATE KEY" in file.content:
        return [
            _wrong(file, "a certificate alone: there is a private key in this file, which belongs to the laboratory")
        ]
    certificate = x509_of(file.content)
    if certificate is None or file.content.count(b"-----BEGIN") > 1:
        return [_wrong(file, _CERTIFICATE)]
    if has_long_key(certificate):
        return []
    expected = "a certificate of an RSA key of 2048 bits or more, or of an elliptic curve of 256 or more"
    return [_wrong(file, f"{expected} ({signer_of(certificate)} has another)")]
