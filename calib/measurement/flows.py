"""From the points of the readings to their flows, and what each influence contributes.

Decision (2026-11). numpy works out the arrays: 0.47 µs a reading, 299 times faster than `uncertainties`. Options: numba (0.68:
64 MB to download, 208 MB installed, 0.2 s to import, 0.7 s to compile a small kernel in each process, or a cache to be kept);
Cython, or C by cffi (a wheel for each platform and Python, else a compiler wherever it is installed). Cost: a compiled pass
took 0.026 µs. What it would save is some 2 % of an evaluation, 4 ms of 10,000 readings; importing and compiling it pays from
two million readings on.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np

from calib.airflow.outlet import volume_flow
from calib.arrays import Floats, Integers, Truths
from calib.measurement.at_comparisons import Neighbours, at_comparisons, neighbours
from calib.measurement.at_points import AtPoints, at_points, indication_scale
from calib.measurement.influences_of_air import DENSITY, InfluencesOfAir, influences_of_air, not_observed
from calib.measurement.readings import Air, Hoods, Points, Probes, Readings
from calib.measurement.standards_behind import (
    REFERENCE_STANDARD,
    SCATTER,
    STABILITY,
    OfReadings,
    ReferenceShared,
    reference_of,
)
from calib.uncertainty.estimate import rectangular, resolution
from calib.uncertainty.propagation import Contribution, UnlikeSeries, welch_satterthwaite
from calib.uncertainty.second_order import Product
from calib.uncertainty.sharing import Share, common, independent, not_known, not_known_of_a_change

METHOD = frozenset({"method", "method common", "method own"})  # names of what a method contributes

DECIDED = "decided in review"  # what a review widened a value by
PLANT_DRIFT = "plant drift"


@dataclass(frozen=True)
class Flows:
    """Flows of n readings and their influences."""

    velocity: Floats  # (n,) corrected mean velocity [m/s]; for a hood its flow [m3/s]
    velocity_contributions: tuple[Contribution, ...]  # [the same]
    flow: Floats  # (n,) [m3/s]
    contributions: tuple[Contribution, ...]  # [m3/s]
    point_velocity: Floats  # (P,) of each point [m/s]
    by_density: Floats | None = None  # (n,) dq/d ln rho of the air [m3/s]; None: 0
    low: "LowPoints | None" = None  # None: no way in use goes down to zero
    bend: Floats | None = None  # (n,) of the value as it goes with a power of the corrected indication; None: 0

    @cached_property
    def product(self) -> Product:
        """The flows as products: what adds within the measured value, and every other line a factor of its own."""
        factor = [-1 if each.name in _WITHIN_THE_VALUE else row for row, each in enumerate(self.contributions)]
        bend = np.zeros(self.flow.size) if self.bend is None else self.bend
        return Product(np.unique([-1, *factor], return_inverse=True)[1][1:], bend)


# Lines whose errors add within the measured value, before it is multiplied by anything.
_WITHIN_THE_VALUE = frozenset(
    {"repeatability", "resolution", SCATTER, REFERENCE_STANDARD, STABILITY, DECIDED, "back pressure"}
)


@dataclass(frozen=True)
class LowPoints:
    """What there is to know of P points by ways that go down to zero; of others that nothing is low."""

    below: Truths  # (P,) below the lowest comparison of the instrument, or of its probe
    corrected: Floats  # (P,) corrected indication
    uncertainty: Floats  # (P,) its standard uncertainty; 0 by other ways
    velocity_uncertainty: Floats  # (P,) what that makes of the velocity [m/s]

    def first(self, points: int) -> "LowPoints":
        """Those of the first points."""
        return LowPoints(*(each[:points] for each in vars(self).values()))


@dataclass(frozen=True)
class _Means:
    """How the points of the readings make their values: value = f(points), with df/d(point)."""

    value: Floats  # (n,)
    weight: Floats  # (P,) sensitivity of the value to each point
    reading: Integers | None  # (P,) None: each reading is its one point
    back_pressure: Floats  # (n,) sensitivity to the resistance ratio

    def of(self, points: Floats) -> Floats:
        """What an error with one sign at all points does to the readings: (P,) or (P, m) to (n,) or (n, m)."""
        if self.reading is None:
            return points
        size = self.value.size
        if points.ndim == 1:
            return _summed(self.reading, self.weight * points, size)
        return np.column_stack([_summed(self.reading, self.weight * column, size) for column in points.T])

    def borne(self, points: Floats) -> Floats:
        """What an error at each point by itself does to its reading: (P,) to (P,)."""
        return np.asarray(self.weight * points)


def _summed(group: Integers, values: Floats, size: int) -> Floats:
    """(size,) sums of the values of each group."""
    return np.bincount(group, values, size).astype(np.float64, copy=False)


def flows(readings: Readings) -> Flows:
    """Flows of all readings with the contribution of each influence; raises MeasuringIntervalError outside a curve's interval."""
    points = at_points(readings)
    means = _means(readings, points.value)
    each = np.arange(readings.size)
    told = None if readings.air is None else readings.air.influences
    air = None if told is None else influences_of_air(told, readings)
    of_value = _value_contributions(readings, points, means, each, air)
    opening = readings.area * readings.outlet_factor
    flow = volume_flow(means.value, readings.area, readings.outlet_factor)
    scaled = tuple(
        replace(contribution, parts=contribution.parts * opening[:, np.newaxis]) for contribution in of_value
    )
    scaled = _without_what_the_factor_carries(scaled, readings, flow)
    by_density = means.of(points.density)
    if air is not None:
        of_value, scaled = air.borne(of_value, by_density), air.borne(scaled, by_density * opening)
    low = LowPoints(points.below, points.corrected, points.corrected_uncertainty, points.value_uncertainty)
    return Flows(
        means.value,
        of_value,
        flow,
        (*scaled, *_flow_contributions(readings, flow)),
        points.value,
        by_density * opening,
        low if any(way.goes_to_zero for way in readings.ways) else None,
        _bend(readings, points),
    )


def flow_values(readings: Readings) -> Floats:
    """(n,) flows alone [m3/s], as `flows` has them, without what contributes; raises MeasuringIntervalError likewise."""
    means = _means(readings, at_points(readings).value)
    return volume_flow(means.value, readings.area, readings.outlet_factor)


def _bend(readings: Readings, points: AtPoints) -> Floats:
    """(n,) (m - 1)/m of values that go with the power m of the corrected indication, which each way tells by its slope at 1.

    NaN near zero, where the value is the mean over what the indication may be: the bend is in it already.
    """
    bend = np.zeros(readings.size)
    for way, mine in readings.rows_by_way():
        if way.in_air is not None:
            unity = np.ones(1)
            power = (way.in_air.slope(unity, unity, unity) / way.in_air.value(unity, unity, unity)).item()
            bend[mine] = (power - 1.0) / power
    near = np.flatnonzero(points.near_zero)
    bend[near if readings.points is None else readings.points.reading[near]] = np.nan
    return bend


def _means(readings: Readings, value: Floats) -> _Means:
    points = readings.points
    if points is None:
        return _Means(value, np.ones_like(value), None, np.zeros_like(value))
    passes = _passes(points, readings.size)
    weight = points.weight / passes[points.reading]
    mean = _summed(points.reading, weight * value, readings.size)
    plain = _Means(mean, weight, points.reading, np.zeros_like(mean))
    return plain if readings.hoods is None else _of_two(plain, readings, points, value, readings.hoods)


def _passes(points: Points, size: int) -> Integers:
    """(n,) number of passes of each reading."""
    first = np.r_[True, points.passage[1:] != points.passage[:-1]]
    return np.bincount(points.reading[first], minlength=size)


def _of_two(means: _Means, readings: Readings, points: Points, value: Floats, hoods: Hoods) -> _Means:
    """Readings whose value is made of two indications and the resistance ratio."""
    flow, weight, back_pressure = (each.copy() for each in (means.value, means.weight, means.back_pressure))
    for way, mine in readings.rows_by_way():
        if way.of_two is not None:
            rows = np.arange(readings.size)[mine]
            starts = np.searchsorted(points.reading, rows)
            two = value[starts], value[starts + 1], hoods.resistance_ratio[rows]
            flow[rows] = way.of_two.value(*two)
            weight[starts], weight[starts + 1], back_pressure[rows] = way.of_two.sensitivities(*two)
    return _Means(flow, weight, points.reading, back_pressure)


def _value_contributions(
    readings: Readings, points: AtPoints, means: _Means, each: Integers, air: InfluencesOfAir | None
) -> tuple[Contribution, ...]:
    by_calibration, along = readings.calibration, _along_calibrations(readings)
    laboratory = _laboratories(readings)[by_calibration]
    reference = _reference(readings, means, points.reference, along, laboratory)
    contributions = [
        _repeatability(readings, points, means, each),
        replace(
            _type_b("resolution", _resolution(readings, points, means), each), is_rectangular=readings.points is None
        ),
        # Statistics of the certificate's comparisons: Type A, though not of this reading's observations.
        Contribution(
            SCATTER,
            np.ones(readings.size, dtype=bool),
            means.of(points.scatter),
            by_calibration,
            _first(readings, points.scatter_dof),
            (Share(by_calibration, common, pool=SCATTER),),
        ),
        replace(
            _type_b(
                REFERENCE_STANDARD,
                reference.parts,
                by_calibration,
                _reference_degrees_of_freedom(readings)[by_calibration],
            ),
            shares=reference.shares,
        ),
        replace(
            _stability(readings, rectangular(1.0) * means.of(points.stability)),
            shares=(_of_stability(readings, means, points.stability, along),),
            is_rectangular=True,
        ),
    ]
    if readings.decided is not None:
        contributions.append(_decided(readings, rectangular(1.0) * means.of(points.decided)))
    if readings.air is not None:
        contributions.extend(_of_air(readings.air, air, means.of(points.density)))
    if readings.probes is not None:
        contributions.append(_probe(readings.probes, points, readings, means))
    if readings.hoods is not None:
        u = readings.hoods.resistance_ratio_uncertainty * means.back_pressure
        contributions.append(_type_b("back pressure", u, readings.hoods.hood))
    return tuple(contributions)


def _of_air(air: Air, influences: InfluencesOfAir | None, slope: Floats) -> Iterator[Contribution]:
    """The lines of the air, at the sensitivity (n,) of the value to ln rho."""
    if influences is None:
        yield _type_b(DENSITY, air.relative_uncertainty * slope, air.conditions)
        if air.not_observed is not None:
            yield not_observed(air.not_observed * slope)
        return
    density, declared = influences.lines(slope)
    yield density
    if air.not_observed is not None:
        yield declared


def _along_calibrations(readings: Readings) -> Neighbours:
    x = readings.indication * indication_scale(readings)[readings.of_points]
    return _beside(readings, readings.calibration, x)


def _beside(readings: Readings, calibration: Integers, x: Floats) -> Neighbours:
    nodes = [curve.reference_indications for curve in readings.curves]
    return neighbours(nodes, calibration[readings.of_points], x)


def _reference(
    readings: Readings, means: _Means, points: Floats, along: Neighbours, laboratory: Integers, first: int = 0
) -> ReferenceShared:
    return reference_of(
        readings, OfReadings(along, means.of(points), means.borne(points), means.reading), laboratory, first
    )


def _reference_degrees_of_freedom(readings: Readings) -> Floats:
    return np.array([curve.reference_degrees_of_freedom for curve in readings.curves])


def _laboratories(readings: Readings) -> Integers:
    return np.arange(len(readings.curves)) if readings.calibrations is None else readings.calibrations.laboratory


def _decided(readings: Readings, u: Floats) -> Contribution:
    """A change found later that nobody corrects for: how far readings with one calibration share it is not known."""
    share = Share(readings.calibration, not_known_of_a_change)
    return replace(_type_b(DECIDED, u, readings.calibration), shares=(share,), is_rectangular=readings.points is None)


def _of_stability(readings: Readings, means: _Means, borne: Floats, along: Neighbours) -> Share:
    at = at_comparisons(along, _stability_at_comparisons(readings), means.borne(borne), means.reading)
    return Share(readings.calibration, not_known_of_a_change, at=at, pool=STABILITY)


def _stability_at_comparisons(readings: Readings) -> Floats:
    if readings.calibrations is not None:
        return np.concatenate(readings.calibrations.stability)
    return np.concatenate([np.ones_like(curve.reference_indications) for curve in readings.curves])


def _stability(readings: Readings, u: Floats) -> Contribution:
    """Limits of change, or the statistics of the instrument's history: Type A."""
    dof = np.full(u.size, np.inf) if readings.stability_dof is None else readings.stability_dof
    return Contribution("stability", np.isfinite(dof), _column(u), readings.calibration, dof)


def _first(readings: Readings, of_points: Floats) -> Floats:
    """What all points of a reading have in common; the fewest where a point that no curve was asked of says infinity."""
    if readings.points is None:
        return of_points
    fewest = np.full(readings.size, np.inf)
    np.minimum.at(fewest, readings.points.reading, of_points)
    return fewest


def _repeatability(readings: Readings, points: AtPoints, means: _Means, each: Integers) -> Contribution:
    # Near zero the mean of the passes does not show which way all of them err.
    own = points.sensitivity * np.where(points.near_zero, readings.repeatability_alone, readings.repeatability)
    if readings.points is None:
        return Contribution(
            "repeatability", readings.repeatability_type_a, _column(own), each, readings.repeatability_dof
        )
    each_point, borne = _together(readings.points, np.arange(own.size), points.near_zero), means.borne(own)
    u, dof, type_a = _of_points_and_passes(readings, readings.points, points.value, each_point, borne)
    series = None if readings.hoods is None else _of_two_series(readings, readings.points, borne, dof)
    return Contribution("repeatability", type_a, _column(u), each, dof, unlike=series)


def _of_two_series(readings: Readings, points: Points, borne: Floats, dof: Floats) -> UnlikeSeries:
    """The two series of a hood with its throttle open and set, each with its own degrees of freedom; of other readings one."""
    share = np.column_stack([np.ones_like(dof), np.zeros_like(dof)])
    of_each = np.column_stack([dof, np.full_like(dof, np.inf)])
    for way, mine in readings.rows_by_way():
        if way.of_two is not None:
            rows = np.arange(dof.size)[mine]
            both = np.searchsorted(points.reading, rows)[:, np.newaxis] + np.arange(2)
            variances, of_each[rows] = borne[both] ** 2, readings.repeatability_dof[both]
            whole = variances.sum(axis=1, keepdims=True)
            share[rows] = np.divide(variances, whole, out=share[rows], where=whole > 0)
    return UnlikeSeries(share, of_each)


def _of_points_and_passes(
    readings: Readings, points: Points, value: Floats, error: Integers, borne: Floats
) -> tuple[Floats, Floats, Truths]:
    """Repeatability of readings with several points: that of each point, and what their passes show.

    `error` (P,) numbers the errors, `borne` (P,) is what that of each point does to its reading.
    """
    size = readings.size
    of_error = _summed(error, borne, borne.size)
    of_dof = np.full(borne.size, np.inf)
    np.minimum.at(of_dof, error, readings.repeatability_dof)
    variance = _summed(points.reading, of_error**2, size)
    fourth = _summed(points.reading, of_error**4 / of_dof, size)
    shown, dof = _of_passes(points, value, size)
    below = fourth + shown**2 / dof
    total = variance + shown
    effective = np.divide(total**2, below, out=np.full(size, np.inf), where=below > 0)
    type_a = (shown > 0) | (np.bincount(points.reading, ~readings.repeatability_type_a, size) == 0)
    return np.sqrt(total), effective, type_a


def _of_passes(points: Points, value: Floats, size: int) -> tuple[Floats, Floats]:
    """(n,) variance of the mean of the passes and its degrees of freedom; 0 and infinity where there is one pass."""
    first = np.r_[True, points.passage[1:] != points.passage[:-1]]
    owner = points.reading[first]
    count = np.bincount(owner, minlength=size).astype(float)
    mean = np.bincount(points.passage, points.weight * value)
    of_reading = np.bincount(owner, mean, size) / count
    squares = np.bincount(owner, (mean - of_reading[owner]) ** 2, size)
    several = count > 1
    variance = np.divide(squares, count * (count - 1.0), out=np.zeros(size), where=several)
    return variance, np.where(several, count - 1.0, np.inf)


def _resolution(readings: Readings, points: AtPoints, means: _Means) -> Floats:
    """Rounding is independent from place to place, and the same again in each pass, which may show the same digits."""
    step = resolution(1.0) * readings.resolution[readings.of_points] * points.sensitivity
    if readings.points is None:
        return step
    place = _together(readings.points, _places(readings.points), points.near_zero)
    of_place = _summed(place, means.weight * step, step.size)
    return np.sqrt(_summed(readings.points.reading, of_place**2, readings.size))


def _together(points: Points, error: Integers, near_zero: Truths) -> Integers:
    """(P,) numbers of the errors that points have, each the number of a point: those of a reading near zero are one.

    The mean over what a pressure near zero may be errs to one side, so that what such points add does not average out.
    """
    near = np.isin(error, error[near_zero])
    first = np.full(error.size, error.size)
    np.minimum.at(first, points.reading[near], error[near])
    return np.where(near, first[points.reading], error)


def _places(points: Points) -> Integers:
    """(P,) number of each point's place: that of the point of its reading's first pass that was taken there."""
    in_pass = np.arange(points.reading.size) - np.searchsorted(points.passage, points.passage)
    return np.asarray(np.searchsorted(points.reading, points.reading) + in_pass)


def _probe(probes: Probes, points: AtPoints, readings: Readings, means: _Means) -> Contribution:
    """The probe's scatter, reference part and stability as one line of the budget, each shared as those of an instrument."""
    calibration = np.where(probes.calibration < 0, len(readings.curves), probes.calibration)
    beside = _beside(readings, probes.calibration, points.before_probe)
    laboratory = np.append(_laboratories(readings), len(readings.curves))[calibration]
    scatter, stability = means.of(points.probe[:, :-2]), means.of(points.probe[:, -1])
    width = scatter.shape[1]
    reference = _reference(readings, means, points.probe[:, -2], beside, laboratory, width + 1)
    of_each = (np.linalg.norm(scatter, axis=1), np.abs(stability), np.linalg.norm(reference.parts, axis=1))
    dof = np.full((readings.size, len(of_each)), np.inf)
    dof[:, 0] = _first(readings, points.probe_dof)
    of_reference = np.append(_reference_degrees_of_freedom(readings), np.inf)  # the last: no probe
    if probes.stability_dof is not None:
        dof[:, 1] = probes.stability_dof
    dof[:, 2] = of_reference[probes.calibration]
    at = at_comparisons(beside, _stability_at_comparisons(readings), means.borne(points.probe[:, -1]), means.reading)
    return Contribution(
        "probe",
        np.zeros(readings.size, dtype=bool),
        np.column_stack([scatter, stability, reference.parts]),
        calibration,
        welch_satterthwaite(np.column_stack(of_each), dof),
        (
            Share(calibration, common, slice(0, width), pool=SCATTER, degrees_of_freedom=dof[:, 0]),
            Share(
                calibration,
                not_known_of_a_change,
                slice(width, width + 1),
                at,
                pool=STABILITY,
                degrees_of_freedom=dof[:, 1],
            ),
            *(replace(share, degrees_of_freedom=dof[:, 2]) for share in reference.shares),
        ),
    )


def _without_what_the_factor_carries(
    scaled: tuple[Contribution, ...], readings: Readings, flow: Floats
) -> tuple[Contribution, ...]:
    factors = readings.found_factors
    if factors is None:
        return scaled

    def left(contribution: Contribution) -> Contribution:
        parts = contribution.parts
        if contribution.name == SCATTER:
            return replace(contribution, parts=parts - factors.scatter * _column(flow))
        if contribution.name == REFERENCE_STANDARD:
            return replace(contribution, parts=parts - _alike(parts, factors.reference * flow))
        return contribution

    return tuple(map(left, scaled))


def _alike(parts: Floats, whole: Floats) -> Floats:
    """(n, m) parts of a whole (n,), in the proportions of others."""
    if parts.shape[1] == 1:
        return _column(whole)
    length = np.linalg.norm(parts, axis=1)
    return np.asarray(parts * _column(np.divide(whole, length, out=np.zeros_like(whole), where=length > 0)))


def _flow_contributions(readings: Readings, flow: Floats) -> tuple[Contribution, ...]:
    dimension = rectangular(1.0) * readings.dimension_relative * flow[:, np.newaxis]
    return (
        _type_b("dimension", dimension, readings.outlet),
        _type_b(
            "outlet factor",
            readings.outlet_factor_relative * flow,
            readings.outlet_factor_source,
            readings.outlet_factor_dof,
        ),
        *_methods(readings, flow),
        *_plant_drift(readings, flow),
    )


def _methods(readings: Readings, flow: Floats) -> Iterator[Contribution]:
    """One figure, of which it is not known how much of it readings share; or one that they share, and one of each by itself."""
    method = np.zeros(readings.size, dtype=np.int64) if readings.method is None else readings.method
    single = _type_b("method", readings.method_relative * flow, method, readings.method_dof)
    yield replace(single, shares=(Share(method, not_known),))
    two = readings.two_figures
    if two is not None:
        yield _type_b("method common", two.common_relative * flow, two.opening, two.common_dof)
        own = _type_b("method own", two.own_relative * flow, two.opening, two.own_dof)
        yield replace(own, shares=(Share(two.opening, independent),))


def _plant_drift(readings: Readings, flow: Floats) -> Iterator[Contribution]:
    if readings.plant_drift is not None:
        yield _type_b(PLANT_DRIFT, readings.plant_drift.relative * flow, readings.plant_drift.stream)


def _type_b(name: str, parts: Floats, source: Integers, degrees_of_freedom: Floats | None = None) -> Contribution:
    size = source.size
    columns = parts if parts.ndim == 2 else _column(parts)
    dof = np.full(size, np.inf) if degrees_of_freedom is None else degrees_of_freedom
    return Contribution(name, np.zeros(size, dtype=bool), columns, source, dof)


def _column(values: Floats) -> Floats:
    return values[:, np.newaxis]
