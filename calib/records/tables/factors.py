"""Outlet factors: found in the field, and the sources of those that were not."""

from typing import ClassVar

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_above_zero, are_not_blank, are_not_negative, is_one_of, unique_key
from calib.records.words import SCOPES


class Source(Row, table=True):
    """A source of outlet factors: what rests on the same one is in error together. The latest edition counts."""

    __tablename__: ClassVar[str] = "source"
    __table_args__ = (
        unique_key("source_key", "source", "COALESCE(edition, '')"),
        *are_not_blank("source", "document", "basis"),
    )
    id: int | None = Field(default=None, primary_key=True)
    source: str
    document: str
    edition: str | None = None
    basis: str


class SourceSpelling(Row, table=True):
    """Another spelling by which an outlet names a source: one that differs by more than case, space or punctuation."""

    __tablename__: ClassVar[str] = "source_spelling"
    __table_args__ = (*are_not_blank("spelling", "reason"),)
    id: int | None = Field(default=None, primary_key=True)
    spelling: str = Field(unique=True)
    source_id: int = Field(foreign_key="source.id", index=True)
    reason: str


class FoundFactor(Row, table=True):
    """An outlet factor found in the field, from traverses paired with face readings. Of several revisions the latest counts."""

    __tablename__: ClassVar[str] = "found_factor"
    __table_args__ = (
        UniqueConstraint("factor", "revision"),
        *are_not_blank("factor", "reason"),
        is_one_of("scope", *SCOPES),
        *are_above_zero("value", "revision", "effective_area"),
        *are_not_negative("relative_spread", "relative_reference", "relative_instrument"),
        CheckConstraint("(outlet_id IS NULL) <> (outlet_type IS NULL)", name="outlet_or_type"),
        CheckConstraint("(effective_area IS NULL) = (outlet_id IS NULL)", name="effective_area_of_this_outlet"),
    )
    id: int | None = Field(default=None, primary_key=True)
    factor: str
    revision: int
    scope: str
    outlet_id: int | None = Field(default=None, foreign_key="outlet.id")
    outlet_type: str | None = None
    instrument_id: int = Field(foreign_key="instrument.id")  # at the face
    calibration_id: int = Field(foreign_key="calibration.id")
    method_id: int = Field(foreign_key="method.id")
    value: float  # K [1]
    effective_area: float | None = None  # K A [m2], of a factor for this outlet: whatever its dimensions are
    relative_spread: float  # s/sqrt(n)/K of the pairs; 0 with one pair, whose spread is then stated
    degrees_of_freedom: float | None = None  # of the spread; absent: stated
    relative_reference: float  # of the traverses, without what their own spread shows
    relative_instrument: float  # of the face instrument's calibration: cancels with the same calibration
    face_indications: str  # JSON: mean indication of each face reading [SI]
    reason: str


class FactorPair(Row, table=True):
    """A traverse paired with a face reading, and the factor that the pair gives."""

    __tablename__: ClassVar[str] = "factor_pair"
    __table_args__ = (UniqueConstraint("found_factor_id", "traverse_reading_id", "face_reading_id"),)
    id: int | None = Field(default=None, primary_key=True)
    found_factor_id: int = Field(foreign_key="found_factor.id", index=True)
    traverse_reading_id: int = Field(foreign_key="reading.id")
    face_reading_id: int = Field(foreign_key="reading.id")
    value: float
