"""Signatures on files as they were received, and the certificates that laboratories sign with."""

from typing import ClassVar

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_moments, are_not_blank, is_one_of
from calib.records.words import TRUST, VERDICTS


class SignatureVerdict(Row, table=True):
    """What was found of the signature on a file as received; of several the latest counts."""

    __tablename__: ClassVar[str] = "signature_verdict"
    __table_args__ = (is_one_of("verdict", *VERDICTS),)
    id: int | None = Field(default=None, primary_key=True)
    attachment_id: int = Field(foreign_key="attachment.id", index=True)
    verdict: str
    signer: str | None = None
    laboratory_certificate_id: int | None = Field(default=None, foreign_key="laboratory_certificate.id")


class LaboratoryCertificate(Row, table=True):
    """A certificate by which a laboratory signs, trusted from a time on, or no longer."""

    __tablename__: ClassVar[str] = "laboratory_certificate"
    __table_args__ = (
        UniqueConstraint("sha256", "kind", "at"),
        is_one_of("kind", *TRUST),
        *are_moments("at"),
        *are_not_blank("laboratory", "sha256", "reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    laboratory: str
    sha256: str
    content: bytes
    kind: str
    at: str
    reason: str
