"""Files as they were received, and what each belongs to."""

from typing import ClassVar

from sqlalchemy import CheckConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_not_blank, is_one_of
from calib.records.words import ATTACHED_TO


class Attachment(Row, table=True):
    """A file as it was received, kept by the digest of its content."""

    __tablename__: ClassVar[str] = "attachment"
    __table_args__ = (
        *are_not_blank("name", "sha256"),
        is_one_of("media_type", "application/pdf", "image/png", "image/jpeg", "application/xml"),
    )
    id: int | None = Field(default=None, primary_key=True)
    name: str
    media_type: str
    sha256: str = Field(unique=True)
    content: bytes


class Attached(Row, table=True):
    """What a file belongs to.

    An instrument, a reading or an outlet (a photograph), a calibration (its certificate), a job (the client's agreement), a
    competence (its evidence).
    """

    __tablename__: ClassVar[str] = "attached"
    __table_args__ = (
        CheckConstraint(
            " + ".join(f"(CASE WHEN {name}_id IS NULL THEN 0 ELSE 1 END)" for name in ATTACHED_TO) + " = 1",
            name="belongs_to_one_record",
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    attachment_id: int = Field(foreign_key="attachment.id", index=True)
    instrument_id: int | None = Field(default=None, foreign_key="instrument.id", index=True)
    calibration_id: int | None = Field(default=None, foreign_key="calibration.id", index=True)
    remarks: str | None = None
    reading_id: int | None = Field(default=None, foreign_key="reading.id", index=True)
    outlet_id: int | None = Field(default=None, foreign_key="outlet.id", index=True)
    job_id: int | None = Field(default=None, foreign_key="job.id", index=True)
    competence_id: int | None = Field(default=None, foreign_key="competence.id", index=True)
