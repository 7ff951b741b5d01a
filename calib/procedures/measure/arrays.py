"""Readings that stand as the arrays of the measurement model."""

import math
from collections.abc import Hashable, Iterator, Sequence
from datetime import date
from itertools import chain
from operator import attrgetter
from typing import NamedTuple

import numpy as np

from calib.arrays import Floats, Integers, by_kind
from calib.confirmation.interval import CalibrationOnRecord
from calib.curves.curve import Curve
from calib.measurement import NOT_OBSERVED, Air, Calibrations, FoundFactors, Hoods, Points, Probes, Readings, TwoFigures
from calib.measurement.readings import StandardBehind
from calib.measurement.way import ReferenceAir
from calib.procedures.measure.air import calibration_density, reference_density
from calib.procedures.measure.air_of_readings import arrays_of_air
from calib.procedures.measure.indicated import repeatability_of, resolution_of
from calib.procedures.measure.pooled_repeatability import pooled_repeatability
from calib.procedures.measure.stability import stability_at
from calib.procedures.measure.stability_of_readings import decided_of, stability_of, stability_of_probe
from calib.procedures.measure.standards_behind import Behind, laboratories_of, standards_of
from calib.procedures.measure.standing import Standing, section_of
from calib.procedures.on_record.in_force import OnRecord, face_indications
from calib.procedures.typed.observations import Observed
from calib.procedures.typed.spelling import spelled_alike
from calib.quantities import unit
from calib.records.record import key
from calib.records.tables.factors import FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet
from calib.records.words import DUCT, OUTLET, SERVICES
from calib.uncertainty.estimate import uncertainty_of_mean
from calib.uncertainty.propagation import welch_satterthwaite


class _Point(NamedTuple):
    """One point of a reading, or a reading that is one point."""

    indication: float
    u: float
    type_a: bool
    dof: float
    weight: float = 1.0
    passage: int = 0
    declared: float = 0.0  # repeatability of one indication, where the passes show that of their mean


def arrays_of(standing: Sequence[Standing], records: OnRecord) -> Readings:
    """Arrays of readings, at least one of them."""
    # What the first reading of a kind tells holds of all of them.
    first, kind = by_kind(standing, lambda reading: (reading.system, reading.way, reading.reading.unit))
    behind = Behind(records)
    calibrations, standards = standards_of(behind, _calibrations(first))
    of_ways, way = by_kind(first, lambda reading: reading.way)
    outlets, outlet = _outlets_as_typed(standing, kind)
    opening = np.array([(*_opening(reading), *_factor(reading)) for reading in outlets])[outlet]
    owner, points = _points_of(standing, first, kind)
    indication, u, type_a, point_dof, weight, passage, declared = points
    u, point_dof = pooled_repeatability(
        standing, np.searchsorted(owner, np.arange(len(standing))), indication, u, point_dof
    )
    stability = stability_of(standing, owner, indication, records)
    return Readings(
        indication=indication,
        repeatability=u,
        repeatability_type_a=type_a.astype(bool),
        repeatability_dof=point_dof,
        stability_limit=stability.half_width,
        resolution=np.array([resolution_of(reading.instrument) for reading in first])[kind],
        calibration=np.array([calibrations.index(reading.calibration.record_id) for reading in first])[kind],
        outlet=np.array([reading.outlet.id for reading in standing]),
        area=opening[:, 0],
        dimension_relative=opening[:, 1:3],
        outlet_factor=opening[:, 3],
        outlet_factor_relative=opening[:, 4],
        outlet_factor_source=_sources(standing, outlets, outlet, records),
        method_relative=np.array([_single_figure(reading.method) for reading in first])[kind],
        curves=[records.curve(calibration) for calibration in calibrations],
        outlet_factor_dof=opening[:, 5],
        method_dof=np.array([float(reading.method.degrees_of_freedom or "inf") for reading in first])[kind],
        method=by_kind(first, lambda reading: reading.method.id)[1][kind],
        two_figures=_two_figures(standing, first, kind),
        calibrations=_shared_calibrations(first, calibrations, standards, behind),
        ways=[reading.way for reading in of_ways],
        way=way[kind] if len(of_ways) > 1 else None,  # the usual job is measured in one way
        points=Points(owner, _passages(owner, passage), weight) if owner.size > len(standing) else None,
        air=_air(first, kind, records),
        probes=_probes(first, kind, calibrations, records),
        hoods=_hoods(first, kind),
        found_factors=_found_factors(standing, calibrations, records),
        stability_dof=np.minimum.reduceat(
            stability.degrees_of_freedom, np.searchsorted(owner, np.arange(len(standing)))
        ),
        declared_repeatability=declared if np.any(declared) else None,
        decided=decided_of(standing, owner, indication, records),
    )


def _calibrations(first: Sequence[Standing]) -> list[int]:
    """Calibrations of instruments and probes, each once."""
    used = [reading.system.calibrations for reading in first]
    return list(dict.fromkeys([*(own for own, *_ in used), *(probe for _, *of_probe in used for probe in of_probe)]))


def _points_of(standing: Sequence[Standing], first: Sequence[Standing], kind: Integers) -> tuple[Integers, Floats]:
    """(P,) number of the reading of each point, and (7, P) the fields of the points; `first` and `kind` as in `arrays_of`."""
    is_mean = np.array([reading.way.of_two is None and not reading.way.each_by_itself for reading in first])[kind]
    observed = [reading.observed for reading in standing]
    alone = is_mean & np.array([each.traversed is None and not each.logged for each in observed])
    others = [_points(standing[row]) for row in np.flatnonzero(~alone).tolist()]
    count = np.ones(alone.size, dtype=np.int64)
    count[~alone] = [len(points) for points in others]
    owner = np.repeat(np.arange(alone.size), count)
    points = np.empty((len(_Point._fields), owner.size))
    points[:, ~alone[owner]] = np.array(list(chain.from_iterable(others))).reshape(-1, len(_Point._fields)).T
    points[:, alone[owner]] = _of_means([observed[row] for row in np.flatnonzero(alone).tolist()], first, kind[alone])
    return owner, points


def _of_means(observed: Sequence[Observed], first: Sequence[Standing], kind: Integers) -> Floats:
    """(7, n) readings that are the mean of independent observations, or a mean that was typed: a point each."""
    units = [reading.unit for reading in first]
    scale, offset = np.array([(each.scale, each.offset) for each in units]).T[:, kind]
    declared = np.array([repeatability_of(reading.instrument) for reading in first])[kind]
    count = np.array([len(each.values) for each in observed])
    scatter = np.array(
        [uncertainty_of_mean(each.values, each.mean) if len(each.values) > 1 else math.nan for each in observed]
    )
    points = np.zeros((len(_Point._fields), count.size))
    points[0] = np.array([each.mean for each in observed]) * scale + offset
    points[1] = np.where(count > 1, scatter * scale, declared)
    points[2] = count > 1
    points[3] = np.where(count > 1, count - 1.0, math.inf)
    points[4] = 1.0
    return points


def _points(reading: Standing) -> list[_Point]:
    if reading.observed.traversed is not None:
        return _of_traverse(reading)
    indication = reading.indication
    first = _Point(*indication[:4])
    if reading.way.of_two is not None:
        other = reading.throttled_indication
        return [first, _Point(*other[:4])]
    if reading.way.each_by_itself and len(reading.observed.values) > 1:
        return [
            _Point(reading.unit.to_si(value), 0.0, True, math.inf, 1.0, place, _declared(reading.instrument))
            for place, value in enumerate(reading.observed.values)
        ]
    return [first]


def _of_traverse(reading: Standing) -> list[_Point]:
    traversed = reading.observed.traversed
    assert traversed is not None  # noqa: S101 (asked before)
    places = traversed.places(section_of(reading.outlet))
    # The passes show the repeatability where there are several; the profile's spread over the points never does.
    of_instrument = _declared(reading.instrument)
    u, type_a = (0.0, True) if traversed.passes > 1 else (repeatability_of(reading.instrument), False)
    return [
        _Point(reading.unit.to_si(values[passage]), u, type_a, math.inf, place.weight, passage, of_instrument)
        for passage in range(traversed.passes)
        for place, values in zip(places, traversed.indications, strict=True)
    ]


def _declared(instrument: Instrument) -> float:
    return float(np.nan_to_num(repeatability_of(instrument)))


def _passages(reading: Integers, passage: Integers) -> Integers:
    """(P,) number of the pass of each point over all readings, from its number in its reading."""
    changes = np.r_[True, (reading[1:] != reading[:-1]) | (passage[1:] != passage[:-1])]
    return np.cumsum(changes) - 1


_OUTLET_AS_TYPED = attrgetter(
    "shape", "width", "height", "diameter", "dimension_unit", "dimension_limit", "effective_area", "effective_area_unit",
    "effective_area_standard_uncertainty", "outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source",
    "found_factor", "place",
)  # fmt: skip


def _outlets_as_typed(standing: Sequence[Standing], kind: Integers) -> tuple[list[Standing], Integers]:
    """Readings by what opening and factor are worked out from, of which few outlets differ, and by what they were taken with."""
    typed = by_kind((reading.outlet for reading in standing), _OUTLET_AS_TYPED)[1]
    _, first, both = np.unique(typed * (kind.max() + 1) + kind, return_index=True, return_inverse=True)
    return [standing[row] for row in first.tolist()], both


_HOOD = (1.0, 0.0, 0.0)


def _opening(reading: Standing) -> tuple[float, float, float]:
    """A or A_e [m2], and the half-width of the area, relative, that each dimension brings [1]."""
    outlet, factor = reading.outlet, reading.factor
    if reading.way.is_flow:
        return _HOOD
    if factor is not None and factor.effective_area is not None:
        return factor.effective_area, 0.0, 0.0
    if outlet.effective_area is not None:
        return unit("area", str(outlet.effective_area_unit)).to_si(float(outlet.effective_area)), 0.0, 0.0
    return _HOOD if outlet.shape is None else _of_section(outlet)


def _of_section(outlet: Outlet) -> tuple[float, float, float]:
    section = section_of(outlet)
    limit = unit("length", str(outlet.dimension_unit)).to_si(float(outlet.dimension_limit or 0))
    width, height, area = section.width, section.height, section.area
    if outlet.shape == "round":
        return area, 2.0 * limit / width, 0.0
    if outlet.shape == "flat-oval":
        # A = h (w - h) + pi h^2/4, derived by each
        return area, height * limit / area, abs(width - 2.0 * height + math.pi * height / 2) * limit / area
    return area, limit / width, limit / height


_NO_FACTOR = (1.0, 0.0, math.inf)


def _factor(reading: Standing) -> tuple[float, float, float]:
    """Factor, its relative standard uncertainty, and the degrees of freedom of that."""
    outlet = reading.outlet
    if reading.way.is_flow:
        return _NO_FACTOR
    if reading.factor is not None:
        return _of_found(reading.factor, reading.calibration)
    if outlet.effective_area is not None:
        return 1.0, float(outlet.effective_area_standard_uncertainty or 0) / float(outlet.effective_area), math.inf
    if outlet.outlet_factor is None:
        return _NO_FACTOR
    value = float(outlet.outlet_factor)
    return value, float(outlet.outlet_factor_standard_uncertainty or 0) / value, math.inf


def _of_found(factor: FoundFactor, calibration: CalibrationOnRecord) -> tuple[float, float, float]:
    """Its instrument's error stays in it unless the reading uses the very same calibration."""
    instrument = 0.0 if found_by(factor, calibration) else factor.relative_instrument
    u = np.array([factor.relative_spread, factor.relative_reference, instrument])
    dof = np.array([math.inf if factor.degrees_of_freedom is None else factor.degrees_of_freedom, math.inf, math.inf])
    # With an effective area of its own the factor is in that area.
    value = factor.value if factor.effective_area is None else 1.0
    return value, float(np.linalg.norm(u)), float(welch_satterthwaite(u, dof))


def found_by(factor: FoundFactor, calibration: CalibrationOnRecord) -> bool:
    """Whether a factor was found with the very curve that holds for a calibration, as far as that is known."""
    return calibration.is_that_of(factor.calibration_id) and not calibration.is_held_for_a_part


def _sources(
    standing: Sequence[Standing], outlets: Sequence[Standing], outlet: Integers, records: OnRecord
) -> Integers:
    """Outlets with one source of their factor share its error, however they spell it; what has no factor stands for itself."""
    sources = [_source(reading, records) for reading in outlets]
    of_readings = zip(standing, map(sources.__getitem__, outlet.tolist()), strict=True)
    return by_kind(of_readings, lambda each: each[1] or each[0].outlet.id)[1]


def _source(reading: Standing, records: OnRecord) -> tuple[str, str] | None:
    if reading.way.is_flow or reading.outlet.place == DUCT:
        return None
    if reading.factor is not None:
        return "found", reading.factor.factor
    return "source", records.sources.source_of(str(reading.outlet.outlet_factor_source))


def _single_figure(method: Method) -> float:
    return float(method.relative_standard_uncertainty_percent or 0) / 100


def _two_figures(standing: Sequence[Standing], first: Sequence[Standing], kind: Integers) -> TwoFigures | None:
    if all(reading.method.common_standard_uncertainty_percent is None for reading in first):
        return None
    declared = np.array([_both_figures(reading.method) for reading in first])[kind]
    common, common_dof, own, own_dof = declared.T
    return TwoFigures(common, common_dof, own, own_dof, by_kind(standing, kind_of_opening)[1])


def _both_figures(method: Method) -> tuple[float, float, float, float]:
    return (
        float(method.common_standard_uncertainty_percent or 0) / 100,
        float(method.common_degrees_of_freedom or "inf"),
        float(method.own_standard_uncertainty_percent or 0) / 100,
        float(method.own_degrees_of_freedom or "inf"),
    )


def kind_of_opening(reading: Standing) -> Hashable:
    """What the common figure of a method holds for: the method, the kind of opening, and whether air leaves it or enters it."""
    outlet = reading.outlet
    is_supply = outlet.service == SERVICES[0]
    return reading.method.id, outlet.place or OUTLET, spelled_alike(outlet.outlet_type or ""), is_supply


def _shared_calibrations(
    first: Sequence[Standing], calibrations: Sequence[int], standards: list[list[StandardBehind]], behind: Behind
) -> Calibrations:
    used: dict[int, tuple[Instrument, CalibrationOnRecord, date]] = {**behind.used}
    used |= {calibration: each for reading in first for calibration, each in _instruments_used(reading)}
    return Calibrations(
        laboratories_of(behind.records, behind, calibrations),
        [_stability_at_comparisons(behind.records, *used[calibration]) for calibration in calibrations],
        standards,
        calibrations,
    )


def _instruments_used(reading: Standing) -> Iterator[tuple[int, tuple[Instrument, CalibrationOnRecord, date]]]:
    """Calibrations of instrument and probe by their keys."""
    day = reading.at.date()
    yield reading.calibration.record_id, (reading.instrument, reading.calibration, day)
    if reading.probe is not None and reading.system.probe_calibration is not None:
        own = reading.system.probe_calibration
        yield own.record_id, (reading.probe, own, day)


def _stability_at_comparisons(
    records: OnRecord, instrument: Instrument, calibration: CalibrationOnRecord, day: date
) -> Floats:
    x = records.curve(calibration.record_id).reference_indications
    return stability_at(records, instrument, calibration, [day] * x.size, x).half_width


def _air(first: Sequence[Standing], kind: Integers, records: OnRecord) -> Air | None:
    if all(reading.way.in_air is None for reading in first):
        return None
    density, u, reference, not_observed = np.array([_densities(reading, records) for reading in first]).T
    conditions = by_kind(first, _air_named)[1]
    airs = [None if reading.way.in_air is None else reading.air for reading in first]
    return Air(
        density[kind],
        u[kind],
        conditions[kind],
        reference[kind],
        not_observed[kind] if np.any(not_observed) else None,
        arrays_of_air([airs[place] for place in kind.tolist()]),
    )


def _air_named(reading: Standing) -> tuple[str, str]:
    """The conditions; with a declared temperature the service too, whose air it is."""
    if reading.air is None:
        return "", ""
    return reading.air.name, "" if reading.air.declared is None else reading.air.declared.service


def _densities(reading: Standing, records: OnRecord) -> tuple[float, float, float, float]:
    """Density of the air, its relative standard uncertainty, the density of the reference, and what a declared temperature adds.

    1, 0, 1, 0 where none counts.
    """
    air = reading.air
    if reading.way.in_air is None or air is None:
        return 1.0, 0.0, 1.0, 0.0
    observed, declared = air.observed_uncertainty / air.density, air.parts.get(NOT_OBSERVED, 0.0) / air.density
    return air.density, observed, density_of_reference(reading, records), declared


def density_of_reference(reading: Standing, records: OnRecord) -> float:
    """Density of the reference state or of the calibration [kg/m3]; NaN where the certificate does not state it."""
    reference = None if reading.way.in_air is None else reading.way.in_air.reference
    if reference is None:
        return 1.0
    if reference is ReferenceAir.STATE:
        return reference_density(reading.instrument)
    at_calibration = calibration_density(records.calibrations[reading.calibration.record_id])
    return math.nan if at_calibration is None else at_calibration


def _probes(first: Sequence[Standing], kind: Integers, calibrations: Sequence[int], records: OnRecord) -> Probes | None:
    used = [reading.system.probe_calibration for reading in first]
    if all(calibration is None for calibration in used):
        return None
    stability = [stability_of_probe(records, reading) for reading in first]
    return Probes(
        np.array([-1 if each is None else calibrations.index(each.record_id) for each in used])[kind],
        np.array([change.relative for change in stability])[kind],
        np.array([change.absolute for change in stability])[kind],
        np.array([change.degrees_of_freedom for change in stability])[kind],
    )


def _hoods(first: Sequence[Standing], kind: Integers) -> Hoods | None:
    if all(reading.way.of_two is None for reading in first):
        return None
    ratio, u = np.array([_resistance_ratio(reading) for reading in first]).T
    return Hoods(ratio[kind], u[kind], np.array([key(reading.instrument.id) for reading in first])[kind])


def _resistance_ratio(reading: Standing) -> tuple[float, float]:
    if reading.way.of_two is None:
        return 1.0, 0.0
    instrument = reading.instrument
    return float(instrument.resistance_ratio or "nan"), float(instrument.resistance_ratio_standard_uncertainty or 0)


def _found_factors(standing: Sequence[Standing], calibrations: Sequence[int], records: OnRecord) -> FoundFactors | None:
    if all(reading.factor is None for reading in standing):
        return None
    parts = max(records.curve(calibration).parts for calibration in calibrations)

    first, kind = by_kind(standing, _found_with)
    scatter, reference = np.zeros((len(first), parts)), np.zeros(len(first))
    for row, reading in enumerate(first):
        if reading.factor is not None and found_by(reading.factor, reading.calibration):
            own, reference[row] = carried(reading.factor, records.curve(reading.calibration.record_id))
            scatter[row, : own.size] = own
    return FoundFactors(scatter[kind], reference[kind])


def _found_with(reading: Standing) -> tuple[str, int] | None:
    """The found factor of a reading, and the calibration that it uses it with."""
    return None if reading.factor is None else (reading.factor.factor, reading.calibration.record_id)


def carried(factor: FoundFactor, curve: Curve) -> tuple[Floats, float]:
    """Relative parts of the calibration's scatter, and its relative reference part, that a factor found with it carries."""
    x = np.array(face_indications(factor))
    value = curve.value(x)
    scatter = np.mean(curve.scatter_parts(x) / value[:, np.newaxis], axis=0)
    return scatter, float(np.mean(curve.reference_uncertainty(x) / value))
