"""What happens to instruments between calibrations: events, checks, pairs (ISO/IEC 17025:2017, 6.4.10 and 6.4.13 h)."""

from typing import ClassVar

from sqlalchemy import CheckConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_moments, are_not_blank, is_one_of
from calib.records.words import CHECK_KINDS, EVENT_KINDS


class Event(Row, table=True):
    """What happened to an instrument (6.4.13 h)."""

    __tablename__: ClassVar[str] = "event"
    __table_args__ = (
        is_one_of("kind", *EVENT_KINDS),
        *are_moments("at"),
        *are_not_blank("reason"),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = Field(foreign_key="instrument.id", index=True)
    kind: str
    at: str
    reason: str
    value: str | None = None  # what it is now: a location, an interval in months


class IntermediateCheck(Row, table=True):
    """An intermediate check of an instrument (6.4.10)."""

    __tablename__: ClassVar[str] = "intermediate_check"
    __table_args__ = (
        is_one_of("kind", *CHECK_KINDS),
        is_one_of("result", "passed", "failed"),
        *are_moments("at"),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = Field(foreign_key="instrument.id", index=True)
    at: str
    kind: str
    value: str
    low: str  # limits of what passes
    high: str
    unit: str
    result: str
    remarks: str | None = None
    other_instrument_id: int | None = Field(
        default=None, foreign_key="instrument.id"
    )  # compared with, or check standard
    basis: str | None = None  # JSON: what value and limits were worked out from


class Pairing(Row, table=True):
    """A probe and the meter that it is used with, from a time on; ended by a row that says so."""

    __tablename__: ClassVar[str] = "pairing"
    __table_args__ = (
        is_one_of("kind", "paired", "parted"),
        *are_moments("at"),
        *are_not_blank("reason"),
        CheckConstraint("probe_id <> meter_id", name="two_instruments"),
    )
    id: int | None = Field(default=None, primary_key=True)
    probe_id: int = Field(foreign_key="instrument.id", index=True)
    meter_id: int = Field(foreign_key="instrument.id", index=True)
    kind: str
    at: str
    reason: str
