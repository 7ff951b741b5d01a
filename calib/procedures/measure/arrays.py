"""Readings that stand as the arrays of the measurement model."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Floats
from calib.curves.curve import Curve
from calib.measurement import Air, FoundFactors, Hoods, Points, Probes, Readings
from calib.measurement.way import ReferenceAir
from calib.procedures.measure.air import calibration_density, reference_density
from calib.procedures.measure.indicated import repeatability_of, resolution_of
from calib.procedures.measure.stability_of_readings import stability_of, stability_of_probe
from calib.procedures.measure.standing import Standing, section_of, throttled_indication
from calib.procedures.on_record.in_force import OnRecord, face_indications
from calib.quantities import unit
from calib.records import tables
from calib.records.record import key
from calib.uncertainty.propagation import welch_satterthwaite


@dataclass(frozen=True)
class _Point:
    """One point of a reading, or a reading that is one point."""

    indication: float
    u: float
    type_a: bool
    dof: float
    weight: float = 1.0
    passage: int = 0


def arrays_of(standing: Sequence[Standing], records: OnRecord) -> Readings:
    """Arrays of readings, at least one of them."""
    calibrations = _calibrations(standing)
    index = {number: place for place, number in enumerate(calibrations)}
    points = [_points(reading) for reading in standing]
    flat = [point for of_reading in points for point in of_reading]
    first = np.cumsum([0, *(len(of_reading) for of_reading in points[:-1])])
    owner = [reading for reading, of_reading in zip(standing, points, strict=True) for _ in of_reading]
    stability = stability_of(owner, [point.indication for point in flat], records)
    openings = {
        key(reading.outlet.id): _opening(reading.outlet, reading.factor)
        for reading in standing
        if not reading.way.is_flow
    }
    opening = [_HOOD if reading.way.is_flow else openings[key(reading.outlet.id)] for reading in standing]
    factors = [_factor(reading) for reading in standing]
    ways = list(dict.fromkeys(reading.way for reading in standing))
    sources = {name: number for number, name in enumerate(dict.fromkeys(_source(reading) for reading in standing))}
    return Readings(
        indication=np.array([point.indication for point in flat]),
        repeatability=np.array([point.u for point in flat]),
        repeatability_type_a=np.array([point.type_a for point in flat]),
        repeatability_dof=np.array([point.dof for point in flat], dtype=float),
        stability_limit=stability.half_width,
        resolution=np.array([resolution_of(reading.instrument) for reading in standing]),
        calibration=np.array([index[reading.calibration.record_id] for reading in standing]),
        outlet=np.array([key(reading.outlet.id) for reading in standing]),
        area=np.array([area.area for area in opening]),
        dimension_relative=np.array([area.relative for area in opening]),
        outlet_factor=np.array([factor.value for factor in factors]),
        outlet_factor_relative=np.array([factor.relative for factor in factors]),
        outlet_factor_source=np.array([sources[_source(reading)] for reading in standing]),
        method_relative=np.array([reading.method.declared_percent / 100 for reading in standing]),
        curves=[records.curve(number) for number in calibrations],
        outlet_factor_dof=np.array([factor.dof for factor in factors]),
        method_dof=np.array([float(reading.method.degrees_of_freedom or "inf") for reading in standing]),
        ways=ways,
        way=np.array([ways.index(reading.way) for reading in standing]),
        points=_points_array(points) if len(flat) > len(standing) else None,
        air=_air(standing, records),
        probes=_probes(standing, index, records),
        hoods=_hoods(standing),
        found_factors=_found_factors(standing, records),
        stability_dof=np.minimum.reduceat(stability.degrees_of_freedom, first),
    )


def _calibrations(standing: Sequence[Standing]) -> list[int]:
    """Calibrations of instruments and probes, each once."""
    own = [reading.calibration.record_id for reading in standing]
    probes = [_probe_calibration(reading) for reading in standing]
    return list(dict.fromkeys([*own, *(probe for probe in probes if probe is not None)]))


def _probe_calibration(reading: Standing) -> int | None:
    decision = reading.probe_decision
    return None if decision is None or decision.calibration is None else decision.calibration.record_id


def _points(reading: Standing) -> list[_Point]:
    if reading.observed.traversed is not None:
        return _of_traverse(reading)
    indication = reading.indication
    first = _Point(indication.mean, indication.u, indication.type_a, indication.dof)
    if reading.way.of_two is not None:
        other = throttled_indication(reading)
        return [first, _Point(other.mean, other.u, other.type_a, other.dof)]
    if reading.way.each_by_itself and len(reading.observed.values) > 1:
        typed = unit(reading.instrument.indicated, reading.reading.unit)
        return [
            _Point(typed.to_si(value), 0.0, True, math.inf, 1.0, number)
            for number, value in enumerate(reading.observed.values)
        ]
    return [first]


def _of_traverse(reading: Standing) -> list[_Point]:
    traversed = reading.observed.traversed
    assert traversed is not None  # noqa: S101 (asked before)
    typed = unit(reading.instrument.indicated, reading.reading.unit)
    places = traversed.places(section_of(reading.outlet))
    # The passes show the repeatability where there are several; the profile's spread over the points never does.
    u, type_a = (0.0, True) if traversed.passes > 1 else (repeatability_of(reading.instrument), False)
    return [
        _Point(typed.to_si(values[passage]), u, type_a, math.inf, place.weight, passage)
        for passage in range(traversed.passes)
        for place, values in zip(places, traversed.indications, strict=True)
    ]


def _points_array(points: Sequence[Sequence[_Point]]) -> Points:
    reading = np.repeat(np.arange(len(points)), [len(of_reading) for of_reading in points])
    passage = np.array([point.passage for of_reading in points for point in of_reading])
    changes = np.r_[True, (reading[1:] != reading[:-1]) | (passage[1:] != passage[:-1])]
    return Points(
        reading, np.cumsum(changes) - 1, np.array([point.weight for of_reading in points for point in of_reading])
    )


@dataclass(frozen=True)
class _Opening:
    area: float  # A or A_e [m2]
    relative: tuple[float, float]  # half-width of the area, relative, that each dimension brings


_HOOD = _Opening(1.0, (0.0, 0.0))


def _opening(outlet: tables.Outlet, factor: tables.FoundFactor | None) -> _Opening:
    if factor is not None and factor.effective_area is not None:
        return _Opening(factor.effective_area, (0.0, 0.0))
    if outlet.effective_area is not None:
        return _Opening(unit("area", str(outlet.effective_area_unit)).to_si(float(outlet.effective_area)), (0.0, 0.0))
    if outlet.shape is None:
        return _HOOD
    section = section_of(outlet)
    limit = unit("length", str(outlet.dimension_unit)).to_si(float(outlet.dimension_limit or 0))
    width, height, area = section.width, section.height, section.area
    if outlet.shape == "round":
        return _Opening(area, (2.0 * limit / width, 0.0))
    if outlet.shape == "flat-oval":
        # A = h (w - h) + pi h^2/4, derived by each
        return _Opening(area, (height * limit / area, abs(width - 2.0 * height + math.pi * height / 2) * limit / area))
    return _Opening(area, (limit / width, limit / height))


@dataclass(frozen=True)
class _Factor:
    value: float
    relative: float  # standard uncertainty over value
    dof: float = math.inf


_NO_FACTOR = _Factor(1.0, 0.0)


def _factor(reading: Standing) -> _Factor:
    outlet = reading.outlet
    if reading.way.is_flow:
        return _NO_FACTOR
    if reading.factor is not None:
        return _of_found(reading.factor, reading.calibration.record_id)
    if outlet.effective_area is not None:
        return _Factor(1.0, float(outlet.effective_area_standard_uncertainty or 0) / float(outlet.effective_area))
    if outlet.outlet_factor is None:
        return _NO_FACTOR
    value = float(outlet.outlet_factor)
    return _Factor(value, float(outlet.outlet_factor_standard_uncertainty or 0) / value)


def _of_found(factor: tables.FoundFactor, calibration: int) -> _Factor:
    """Its instrument's error stays in it unless the reading uses the very same calibration."""
    instrument = 0.0 if factor.calibration_id == calibration else factor.relative_instrument
    u = np.array([factor.relative_spread, factor.relative_reference, instrument])
    dof = np.array([math.inf if factor.degrees_of_freedom is None else factor.degrees_of_freedom, math.inf, math.inf])
    # With an effective area of its own the factor is in that area.
    value = factor.value if factor.effective_area is None else 1.0
    return _Factor(value, float(np.linalg.norm(u)), float(welch_satterthwaite(u, dof)))


def _source(reading: Standing) -> str:
    """Outlets with one source of their factor share its error; what has no factor stands for itself."""
    if reading.way.is_flow or reading.outlet.place == tables.DUCT:
        return f"no factor {reading.outlet.id}"
    if reading.factor is not None:
        return f"found {reading.factor.factor}"
    return f"source {reading.outlet.outlet_factor_source}"


def _air(standing: Sequence[Standing], records: OnRecord) -> Air | None:
    in_air = [reading.way.in_air is not None for reading in standing]
    if not any(in_air):
        return None
    names = {name: number for number, name in enumerate(dict.fromkeys(_conditions(reading) for reading in standing))}
    density = np.ones(len(standing))
    u, reference = np.zeros(len(standing)), np.ones(len(standing))
    for row, reading in enumerate(standing):
        if in_air[row] and reading.air is not None:
            density[row] = reading.air.density
            u[row] = reading.air.standard_uncertainty / reading.air.density
            reference[row] = density_of_reference(reading, records)
    return Air(density, u, np.array([names[_conditions(reading)] for reading in standing]), reference)


def _conditions(reading: Standing) -> str:
    return "" if reading.air is None else reading.air.name


def density_of_reference(reading: Standing, records: OnRecord) -> float:
    """Density of the reference state or of the calibration [kg/m3]; NaN where the certificate does not state it."""
    reference = None if reading.way.in_air is None else reading.way.in_air.reference
    if reference is None:
        return 1.0
    if reference is ReferenceAir.STATE:
        return reference_density(reading.instrument)
    at_calibration = calibration_density(records.calibrations[reading.calibration.record_id])
    return math.nan if at_calibration is None else at_calibration


def _probes(standing: Sequence[Standing], index: dict[int, int], records: OnRecord) -> Probes | None:
    used = [_probe_calibration(reading) for reading in standing]
    if not any(probe is not None for probe in used):
        return None
    stability = [stability_of_probe(records, reading) for reading in standing]
    return Probes(
        np.array([-1 if calibration is None else index[calibration] for calibration in used]),
        np.array([change.relative for change in stability]),
        np.array([change.absolute for change in stability]),
        np.array([change.degrees_of_freedom for change in stability]),
    )


def _hoods(standing: Sequence[Standing]) -> Hoods | None:
    of_two = [reading.way.of_two is not None for reading in standing]
    if not any(of_two):
        return None
    ratios = [
        (
            float(reading.instrument.resistance_ratio or "nan"),
            float(reading.instrument.resistance_ratio_standard_uncertainty or 0),
        )
        if is_of_two
        else (1.0, 0.0)
        for reading, is_of_two in zip(standing, of_two, strict=True)
    ]
    ratio, u = np.array(ratios).T
    return Hoods(ratio, u, np.array([key(reading.instrument.id) for reading in standing]))


def _found_factors(standing: Sequence[Standing], records: OnRecord) -> FoundFactors | None:
    if not any(reading.factor is not None for reading in standing):
        return None
    parts = max(records.curve(reading.calibration.record_id).parts for reading in standing)
    if any(reading.probe is not None for reading in standing):
        parts = max(parts, *(records.curve(number).parts for number in _calibrations(standing)))
    scatter, reference = np.zeros((len(standing), parts)), np.zeros(len(standing))
    for row, reading in enumerate(standing):
        if reading.factor is not None and reading.factor.calibration_id == reading.calibration.record_id:
            own, reference[row] = carried(reading.factor, records.curve(reading.calibration.record_id))
            scatter[row, : own.size] = own
    return FoundFactors(scatter, reference)


def carried(factor: tables.FoundFactor, curve: Curve) -> tuple[Floats, float]:
    """Relative parts of the calibration's scatter, and its relative reference part, that a factor found with it carries."""
    x = np.array(face_indications(factor))
    value = curve.value(x)
    scatter = np.mean(curve.scatter_parts(x) / value[:, np.newaxis], axis=0)
    return scatter, float(np.mean(curve.reference_uncertainty(x) / value))
