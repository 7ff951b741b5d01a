"""Impact reviews: what was touched by something that shakes results already given (ISO/IEC 17025:2017, 7.10)."""

from typing import ClassVar

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_moments, are_not_blank, is_one_of, unique_key
from calib.records.words import HOLDING_CURVES, REVIEW_CAUSES


class ImpactReview(Row, table=True):
    """What was touched by something that shakes results already given (7.10); open until each line is disposed of."""

    __tablename__: ClassVar[str] = "impact_review"
    __table_args__ = (
        unique_key(
            "impact_review_key",
            "COALESCE(cause, 'as found')",
            "COALESCE(cause_table, 'calibration')",
            "COALESCE(cause_id, calibration_id)",
        ),
        *are_not_blank("criterion"),
        is_one_of("cause", *REVIEW_CAUSES),
        CheckConstraint("(cause_table IS NULL) = (cause_id IS NULL)", name="cause_is_a_record"),
        CheckConstraint("calibration_id IS NOT NULL OR cause_id IS NOT NULL", name="calibration_or_cause"),
    )
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int | None = Field(default=None, foreign_key="calibration.id", index=True)
    criterion: str
    assessment: str  # JSON: the comparisons as found beyond it
    cause: str | None = None  # absent: as found
    cause_table: str | None = None  # the record that opened it; absent: the calibration
    cause_id: int | None = None
    instrument_id: int | None = Field(default=None, foreign_key="instrument.id", index=True)


class ReviewDecision(Row, table=True):
    """Which curve holds for what a review touched, as a person decided; of several the latest counts."""

    __tablename__: ClassVar[str] = "review_decision"
    __table_args__ = (
        is_one_of("curve", *HOLDING_CURVES),
        *are_moments("from_at"),
        *are_not_blank("reason"),
        CheckConstraint("(curve = 'as found from') = (from_at IS NOT NULL)", name="from_a_time_on"),
    )
    id: int | None = Field(default=None, primary_key=True)
    impact_review_id: int = Field(foreign_key="impact_review.id", index=True)
    curve: str
    from_at: str | None = None
    reason: str


class ImpactLine(Row, table=True):
    """One record that rests on the instrument: a reading, a factor found with it, an issued report, a calibration by it."""

    __tablename__: ClassVar[str] = "impact_line"
    __table_args__ = (UniqueConstraint("impact_review_id", "record_table", "record_id"),)
    id: int | None = Field(default=None, primary_key=True)
    impact_review_id: int = Field(foreign_key="impact_review.id", index=True)
    record_table: str
    record_id: int
    finding: str  # JSON: values before and after with their U, shift, shift over U, statements


class Disposition(Row, table=True):
    """What a person decided on one line of an impact review, and why; of several the latest counts."""

    __tablename__: ClassVar[str] = "disposition"
    __table_args__ = (
        is_one_of("decision", "stands", "reissue", "measure again", "withdraw", "immaterial"),
        *are_not_blank("reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    impact_line_id: int = Field(foreign_key="impact_line.id", index=True)
    decision: str
    reason: str
