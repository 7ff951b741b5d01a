"""The air at a place and time of a job: its density with uncertainty, from conditions that were observed or stated."""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

import numpy as np
from sqlmodel import Session

from calib.airflow.air import PARTS, AirState, density, density_with_uncertainty
from calib.confirmation.interval import Decision, gate
from calib.errors import CalibError
from calib.procedures.measure.indicated import indicated
from calib.procedures.measure.stability import stability_at
from calib.procedures.on_record.in_force import OnRecord, on_record_of
from calib.procedures.on_record.jobs_by_name import job_named
from calib.quantities import unit
from calib.records.record import key, moment
from calib.records.tables.calibrations import Calibration
from calib.records.tables.conditions import Condition
from calib.records.tables.instruments import Instrument
from calib.uncertainty.propagation import combine

# Quantity of the conditions -> quantity of the instrument that observes it.
MEASURED_AS = {
    "temperature": "temperature",
    "barometric pressure": "pressure",
    "static pressure": "pressure",
    "relative humidity": "relative humidity",
}
NEEDED = ("temperature", "barometric pressure", "relative humidity")


@dataclass(frozen=True)
class ConditionFound:
    """One quantity of the conditions, corrected, with its standard uncertainty."""

    condition: Condition
    instrument: Instrument | None
    decision: Decision | None  # of the gate, where an instrument was used
    value: float  # [SI]
    standard_uncertainty: float  # [SI]


@dataclass(frozen=True)
class AirFound:
    """Density of the air of one set of conditions, or the reasons why there is none."""

    name: str
    rows: tuple[ConditionFound, ...]
    density: float  # [kg/m3]; NaN where there are reasons
    standard_uncertainty: float  # [kg/m3]
    parts: Mapping[str, float]  # what temperature, pressure, humidity and the formula contribute [kg/m3]
    reasons: tuple[str, ...]


def air_of(records: OnRecord, job: int, name: str, now: datetime) -> AirFound:
    """Density of a set of conditions of a job; every instrument that observed it passes the gate, or there are reasons."""
    asked = (job, name, now)
    if asked not in records.worked_out:
        records.worked_out[asked] = _air_of(records, job, name, now)
    air: AirFound = records.worked_out[asked]
    return air


def _air_of(records: OnRecord, job: int, name: str, now: datetime) -> AirFound:
    rows = records.conditions.get((job, name), ())
    decisions = [_decision(records, row, now) for row in rows]
    reasons = [reason for decision in decisions if decision is not None for reason in decision.reasons]
    missing = [quantity for quantity in NEEDED if quantity not in {row.quantity for row in rows}]
    if missing:
        reasons.append(f"conditions {name}: no {', no '.join(missing)}: enter what is missing in conditions.csv")
    if reasons:
        return AirFound(name, (), math.nan, math.nan, {}, tuple(dict.fromkeys(reasons)))
    corrected = tuple(_found(records, row, decision) for row, decision in zip(rows, decisions, strict=True))
    try:
        return _with_density(name, corrected)
    except CalibError as error:
        return AirFound(name, corrected, math.nan, math.nan, {}, (f"conditions {name}: {error}",))


def _decision(records: OnRecord, condition: Condition, now: datetime) -> Decision | None:
    if condition.instrument_id is None:
        return None
    instrument = records.instruments[condition.instrument_id]
    value = unit(instrument.indicated, condition.unit).to_si(float(condition.value))
    shown = f"{condition.value} {condition.unit}"
    return gate(records.register, instrument.tag, moment(condition.observed_at), now, value, shown)


def _found(records: OnRecord, condition: Condition, decision: Decision | None) -> ConditionFound:
    typed = unit(MEASURED_AS[condition.quantity], condition.unit)
    value = typed.to_si(float(condition.value))
    if condition.instrument_id is None or decision is None or decision.calibration is None:
        u = typed.difference_to_si(float(condition.standard_uncertainty or 0))
        return ConditionFound(condition, None, None, value, u)
    instrument = records.instruments[condition.instrument_id]
    calibration = decision.calibration
    stability = stability_at(records, instrument, calibration, [moment(condition.observed_at).date()], value)
    corrected, contributions = indicated(instrument, records.curve(calibration.record_id), value, stability)
    return ConditionFound(
        condition, instrument, decision, corrected, float(combine(contributions).standard_uncertainty[0])
    )


def _with_density(name: str, conditions: Sequence[ConditionFound]) -> AirFound:
    by_quantity = {condition.condition.quantity: condition for condition in conditions}
    temperature, barometric, humidity = (by_quantity[quantity] for quantity in NEEDED)
    pressures = [
        barometric,
        *(condition for condition in conditions if condition.condition.quantity == "static pressure"),
    ]
    state = AirState(
        *(
            np.array([value])
            for value in (
                temperature.value,
                sum(pressure.value for pressure in pressures),
                humidity.value,
                temperature.standard_uncertainty,
                math.hypot(*(pressure.standard_uncertainty for pressure in pressures)),
                humidity.standard_uncertainty,
            )
        )
    )
    rho, parts = density_with_uncertainty(state)
    contributed = dict(zip(PARTS, np.abs(parts[0]).tolist(), strict=True))
    return AirFound(name, tuple(conditions), float(rho[0]), float(np.linalg.norm(parts[0])), contributed, ())


def reference_density(instrument: Instrument) -> float:
    """Density of dry air at the reference state of a thermal anemometer [kg/m3]."""
    temperature = unit("temperature", "degC").to_si(float(instrument.reference_temperature_degC or "nan"))
    pressure = unit("pressure", "kPa").to_si(float(instrument.reference_pressure_kPa or "nan"))
    return float(density(temperature, pressure, 0.0))


def calibration_density(calibration: Calibration) -> float | None:
    """Density of the air during a calibration [kg/m3]; None where the certificate does not state all conditions."""
    stated = (calibration.temperature_degC, calibration.pressure_kPa, calibration.humidity_percent)
    if any(value is None for value in stated):
        return None
    temperature, pressure, humidity = (float(str(value)) for value in stated)
    return float(
        density(
            unit("temperature", "degC").to_si(temperature), unit("pressure", "kPa").to_si(pressure), humidity / 100.0
        )
    )


def airs_of_job(session: Session, name: str, now: datetime) -> list[AirFound]:
    """Every set of conditions of a job; raises NotInRecordsError."""
    job = key(job_named(session, name).id)
    records = on_record_of(session, jobs=[job])
    return [air_of(records, job, conditions, now) for owner, conditions in records.conditions if owner == job]
