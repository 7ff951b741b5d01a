"""Readings and refusals, with the traverses and logged values that belong to them."""

from typing import ClassVar

from sqlalchemy import CheckConstraint, Index, UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_above_zero, are_moments, are_not_blank, is_one_of, unique_key
from calib.records.words import STAGES, TRAVERSE_RULES


class Traverse(Row, table=True):
    """Where a duct was traversed."""

    __tablename__: ClassVar[str] = "traverse"
    __table_args__ = (is_one_of("rule", *TRAVERSE_RULES), *are_above_zero("lines", "points"))
    id: int | None = Field(default=None, primary_key=True)
    rule: str
    lines: int
    points: int  # on each line


class TraversePoint(Row, table=True):
    """What was observed at one point of a traverse: one indication for each pass."""

    __tablename__: ClassVar[str] = "traverse_point"
    __table_args__ = (
        UniqueConstraint("traverse_id", "line", "point"),
        *are_above_zero("line", "point"),
        *are_not_blank("indications"),
    )
    id: int | None = Field(default=None, primary_key=True)
    traverse_id: int = Field(foreign_key="traverse.id", index=True)
    line: int
    point: int
    indications: str  # joined by ;


class LoggedSeries(Row, table=True):
    """A file of values that a meter logged, whole."""

    __tablename__: ClassVar[str] = "logged_series"
    __table_args__ = (*are_not_blank("name", "sha256"),)
    id: int | None = Field(default=None, primary_key=True)
    name: str
    content: bytes
    sha256: str


class _Observed(Row):
    """What is typed of a reading, whether it was accepted or refused."""

    outlet_id: int = Field(foreign_key="outlet.id", index=True)
    instrument_id: int = Field(foreign_key="instrument.id", index=True)
    method_id: int = Field(foreign_key="method.id")
    observed_at: str
    indication: str | None = None  # the mean as shown; absent where only the observations were typed
    unit: str
    observations: str | None = None  # repeated values, joined by ;
    operator: str
    remarks: str | None = None
    averaging_s: str | None = None
    logged_series_id: int | None = Field(default=None, foreign_key="logged_series.id")  # values that the meter logged
    probe_id: int | None = Field(default=None, foreign_key="instrument.id")  # between the air and a manometer
    conditions: str | None = None  # name of the conditions of the air in the same job
    throttled_observations: str | None = None  # of a hood with its throttle set, beside the open ones
    traverse_id: int | None = Field(default=None, foreign_key="traverse.id")
    revision: int | None = None  # absent: the first; a later one takes the place of a retracted one
    stage: str | None = None  # absent: not said


def _of_observed(table: str) -> tuple[CheckConstraint | Index, ...]:
    return (
        unique_key(f"{table}_key", "outlet_id", "instrument_id", "observed_at", "COALESCE(revision, 1)"),
        *are_moments("observed_at"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        is_one_of("stage", *STAGES),
    )


class Reading(_Observed, table=True):
    """A reading that the gate let through."""

    __tablename__: ClassVar[str] = "reading"
    __table_args__ = (*_of_observed("reading"), *are_not_blank("operator"))
    id: int | None = Field(default=None, primary_key=True)


class Refusal(_Observed, table=True):
    """A reading that the gate refused: everything typed, and the reasons."""

    __tablename__: ClassVar[str] = "refusal"
    __table_args__ = (*_of_observed("refusal"), *are_not_blank("operator", "reasons"))
    id: int | None = Field(default=None, primary_key=True)
    reasons: str  # JSON list
