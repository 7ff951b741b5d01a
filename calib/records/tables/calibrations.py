"""Calibrations: what each rests on, its acceptance, its withdrawal (ISO/IEC 17025:2017, 6.4.13 e)."""

from typing import ClassVar

from sqlalchemy import UniqueConstraint
from sqlmodel import Field

from calib.records.tables.row import Row, are_days, are_not_blank, is_one_of


class Calibration(Row, table=True):
    """A calibration as its certificate states it (6.4.13 e)."""

    __tablename__: ClassVar[str] = "calibration"
    __table_args__ = (
        UniqueConstraint("instrument_id", "certificate"),
        UniqueConstraint("laboratory", "certificate"),
        *are_not_blank("certificate", "laboratory"),
        *are_days("calibrated_on", "due_on", "received_on", "issued_on"),
        is_one_of("adjustment", "yes", "no"),
    )
    id: int | None = Field(default=None, primary_key=True)
    instrument_id: int = Field(foreign_key="instrument.id", index=True)
    certificate: str
    laboratory: str
    accreditation: str | None = None
    calibrated_on: str
    due_on: str | None = None
    temperature_degC: str | None = None  # noqa: N815 (the unit is written as it is)
    pressure_kPa: str | None = None  # noqa: N815
    humidity_percent: str | None = None
    received_on: str | None = None
    issued_on: str | None = None
    adjustment: str | None = None  # whether it was adjusted between the comparisons as found and as left
    procedure: str | None = None  # by which the laboratory calibrated
    traceability: str | None = None  # what the certificate says of it


AIR_OF_CALIBRATION = ("temperature_degC", "pressure_kPa", "humidity_percent")  # in which a certificate compared


class ReferenceStandard(Row, table=True):
    """An instrument of the register that served as reference standard of an in-house calibration."""

    __tablename__: ClassVar[str] = "reference_standard"
    __table_args__ = (UniqueConstraint("calibration_id", "instrument_id"),)
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", index=True)
    instrument_id: int = Field(foreign_key="instrument.id")


class Acceptance(Row, table=True):
    """A calibration accepted for use: by whom, when, against which criterion."""

    __tablename__: ClassVar[str] = "acceptance"
    __table_args__ = (*are_days("accepted_on"), *are_not_blank("accepted_by", "reason", "departure_reason"))
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", unique=True)
    accepted_on: str
    accepted_by: str
    criterion: str | None = None
    decision_rule: str | None = None
    assessment: str | None = None  # JSON: each comparison with its error, its limit, its statement
    reason: str | None = None  # why it holds from a day before it was recorded
    departure_reason: str | None = None  # why it departs from the register's criterion
    carried_from_id: int | None = Field(default=None, foreign_key="acceptance.id")  # that of the superseded certificate


class Withdrawal(Row, table=True):
    """A calibration that was recorded wrongly: from then on it counts for nothing, at no time."""

    __tablename__: ClassVar[str] = "withdrawal"
    __table_args__ = (*are_not_blank("reason"),)
    id: int | None = Field(default=None, primary_key=True)
    calibration_id: int = Field(foreign_key="calibration.id", unique=True)
    reason: str
