"""Correction curves of calibrations."""

from typing import ClassVar

from sqlmodel import Field

from calib.records.tables.row import Row, are_above_zero, are_not_blank, is_one_of
from calib.records.words import CURVE_SHAPES, PHASES


class StoredCurve(Row, table=True):
    """The correction curve of a calibration; of several the latest counts, the earlier ones stay."""

    __tablename__: ClassVar[str] = "correction_curve"
    __table_args__ = (
        is_one_of("shape", *CURVE_SHAPES),
        is_one_of("phase", *PHASES),
        *are_not_blank("chosen_by", "reason"),
        *are_above_zero("rule_edition"),
    )
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", index=True)
    shape: str
    degree: int | None = None  # of a polynomial
    phase: str  # whose comparisons it was made from
    low: float  # measuring interval, indication in SI
    high: float
    measuring_interval: str  # the same in the certificate's own digits and unit
    parameters: str  # JSON: coefficients, covariance and the reference part, in SI
    chosen_by: str  # "rule", or the person
    reason: str
    rule_edition: int | None = None  # of the rule that made it; absent: the first
