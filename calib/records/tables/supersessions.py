"""The certificate that another takes the place of."""

from typing import ClassVar

from sqlalchemy import CheckConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_not_blank, is_one_of


class Supersession(Row, table=True):
    """A certificate that its laboratory reissued: the new one takes the place of the old without a gap."""

    __tablename__: ClassVar[str] = "supersession"
    __table_args__ = (
        is_one_of("same_values", "yes", "no"),
        *are_not_blank("reason"),
        CheckConstraint("old_calibration_id <> calibration_id", name="two_certificates"),
    )
    id: int | None = Field(default=None, primary_key=True)
    old_calibration_id: int = Field(foreign_key="calibration.id", unique=True)
    calibration_id: int = Field(foreign_key="calibration.id", index=True)
    reason: str
    same_values: str  # whether comparisons and uncertainties are those of the old one
