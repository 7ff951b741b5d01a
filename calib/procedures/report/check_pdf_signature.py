"""What the signatures within a PDF are worth: whether each holds, whose certificate it names, over which bytes, of which time.

A signature holds where the bytes that it covers are those that were signed, with the key of the certificate within it (ISO 32000-1,
12.8; ETSI EN 319 142-1). Whether its certificate is to be trusted is asked of the records, which keep the one that an issue was
signed with; nothing is fetched, and no list of authorities is asked.
"""

import logging
from dataclasses import dataclass
from datetime import datetime
from io import BytesIO
from typing import TYPE_CHECKING

from calib.procedures.dcc.check_signature import x509_of
from calib.procedures.report.signing_key import common_name_of, issuer_of

if TYPE_CHECKING:
    from pyhanko.sign.validation import EmbeddedPdfSignature

_MARKED = b"/ByteRange"  # stands beside each signature, never within a compressed part
_CHANGED = "bytes that it covers were changed after they were signed"


@dataclass(frozen=True)
class PdfSignature:
    """What was found of one signature."""

    fault: str | None  # why it does not hold; absent: it holds
    name: str | None = None  # common name in the certificate; absent where it cannot be read
    issuer: str | None = None
    sha256: str | None = None  # of the certificate
    covered: int | None = None  # bytes from the beginning of the file, the signature itself among them
    at: datetime | None = None  # as the signer says
    stamped_at: datetime | None = None  # absent: no time stamp
    stamped_by: str | None = None

    @property
    def holds(self) -> bool:
        """Whether what it covers is as it was signed."""
        return self.fault is None


def pdf_signatures(content: bytes) -> tuple[PdfSignature, ...]:
    """The signatures of a file, the first one first; none where the file is no PDF, or is not signed."""
    if not content.startswith(b"%PDF-") or _MARKED not in content:
        return ()
    from pyhanko.pdf_utils.reader import PdfFileReader  # noqa: PLC0415 (for signatures alone)

    logging.getLogger("pyhanko").addHandler(logging.NullHandler())  # what it finds is told here
    try:
        embedded = list(PdfFileReader(BytesIO(content)).embedded_regular_signatures)
        if embedded:
            return tuple(_read(content, each) for each in embedded)
    except Exception as error:  # noqa: BLE001 (whatever a library trips over in a file that somebody changed)
        return (PdfSignature(f"the file cannot be read any more ({error})"),)
    return (PdfSignature("no field of the file leads to it any more"),)


def _read(content: bytes, embedded: "EmbeddedPdfSignature") -> PdfSignature:
    from pyhanko.sign.validation import validate_pdf_signature  # noqa: PLC0415
    from pyhanko_certvalidator import ValidationContext  # noqa: PLC0415

    certificate = x509_of(embedded.signer_cert.dump())
    if certificate is None:
        return PdfSignature("its certificate cannot be read")
    # Each certificate stands for itself: only whether the signature fits is asked here.
    own, nobody = (ValidationContext(trust_roots=roots, allow_fetching=False) for roots in ([embedded.signer_cert], []))
    status = validate_pdf_signature(embedded, own, nobody, skip_diff=True)
    covered, at, stamp = _covered(content, embedded), embedded.self_reported_timestamp, status.timestamp_validity
    if not (status.intact and status.valid):
        fault = _CHANGED
    elif covered is None:
        fault = "it leaves bytes out before its end"
    elif stamp is not None and not (stamp.intact and stamp.valid):
        fault = "its time stamp is of another signature"
    elif at is None or not certificate.not_valid_before_utc <= at <= certificate.not_valid_after_utc:
        fault = "its certificate was not valid at the time it states"
    else:
        fault = None
    return PdfSignature(
        fault,
        common_name_of(certificate.subject) or certificate.subject.rfc4514_string(),
        issuer_of(certificate),
        embedded.signer_cert.sha256.hex(),
        covered,
        at,
        None if stamp is None else stamp.timestamp,
        None if stamp is None else stamp.signing_cert.subject.human_friendly,
    )


def _covered(content: bytes, embedded: "EmbeddedPdfSignature") -> int | None:
    """Bytes from the beginning that are signed but for the signature itself; None where more is left out (ISO 32000-1, 12.8.1)."""
    if len(embedded.byte_range) != 4:
        return None
    begin, before, after, rest = embedded.byte_range
    left_out = content[before:after]
    is_hex = left_out[:1] == b"<" and left_out[-1:] == b">" and len(left_out) == 2 * len(embedded.pkcs7_content) + 2
    return after + rest if begin == 0 and is_hex and after + rest <= len(content) else None
