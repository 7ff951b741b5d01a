"""The air at a place and time of a job: its density with uncertainty, from conditions that were observed, stated or declared.

A set of conditions states the pressure by a barometer or by the altitude (ISO 2533), the humidity itself or by the wet bulb. Where
it states no temperature, that is the range declared for the service (air.csv), with any humidity: then the set tells the pressure.

Decision (2026-11-29). What moves a density is kept by its influences (`AirInfluence`), so that flows are correlated through
pressure, temperature and humidity, and not through "density" as one figure. Options: one relative uncertainty for each set, shared
wholly within and not at all between sets (a barometer that reads high would widen a net flow, from which it cancels). Cost: some
columns for each reading whose air is known.
"""

import math
from collections import defaultdict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from sqlmodel import Session

from calib.airflow.air import FORMULA_RELATIVE_UNCERTAINTY, density, density_sensitivities
from calib.airflow.psychrometer import (
    COEFFICIENT_RELATIVE_UNCERTAINTY,
    relative_humidity,
    relative_humidity_sensitivities,
)
from calib.airflow.standard_atmosphere import (
    WEATHER_RELATIVE_UNCERTAINTY,
    standard_pressure,
    standard_pressure_sensitivity,
)
from calib.confirmation.interval import Decision, gate
from calib.errors import CalibError, Step
from calib.measurement import NOT_OBSERVED
from calib.measurement.standards_behind import REFERENCE_STANDARD, SCATTER, STABILITY
from calib.procedures.measure.indicated import indicated
from calib.procedures.measure.stability import stability_at
from calib.procedures.on_record.in_force import OnRecord, on_record_of
from calib.procedures.on_record.jobs_by_name import job_named
from calib.quantities import unit
from calib.records.record import key, moment
from calib.records.tables.calibrations import Calibration
from calib.records.tables.conditions import Condition
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import DeclaredAir
from calib.records.words import MEASURED_AS
from calib.uncertainty.estimate import rectangular

TEMPERATURE, BAROMETRIC, STATIC = "temperature", "barometric pressure", "static pressure"
HUMIDITY, WET_BULB, ALTITUDE = "relative humidity", "wet-bulb temperature", "altitude"
# What a set states, each in one of its ways.
PRESSURES, HUMIDITIES = (BAROMETRIC, ALTITUDE), (HUMIDITY, WET_BULB)
# What the uncertainty of a density is made of in any case.
_PARTS = ("temperature", "pressure", "humidity", "formula")
PSYCHROMETER = "psychrometer coefficient"
FORMULA = "formula"

_OWN = ("repeatability", "resolution")  # of an instrument: of one indication, and no other


@dataclass(frozen=True)
class OfCalibration:
    """What every indication with a calibration shares, at one of them: signed standard uncertainties."""

    calibration: int
    indication: float  # [SI]
    scatter: tuple[float, ...]  # in the directions of the curve
    reference: float
    stability: float
    degrees_of_freedom: tuple[float, float, float]  # of the three

    def times(self, slope: float) -> "OfCalibration":
        """The same, of what goes with the indicated quantity at a slope."""
        scatter = tuple(slope * part for part in self.scatter)
        return replace(self, scatter=scatter, reference=slope * self.reference, stability=slope * self.stability)

    @property
    def parts(self) -> tuple[float, ...]:
        """All of them."""
        return *self.scatter, self.reference, self.stability


@dataclass(frozen=True)
class ConditionFound:
    """One quantity of the conditions, corrected, with its standard uncertainty."""

    condition: Condition
    instrument: Instrument | None
    decision: Decision | None  # of the gate, where an instrument was used
    value: float  # [SI]
    standard_uncertainty: float  # [SI]
    own: float = 0.0  # of it what no other indication of the instrument shares; all of a stated value [SI]
    of_calibration: OfCalibration | None = None  # [SI]


@dataclass(frozen=True)
class AirInfluence:
    """What one influence does to the logarithm of the density: signed relative standard uncertainties [1]."""

    quantity: str  # of the conditions, NOT_OBSERVED, PSYCHROMETER or FORMULA
    own: float
    observed: OfCalibration | None = None  # absent: stated, declared or of a formula


@dataclass(frozen=True)
class AirFound:
    """Density of the air of one set of conditions, or the reasons why there is none."""

    name: str
    rows: tuple[ConditionFound, ...]
    density: float  # [kg/m3]; NaN where there are reasons
    standard_uncertainty: float  # [kg/m3]
    parts: Mapping[str, float]  # what each quantity, and the formula, contribute: `parts_of_density` [kg/m3]
    reasons: tuple[str, ...]
    declared: DeclaredAir | None = None  # where the temperature was not observed
    influences: tuple[AirInfluence, ...] = ()

    @property
    def observed_uncertainty(self) -> float:
        """Standard uncertainty without what a declared range of temperature contributes [kg/m3]."""
        return math.hypot(*(u for name, u in self.parts.items() if name != NOT_OBSERVED))


def air_of(records: OnRecord, job: int, name: str, now: datetime, service: str = "") -> AirFound:
    """Density of a set of conditions of a job; every instrument that observed it passes the gate, or there are reasons.

    Of a set without a temperature, that of a service's air.
    """
    asked = (job, name, now, service if without_temperature(records, job, name) else "")
    if asked not in records.worked_out:
        records.worked_out[asked] = _air_of(records, job, name, now, service)
    air: AirFound = records.worked_out[asked]
    return air


def without_temperature(records: OnRecord, job: int, name: str | None) -> bool:
    """Whether a set of conditions states no temperature, so that its density is that of one service's air."""
    rows = () if name is None else records.conditions.get((job, name), ())
    return bool(rows) and all(row.quantity != TEMPERATURE for row in rows)


def missing_quantities(quantities: set[str]) -> list[str]:
    """What a set of conditions lacks: a pressure; a temperature beside a humidity, and a humidity beside a temperature."""
    lacks = [] if quantities & {*PRESSURES} else [" or ".join(PRESSURES)]
    humid = bool(quantities & {*HUMIDITIES})
    if humid and TEMPERATURE not in quantities:
        lacks.insert(0, TEMPERATURE)
    if not humid and TEMPERATURE in quantities:
        lacks.append(" or ".join(HUMIDITIES))
    return lacks


def _air_of(records: OnRecord, job: int, name: str, now: datetime, service: str) -> AirFound:
    rows = records.conditions.get((job, name), ())
    decisions = [_decision(records, row, now) for row in rows]
    reasons = [reason for decision in decisions if decision is not None for reason in decision.reasons]
    declared = records.declared_air.get((job, service)) if without_temperature(records, job, name) else None
    missing = missing_quantities({row.quantity for row in rows})
    if missing:
        reasons.append(f"conditions {name}: no {', no '.join(missing)}: {Step.ADD_CONDITIONS}")
    elif declared is None and without_temperature(records, job, name):
        reasons.append(
            f"conditions {name}: no temperature, and none is declared for {service or 'any'} air: observe it, or declare its range "
            "in air.csv"
        )
    if reasons:
        return AirFound(name, (), math.nan, math.nan, {}, tuple(dict.fromkeys(reasons)))
    corrected = tuple(_found(records, row, decision) for row, decision in zip(rows, decisions, strict=True))
    try:
        return _with_density(name, corrected, declared)
    except CalibError as error:
        return AirFound(name, corrected, math.nan, math.nan, {}, (f"conditions {name}: {error}",))


def _decision(records: OnRecord, condition: Condition, now: datetime) -> Decision | None:
    if condition.instrument_id is None:
        return None
    instrument = records.instrument_at(condition.instrument_id, moment(condition.observed_at))
    value = unit(instrument.indicated, condition.unit).to_si(float(condition.value))
    shown = f"{condition.value} {condition.unit}"
    return gate(records.register, instrument.tag, moment(condition.observed_at), now, value, shown)


def _found(records: OnRecord, condition: Condition, decision: Decision | None) -> ConditionFound:
    typed = unit(MEASURED_AS[condition.quantity], condition.unit)
    value = typed.to_si(float(condition.value))
    if condition.instrument_id is None or decision is None or decision.calibration is None:
        u = typed.difference_to_si(float(condition.standard_uncertainty or 0))
        return ConditionFound(condition, None, None, value, u, u)
    instrument = records.instrument_at(condition.instrument_id, moment(condition.observed_at))
    calibration = decision.calibration
    stability = stability_at(records, instrument, calibration, [moment(condition.observed_at).date()], value)
    corrected, contributions = indicated(instrument, records.curve(calibration.record_id), value, stability)
    lines = {each.name: each for each in contributions}
    own = float(np.linalg.norm([lines[name].parts[0, 0] for name in _OWN]))
    shared = [lines[name] for name in (SCATTER, REFERENCE_STANDARD, STABILITY)]
    scatter, reference, change = (each.parts[0].tolist() for each in shared)
    of_scatter, of_reference, of_change = (float(each.degrees_of_freedom[0]) for each in shared)
    dof = of_scatter, of_reference, of_change
    of = OfCalibration(calibration.record_id, value, tuple(scatter), reference[0], change[0], dof)
    u = math.hypot(own, *of.parts)
    return ConditionFound(condition, instrument, decision, corrected, u, own, of)


def _with_density(name: str, conditions: Sequence[ConditionFound], declared: DeclaredAir | None) -> AirFound:
    by_quantity = {condition.condition.quantity: condition for condition in conditions}
    state = _StateOfAir(by_quantity, declared)
    rho = float(density(state.temperature, state.pressure, state.humidity))
    influences = tuple(_influences(state, rho))
    contributed = parts_of_density(influences, rho)
    u = float(np.linalg.norm(list(contributed.values())))
    return AirFound(name, tuple(conditions), rho, u, contributed, (), declared, influences)


class _StateOfAir:
    """Temperature, pressure and humidity as a set of conditions tells them, and the slopes of a humidity told by the wet bulb."""

    def __init__(self, by_quantity: Mapping[str, ConditionFound], declared: DeclaredAir | None) -> None:
        self.by_quantity = by_quantity
        self.declared = declared
        self.temperature, self.half_width = _declared_range(declared)
        if TEMPERATURE in by_quantity:
            self.temperature = by_quantity[TEMPERATURE].value
        stated = by_quantity.get(STATIC)
        self.pressure = self._atmospheric() + (0.0 if stated is None else stated.value)
        # Of air of which nothing more is known: anything from dry to saturated.
        self.humidity = 0.5
        self.humidity_by = (0.0, 0.0, 0.0, 0.0)  # temperature, wet bulb, pressure, logarithm of the coefficient
        if HUMIDITY in by_quantity:
            self.humidity = by_quantity[HUMIDITY].value
        elif WET_BULB in by_quantity:
            bulbs = self.temperature, by_quantity[WET_BULB].value, self.pressure
            self.humidity = float(relative_humidity(*bulbs))
            by_temperature, by_wet_bulb, by_pressure, by_coefficient = map(
                float, relative_humidity_sensitivities(*bulbs)
            )
            self.humidity_by = by_temperature, by_wet_bulb, by_pressure, by_coefficient

    def _atmospheric(self) -> float:
        if BAROMETRIC in self.by_quantity:
            return self.by_quantity[BAROMETRIC].value
        return float(standard_pressure(self.by_quantity[ALTITUDE].value))


def _declared_range(declared: DeclaredAir | None) -> tuple[float, float]:
    """Middle and half-width of the temperature [K]."""
    if declared is None:
        return math.nan, 0.0
    in_celsius = unit("temperature", "degC")
    low, high = (
        in_celsius.to_si(float(typed)) for typed in (declared.temperature_low_degC, declared.temperature_high_degC)
    )
    return (low + high) / 2.0, (high - low) / 2.0


def _influences(state: _StateOfAir, rho: float) -> Iterator[AirInfluence]:
    """The influences on ln rho, each by the chain rule (GUM 5.1.3)."""
    slopes = density_sensitivities(state.temperature, state.pressure, state.humidity)
    of_temperature, of_pressure, of_humidity = (float(slope) / rho for slope in slopes)
    by_temperature, by_wet_bulb, by_pressure, by_coefficient = state.humidity_by
    temperature = of_temperature + of_humidity * by_temperature
    pressure = of_pressure + of_humidity * by_pressure
    slope = {
        TEMPERATURE: temperature,
        BAROMETRIC: pressure,
        STATIC: pressure,
        HUMIDITY: of_humidity,
        WET_BULB: of_humidity * by_wet_bulb,
    }
    for quantity, condition in state.by_quantity.items():
        if quantity == ALTITUDE:
            of_altitude = float(standard_pressure_sensitivity(condition.value)) * condition.standard_uncertainty
            weather = WEATHER_RELATIVE_UNCERTAINTY * float(standard_pressure(condition.value))
            yield AirInfluence(ALTITUDE, pressure * math.hypot(of_altitude, weather))
            continue
        of = condition.of_calibration
        yield AirInfluence(quantity, slope[quantity] * condition.own, None if of is None else of.times(slope[quantity]))
    if state.declared is not None:
        yield AirInfluence(NOT_OBSERVED, temperature * rectangular(state.half_width))
    if not set(HUMIDITIES) & state.by_quantity.keys():
        yield AirInfluence(HUMIDITY, of_humidity * rectangular(0.5))
    if WET_BULB in state.by_quantity:
        yield AirInfluence(PSYCHROMETER, of_humidity * by_coefficient * COEFFICIENT_RELATIVE_UNCERTAINTY)
    yield AirInfluence(FORMULA, FORMULA_RELATIVE_UNCERTAINTY)


_PART_OF = {
    TEMPERATURE: "temperature", BAROMETRIC: "pressure", STATIC: "pressure", ALTITUDE: "pressure", HUMIDITY: "humidity",
    WET_BULB: "humidity", PSYCHROMETER: "humidity", NOT_OBSERVED: NOT_OBSERVED, FORMULA: "formula",
}  # fmt: skip


def parts_of_density(influences: Sequence[AirInfluence], rho: float, without: int | None = None) -> dict[str, float]:
    """What each quantity contributes to the density [kg/m3]; without what a calibration shares, if one is named.

    One instrument has one error in all that it observed: what temperature and humidity share by it is a part of both together.
    """
    squares = dict.fromkeys(_PARTS, 0.0)
    shared: dict[int, list[AirInfluence]] = defaultdict(list)
    for influence in influences:
        of = _PART_OF[influence.quantity]
        squares[of] = squares.get(of, 0.0) + influence.own**2
        if influence.observed is not None and influence.observed.calibration != without:
            shared[influence.observed.calibration].append(influence)
    for observed in shared.values():
        of = " and ".join(dict.fromkeys(_PART_OF[influence.quantity] for influence in observed))
        squares[of] = squares.get(of, 0.0) + sum(part**2 for part in _together(observed))
    return {name: rho * math.sqrt(square) for name, square in squares.items()}


def _together(observed: Sequence[AirInfluence]) -> list[float]:
    """The parts of what was observed by one calibration, each of all quantities."""
    every = (influence.observed.parts for influence in observed if influence.observed is not None)
    return [math.fsum(parts) for parts in zip(*every, strict=True)]


def air_by_declaration(records: OnRecord, job: int, service: str, at: datetime, now: datetime) -> AirFound:
    """The air of a service of which no conditions are named: declared, at the pressure of the conditions nearest in time.

    A barometer, and the altitude, are common to a job.
    """
    if (job, service) not in records.declared_air:
        return _unknown(
            f"no conditions of the air are named, and no temperature is declared for {service} air in air.csv"
        )
    near = min(
        (
            row
            for (owner, _), rows in records.conditions.items()
            for row in rows
            if owner == job and row.quantity in PRESSURES
        ),
        key=lambda row: (abs(moment(row.observed_at) - at), row.id),
        default=None,
    )
    if near is None:
        return _unknown("no record of conditions of the job states a barometric pressure or an altitude")
    asked = (job, near.conditions, now, service, "pressure alone")
    if asked not in records.worked_out:
        records.worked_out[asked] = _of_pressure(records, near, records.declared_air[job, service], now)
    air: AirFound = records.worked_out[asked]
    return air


def _unknown(reason: str) -> AirFound:
    return AirFound("", (), math.nan, math.nan, {}, (reason,))


def _of_pressure(records: OnRecord, pressure: Condition, declared: DeclaredAir, now: datetime) -> AirFound:
    decision = _decision(records, pressure, now)
    if decision is not None and decision.reasons:
        return AirFound(pressure.conditions, (), math.nan, math.nan, {}, decision.reasons)
    try:
        return _with_density(pressure.conditions, (_found(records, pressure, decision),), declared)
    except CalibError as error:
        return _unknown(f"{declared.service} air: {error}")


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
    """Every set of conditions of a job, and each declared air with those that state no temperature; raises NotInRecordsError."""
    job = key(job_named(session, name).id)
    records = on_record_of(session, jobs=[job])
    return [
        air_of(records, job, conditions, now, service)
        for owner, conditions in records.conditions
        if owner == job
        for service in _services(records, job, conditions)
    ]


def _services(records: OnRecord, job: int, conditions: str) -> list[str]:
    if not without_temperature(records, job, conditions):
        return [""]
    return [service for owner, service in records.declared_air if owner == job] or [""]
