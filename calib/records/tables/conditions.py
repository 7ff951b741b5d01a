"""Conditions of the air."""

from typing import ClassVar

from sqlalchemy import CheckConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_moments, are_not_blank, are_not_negative, is_one_of, unique_key
from calib.records.words import CONDITION_QUANTITIES


class Condition(Row, table=True):
    """One quantity of the air's conditions at a place and time of a job; rows of one name belong together."""

    __tablename__: ClassVar[str] = "condition"
    __table_args__ = (
        unique_key("condition_key", "job_id", "conditions", "quantity", "COALESCE(revision, 1)"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        *are_not_blank("conditions"),
        *are_moments("observed_at"),
        is_one_of("quantity", *CONDITION_QUANTITIES),
        *are_not_negative("standard_uncertainty"),
        CheckConstraint("(instrument_id IS NULL) <> (standard_uncertainty IS NULL)", name="instrument_or_stated"),
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    conditions: str
    observed_at: str
    quantity: str
    value: str
    unit: str
    instrument_id: int | None = Field(default=None, foreign_key="instrument.id")
    standard_uncertainty: str | None = None  # where no instrument of the register was used
    source: str | None = None
    revision: int | None = None  # absent: the first
