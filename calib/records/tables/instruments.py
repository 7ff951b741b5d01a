"""The register: instruments, and each as it was amended (ISO/IEC 17025:2017, 6.4.13 a to c)."""

from typing import ClassVar

from sqlalchemy import CheckConstraint, UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import (
    Row,
    are_above_zero,
    are_moments,
    are_not_blank,
    are_not_negative,
    is_a_decision_rule,
    is_one_of,
)
from calib.records.words import DENSITY_EFFECTS


def _of_instrument() -> tuple[CheckConstraint, ...]:
    return (
        *are_above_zero("resolution", "interval_months"),
        *are_not_negative("mpe_percent", "mpe_absolute", "repeatability", "stability_percent", "stability_absolute"),
        CheckConstraint("CAST(range_low AS REAL) < CAST(range_high AS REAL)", name="range_rises"),
        is_one_of("density_effect", *DENSITY_EFFECTS),
        *are_above_zero("reference_pressure_kPa"),
        CheckConstraint("CAST(resistance_ratio AS REAL) > 1", name="resistance_ratio_above_1"),
        *are_not_negative("resistance_ratio_standard_uncertainty"),
        is_a_decision_rule(),
        is_one_of("judged", "indication", "corrected value"),
    )


class _Tagged(Row):
    id: int | None = Field(default=None, primary_key=True)
    tag: str = Field(unique=True)


class _InstrumentAsTyped(Row):
    """What is typed of an instrument, at first and whenever it is amended."""

    kind: str
    maker: str
    model: str
    serial: str
    quantity: str
    range_low: str
    range_high: str
    unit: str
    resolution: str
    mpe_percent: str | None = None  # of the indication
    mpe_absolute: str | None = None
    interval_months: int
    location: str | None = None
    repeatability: str | None = None  # declared standard deviation of one indication
    stability_percent: str | None = None  # limits of change since calibration, instead of the maximum permissible error
    stability_absolute: str | None = None
    stability_basis: str | None = None
    custodian: str | None = None
    firmware: str | None = None
    check_interval_days: int | None = None  # absent: no intermediate check is required
    indication_quantity: str | None = None  # what it indicates where that is another quantity: a voltage, a pressure
    density_effect: str | None = None  # how its velocity depends on the air's density; absent: it does not
    reference_temperature_degC: str | None = None  # noqa: N815 (reference state of a thermal anemometer)
    reference_pressure_kPa: str | None = None  # noqa: N815
    resistance_ratio: str | None = None  # of a hood: its resistance when throttled over that when open
    resistance_ratio_standard_uncertainty: str | None = None

    criterion: str | None = None  # by which its certificates are accepted; absent: its maximum permissible error
    decision_rule: str | None = None  # of that acceptance
    judged: str | None = None  # what is accepted: the indication, or the corrected value

    @property
    def indicated(self) -> str:
        """Quantity that it indicates: the one it measures, unless another is on record."""
        return self.indication_quantity or self.quantity


class Instrument(_InstrumentAsTyped, _Tagged, table=True):
    """A measuring instrument of the register (6.4.13 a to c)."""

    __tablename__: ClassVar[str] = "instrument"
    __table_args__ = (*are_not_blank("tag"), *_of_instrument())


class InstrumentRevision(_InstrumentAsTyped, table=True):
    """An instrument as it was amended: the whole of it, with the reason. The latest revision counts."""

    __tablename__: ClassVar[str] = "instrument_revision"
    __table_args__ = (
        UniqueConstraint("instrument_id", "revision"),
        CheckConstraint("revision > 1", name="revision_above_1"),
        *are_moments("holds_from"),
        *are_not_blank("reason"),
        *_of_instrument(),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = Field(foreign_key="instrument.id", index=True)
    revision: int  # the instrument as first typed is revision 1
    holds_from: str | None = None  # absent: what was typed before was always wrong
    reason: str
