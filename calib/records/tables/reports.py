"""Reports as they were issued, and the validation of the program that wrote them (ISO/IEC 17025:2017, 7.8 and 7.11)."""

from typing import ClassVar

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_above_zero, are_moments, are_not_blank, is_one_of


class IssuedReport(Row, table=True):
    """One issue of a job's report; a later revision says why."""

    __tablename__: ClassVar[str] = "issued_report"
    __table_args__ = (
        UniqueConstraint("job_id", "revision"),
        *are_moments("issued_at"),
        *are_above_zero("revision"),
        *are_not_blank("ledger_digest"),
        CheckConstraint("revision = 1 OR length(reason) > 0", name="a_later_revision_says_why"),
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    revision: int
    issued_at: str
    reason: str | None = None  # absent: the first revision
    ledger_digest: str  # the ledger's head when it was written
    gaps_reason: str | None = None  # why it was issued although outlets were not measured
    validation_id: int | None = Field(default=None, foreign_key="validation.id")  # of the program that wrote it
    signed_by: str | None = None
    signature: str | None = None  # JSON: what the signature says of itself


class IssuedForm(Row, table=True):
    """A form of an issued report: its exact bytes."""

    __tablename__: ClassVar[str] = "issued_form"
    __table_args__ = (
        UniqueConstraint("issued_report_id", "form"),
        *are_not_blank("form", "name", "sha256"),
        is_one_of("encoding", "zlib", "derived"),
        CheckConstraint("content IS NOT NULL OR COALESCE(encoding, '') = 'derived'", name="content_unless_derived"),
    )
    id: int | None = Field(default=None, primary_key=True)
    issued_report_id: int = Field(foreign_key="issued_report.id", index=True)
    form: str
    name: str
    sha256: str = Field(index=True)  # of the form itself, however it is kept
    content: bytes | None = None  # as calib.records.issued_forms keeps it
    encoding: str | None = None  # absent: the form as it is


class SoftwareValidation(Row, table=True):
    """The published checks as the program passed them on a machine (7.11)."""

    __tablename__: ClassVar[str] = "validation"
    __table_args__ = (
        *are_moments("at"),
        is_one_of("result", "passed", "failed"),
        *are_above_zero("checks"),
        *are_not_blank("version", "platform", "sha256"),
    )
    id: int | None = Field(default=None, primary_key=True)
    at: str
    version: str
    platform: str
    result: str
    checks: int
    content: bytes  # what each check gave
    sha256: str
