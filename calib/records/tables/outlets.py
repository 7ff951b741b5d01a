"""Outlets and measuring sections of ducts, and each as it was amended."""

from typing import ClassVar

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import (
    FLOW_LIMITS,
    TOLERANCES,
    Limits,
    Row,
    are_above_zero,
    are_not_blank,
    are_not_negative,
    is_one_of,
    one_style_of_tolerance,
)
from calib.records.words import PLACES, SERVICES, SHAPES


def _of_outlet() -> tuple[CheckConstraint, ...]:
    return (
        *are_not_blank("system"),
        is_one_of("service", *SERVICES),
        is_one_of("shape", *SHAPES),
        is_one_of("place", *PLACES),
        is_one_of("in_totals", "yes", "no"),
        *are_above_zero(
            "width",
            "height",
            "diameter",
            "outlet_factor",
            "effective_area",
            "design_flow",
            "design_density_kg_per_m3",
            "tolerance_percent",
            *FLOW_LIMITS,
        ),
        one_style_of_tolerance(),
        *are_not_negative(
            "dimension_limit",
            "outlet_factor_standard_uncertainty",
            "effective_area_standard_uncertainty",
            *TOLERANCES,
        ),
        CheckConstraint(
            "(outlet_factor IS NULL OR effective_area IS NULL) AND (outlet_factor IS NULL OR found_factor IS NULL) "
            "AND (effective_area IS NULL OR found_factor IS NULL)",
            name="one_factor_at_most",
        ),
        CheckConstraint(
            "place IS NULL OR place <> 'duct' "
            "OR (outlet_factor IS NULL AND effective_area IS NULL AND found_factor IS NULL)",
            name="duct_without_factor",
        ),
    )


class _OutletAsTyped(Row):
    """What is typed of an outlet or of a duct's measuring section, at first and whenever it is amended."""

    system: str
    service: str
    place: str | None = None  # absent: an outlet
    in_totals: str | None = None  # absent: outlets are, ducts where their system has no outlet of that service
    room: str | None = None
    outlet_type: str | None = None
    shape: str | None = None
    width: str | None = None
    height: str | None = None
    diameter: str | None = None
    dimension_unit: str | None = None
    dimension_limit: str | None = None
    outlet_factor: str | None = None
    outlet_factor_standard_uncertainty: str | None = None
    outlet_factor_source: str | None = None
    outlet_factor_reason: str | None = None  # why a factor above 1.2 is right
    effective_area: str | None = None
    effective_area_unit: str | None = None
    effective_area_standard_uncertainty: str | None = None
    found_factor: str | None = None  # name of a factor found in the field
    design_flow: str | None = None
    flow_unit: str | None = None
    tolerance_percent: str | None = None
    design_density_kg_per_m3: str | None = None  # of the air that the design flow is one of; absent: as measured


class Outlet(Limits, _OutletAsTyped, table=True):
    """An outlet of a job, or the measuring section of a duct: its opening, its factor, its design flow."""

    __tablename__: ClassVar[str] = "outlet"
    __table_args__ = (UniqueConstraint("job_id", "outlet"), *are_not_blank("outlet"), *_of_outlet())
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    outlet: str


class OutletRevision(Limits, _OutletAsTyped, table=True):
    """An outlet as it was amended: the whole of it, with the reason. The latest revision counts."""

    __tablename__: ClassVar[str] = "outlet_revision"
    __table_args__ = (
        UniqueConstraint("outlet_id", "revision"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        *are_not_blank("reason"),
        *_of_outlet(),
    )
    id: int | None = Field(default=None, primary_key=True)
    outlet_id: int = Field(foreign_key="outlet.id", index=True)
    revision: int  # the outlet as first typed is revision 1
    reason: str
