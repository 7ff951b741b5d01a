"""What a certificate states: comparisons, and their correlation."""

from typing import ClassVar

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_above_zero, are_not_negative, is_one_of
from calib.records.words import PHASES


class Comparison(Row, table=True):
    """One reference value beside one indication."""

    __tablename__: ClassVar[str] = "comparison"
    __table_args__ = (
        is_one_of("phase", *PHASES),
        *are_above_zero("expanded_uncertainty", "coverage_factor", "observations"),
        *are_not_negative("repeatability"),
        CheckConstraint(
            "CAST(coverage_probability_percent AS REAL) > 50 AND CAST(coverage_probability_percent AS REAL) < 100",
            name="coverage_probability_percent_is_one",
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", index=True)
    phase: str
    reference: str
    indication: str
    unit: str  # of the reference value and its uncertainty
    indication_unit: str | None = None  # absent: the same unit
    expanded_uncertainty: str
    coverage_factor: str
    repeatability: str | None = None
    observations: str | None = None
    standard_indication: str | None = (
        None  # in house: of the reference standard, as typed; `reference` is its corrected value
    )
    basis: str | None = None  # JSON, in house: what the reference value and its uncertainty were worked out from
    coverage_probability_percent: str | None = None  # that the expanded uncertainty is stated for


class ComparisonCorrelation(Row, table=True):
    """Correlation of the reference values at two points of a certificate, as the certificate states it."""

    __tablename__: ClassVar[str] = "comparison_correlation"
    __table_args__ = (
        UniqueConstraint("calibration_id", "phase", "point", "other_point"),
        is_one_of("phase", *PHASES),
        CheckConstraint("point > 0 AND other_point > point", name="points_in_order"),
        CheckConstraint(
            "CAST(correlation AS REAL) >= -1 AND CAST(correlation AS REAL) <= 1", name="correlation_from_minus_1_to_1"
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", index=True)
    phase: str
    point: int  # number of the comparison within its phase, from 1
    other_point: int
    correlation: str
