"""Files that a verdict calls verified: their signature fits the certificate that the verdict names, and that was trusted.

Nothing of XML is imported where no verdict says so.
"""

from collections.abc import Iterator

from sqlmodel import Session, col, select

from calib.records.record import key
from calib.records.tables.files import Attachment
from calib.records.tables.signatures import LaboratoryCertificate, SignatureVerdict
from calib.records.verification import LedgerFinding
from calib.records.words import TRUSTED, VERIFIED


def verdict_findings(session: Session) -> Iterator[LedgerFinding]:
    """Verdicts that the file and the certificate on record do not bear out."""
    asked = (
        select(SignatureVerdict.id, Attachment.content, LaboratoryCertificate)
        .select_from(SignatureVerdict)
        .join(Attachment, col(SignatureVerdict.attachment_id) == Attachment.id)
        .outerjoin(LaboratoryCertificate, col(SignatureVerdict.laboratory_certificate_id) == LaboratoryCertificate.id)
        .where(SignatureVerdict.verdict == VERIFIED)
        .order_by(col(SignatureVerdict.id))
    )
    for record_id, content, certificate in session.exec(asked.execution_options(yield_per=1)):
        if certificate is None or certificate.kind != TRUSTED or not _fits(content, certificate):
            told = "says verified, and the signature on its file does not fit a certificate that it names as trusted"
            yield LedgerFinding(f"signature_verdict {record_id}", told)


def _fits(content: bytes, certificate: LaboratoryCertificate) -> bool:
    from calib.procedures.dcc.check_signature import TrustedCertificate, read_signature  # noqa: PLC0415
    from calib.procedures.dcc.document import read_document  # noqa: PLC0415

    root, _ = read_document("", content)
    if root is None:
        return False
    own = TrustedCertificate(key(certificate.id), certificate.laboratory, certificate.content, trusted=True)
    read, wrong = read_signature("", content, root, [own])
    return not wrong and read.verdict == VERIFIED
