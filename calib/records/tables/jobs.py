"""Jobs with what holds for the whole of one: its design, its rooms, the air declared for it."""

from typing import ClassVar

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import (
    FLOW_LIMITS,
    TOLERANCES,
    Limits,
    Row,
    are_above_zero,
    are_days,
    are_not_blank,
    are_not_negative,
    is_a_decision_rule,
    is_one_of,
    one_style_of_tolerance,
    unique_key,
)
from calib.records.words import SERVICES


def _of_job() -> tuple[CheckConstraint, ...]:
    return (is_a_decision_rule(), *are_above_zero("density_kg_per_m3"), *are_days("agreed_on"))


class _JobNamed(Row):
    id: int | None = Field(default=None, primary_key=True)
    job: str = Field(unique=True)


class _JobAsTyped(Row):
    """What is typed of a job, at first and whenever it is amended."""

    title: str | None = None
    site: str | None = None
    client: str | None = None
    decision_rule: str
    density_kg_per_m3: str | None = None  # at which its volume flows are compared; absent: each at its own state
    agreed_by: str | None = None  # who agreed to the decision rule for the client
    agreed_on: str | None = None
    flow_unit: str | None = None  # in which its flows are reported


class Job(_JobAsTyped, _JobNamed, table=True):
    """A job on a site, with the decision rule agreed for it."""

    __tablename__: ClassVar[str] = "job"
    __table_args__ = (*are_not_blank("job"), *_of_job())


class JobRevision(_JobAsTyped, table=True):
    """A job as it was amended: the whole of it, with the reason. The latest revision counts."""

    __tablename__: ClassVar[str] = "job_revision"
    __table_args__ = (
        UniqueConstraint("job_id", "revision"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        *are_not_blank("reason"),
        *_of_job(),
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    revision: int  # the job as first typed is revision 1
    reason: str


class DeclaredAir(Row, table=True):
    """Range of temperature of a service's air where none was observed. Of several of one service the latest counts."""

    __tablename__: ClassVar[str] = "declared_air"
    __table_args__ = (
        is_one_of("service", *SERVICES),
        *are_not_blank("basis"),
        CheckConstraint(
            "CAST(temperature_low_degC AS REAL) < CAST(temperature_high_degC AS REAL)", name="temperature_rises"
        ),
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    service: str
    temperature_low_degC: str  # noqa: N815 (the unit is written as it is)
    temperature_high_degC: str  # noqa: N815
    basis: str


class _DesignOfSystem(Row):
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    system: str
    service: str
    design_flow: str
    flow_unit: str
    tolerance_percent: str | None = None
    design_density_kg_per_m3: str | None = None  # of the air that the design flow is one of; absent: as measured
    revision: int | None = None  # absent: the first


class SystemDesign(Limits, _DesignOfSystem, table=True):
    """What a system's total of one service, or its net flow, was designed to be."""

    __tablename__: ClassVar[str] = "system_design"
    __table_args__ = (
        unique_key("system_design_key", "job_id", "system", "service", "COALESCE(revision, 1)"),
        *are_not_blank("system"),
        is_one_of("service", *SERVICES),
        *are_above_zero("design_flow", "design_density_kg_per_m3", "tolerance_percent", *FLOW_LIMITS),
        *are_not_negative(*TOLERANCES),
        one_style_of_tolerance(),
        CheckConstraint("revision > 1", name="revision_above_1"),
    )


class Room(Row, table=True):
    """A room whose supply and extract the design relates: more supply (positive) or less (negative)."""

    __tablename__: ClassVar[str] = "room"
    __table_args__ = (
        unique_key("room_key", "job_id", "room", "COALESCE(revision, 1)"),
        *are_not_blank("room"),
        is_one_of("pressure", "positive", "negative"),
        CheckConstraint("revision > 1", name="revision_above_1"),
    )
    id: int | None = Field(default=None, primary_key=True)
    job_id: int = Field(foreign_key="job.id", index=True)
    room: str
    pressure: str
    revision: int | None = None  # absent: the first
