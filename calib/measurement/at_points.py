"""Every point by itself: from its indication to its value, and what each influence does to that value."""

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np

from calib.airflow.velocity import near_zero
from calib.arrays import Floats, Integers, Truths
from calib.measurement.below_lowest import Held, asked_at, coefficient_held, correction_held
from calib.measurement.readings import Air, Probes, Readings
from calib.uncertainty.estimate import rectangular, resolution


@dataclass(frozen=True)
class AtPoints:
    """Values of P points [m/s, or m3/s for a hood] and what a standard or limiting error of each influence does to them."""

    value: Floats  # (P,)
    sensitivity: Floats  # (P,) to an error of the indication
    stability: Floats  # (P,) half-width that the limits of change make
    decided: Floats  # (P,) half-width that reviews widened it by
    reference: Floats  # (P,) reference part
    scatter: Floats  # (P, p) parts of the calibration scatter
    scatter_dof: Floats  # (P,)
    density: Floats  # (P,) to a relative error of the density
    probe: (
        Floats  # (P, m) parts of the probe's scatter, its reference part, and its stability as a standard uncertainty
    )
    probe_dof: Floats  # (P,) of the probe's scatter
    before_probe: Floats  # (P,) the value without the probe's curve, at which that is asked
    below: Truths  # (P,) below the lowest comparison of the instrument, or of its probe
    near_zero: Truths  # (P,) the value is the mean over what the corrected indication may be
    corrected: Floats  # (P,) corrected indication
    corrected_uncertainty: Floats  # (P,) its standard uncertainty, by a way that goes down to zero; else 0
    value_uncertainty: Floats  # (P,) what that makes of the value


@dataclass(frozen=True)
class _Corrected:
    """What the curves of a set of indications say."""

    value: Floats
    sensitivity: Floats
    error_sensitivity: Floats
    reference: Floats
    dof: Floats
    scatter: Floats
    below: Truths


def at_points(readings: Readings) -> AtPoints:
    """Values of all points; raises MeasuringIntervalError outside a curve's interval."""
    of_points = readings.of_points
    calibration = readings.calibration[of_points]
    scale = indication_scale(readings)[of_points]
    held = _goes_to_zero(readings)
    every = np.ones(held.size, dtype=bool)
    corrected = _correct(readings, readings.indication * scale, calibration, every, held, correction_held)
    without = np.zeros_like(corrected.value)
    plain = AtPoints(
        corrected.value,
        corrected.sensitivity * scale,
        corrected.error_sensitivity * readings.stability_limit,
        without if readings.decided is None else readings.decided,
        corrected.reference,
        corrected.scatter,
        corrected.dof,
        without,
        np.zeros((corrected.value.size, 0)),
        np.full(corrected.value.size, np.inf),
        corrected.value,
        corrected.below,
        np.zeros_like(held),
        corrected.value,
        without,
        without,
    )
    if readings.air is None:
        return plain
    if held.any():
        plain = replace(plain, corrected_uncertainty=np.where(held, _corrected_uncertainty(plain, readings), 0.0))
    moving = _through_the_air(plain, readings, readings.air, corrected.sensitivity, readings.indication * scale)
    return moving if readings.probes is None else _through_the_probe(moving, readings, readings.probes, held)


def _goes_to_zero(readings: Readings) -> Truths:
    """Points of ways by which an indication below the lowest comparison has a value."""
    held = np.zeros(readings.indication.size, dtype=bool)
    for way, mine in readings.points_by_way():
        held[mine] = way.goes_to_zero
    return held


def _corrected_uncertainty(points: AtPoints, readings: Readings) -> Floats:
    """(P,) standard uncertainty of each corrected indication by itself."""
    rounding = (resolution(1.0) * readings.resolution)[readings.of_points]
    of_indication = points.sensitivity**2 * (readings.repeatability_alone**2 + rounding**2)
    of_curve = np.einsum("ij,ij->i", points.scatter, points.scatter) + points.reference**2
    of_change = rectangular(1.0) * np.hypot(points.stability, points.decided)
    return np.asarray(np.sqrt(of_indication + of_curve + of_change**2))


def indication_scale(readings: Readings) -> Floats:
    """(n,) what an indication is multiplied by before the curve is asked: s of a vane in air of another density, else 1."""
    air, scale = readings.air, np.ones(readings.size)
    for way, mine in readings.rows_by_way():
        if air is not None and way.in_air is not None:
            scale[mine] = way.in_air.scale(air.density[mine], air.reference_density[mine])
    return scale


def _correct(
    readings: Readings, indication: Floats, calibration: Integers, asked: Truths, held: Truths, below: Held
) -> _Corrected:
    """What each calibration's curve says of its points: one round for each calibration, its points side by side.

    Points that are not `asked` are left at 0; below the lowest comparison those that are `held` have values by `below`.
    """
    size = indication.size
    parts = max(curve.parts for curve in readings.curves)
    round_of_point = np.where(asked, calibration, len(readings.curves))
    order = np.argsort(round_of_point, kind="stable")
    sorted_indication, sorted_held = indication[order], held[order]
    ends = np.searchsorted(round_of_point[order], np.arange(len(readings.curves) + 1))
    columns = np.zeros((6, size))
    columns[4] = np.inf
    scatter = np.zeros((size, parts))
    for curve, places in zip(readings.curves, pairwise(ends.tolist()), strict=True):
        mine = slice(*places)
        x = sorted_indication[mine]
        at = asked_at(curve, x, sorted_held[mine])
        error_slope, is_below = curve.error_sensitivity(at), at > x
        columns[0, mine], slope_below = below(curve.value(at), error_slope, x, at)
        columns[1, mine] = np.where(is_below, slope_below, curve.sensitivity(at))
        columns[2, mine] = error_slope
        columns[3, mine] = curve.reference_uncertainty(at)
        columns[4, mine] = curve.degrees_of_freedom
        columns[5, mine] = is_below
        scatter[mine, : curve.parts] = curve.scatter_parts(at)
    place = np.empty_like(order)
    place[order] = np.arange(size)
    value, sensitivity, error, reference, dof, is_below = np.take(columns, place, axis=1)
    return _Corrected(value, sensitivity, error, reference, dof, np.take(scatter, place, axis=0), is_below > 0)


def _through_the_air(
    points: AtPoints, readings: Readings, air: Air, curve_slope: Floats, indication: Floats
) -> AtPoints:
    """From corrected indications to velocities in the air that was there."""
    of_points, corrected = readings.of_points, points.value
    density, reference_density = air.density[of_points], air.reference_density[of_points]
    value, slope, exponent = corrected.copy(), np.ones_like(corrected), np.zeros_like(corrected)
    u = points.corrected_uncertainty
    near = near_zero(corrected, u)
    for way, mine in readings.points_by_way():
        if way.in_air is not None:
            y, rho = corrected[mine], density[mine]
            value[mine] = way.in_air.value(y, rho, reference_density[mine])
            slope[mine] = way.in_air.slope(y, rho, reference_density[mine])
            exponent[mine] = way.in_air.exponent(indication[mine], y, curve_slope[mine])
            low = np.arange(value.size)[mine][near[mine]]
            if way.in_air.near_zero is not None:
                value[low], u_value = way.in_air.near_zero(corrected[low], u[low], density[low])
                # The slope of the chord over what y may be: each influence keeps its share, and its sign.
                slope[low] = u_value / u[low]
    return AtPoints(
        value,
        points.sensitivity * slope,
        points.stability * slope,
        points.decided * slope,
        points.reference * slope,
        points.scatter * slope[:, np.newaxis],
        points.scatter_dof,
        exponent * value,
        points.probe,
        points.probe_dof,
        value,
        points.below,
        near,
        corrected,
        u,
        slope * u,
    )


def _through_the_probe(points: AtPoints, readings: Readings, probes: Probes, held: Truths) -> AtPoints:
    """From the velocity that a coefficient of 1 gives to the one that the probe's curve gives."""
    of_points = readings.of_points
    calibration = probes.calibration[of_points]
    used = (calibration >= 0) & (points.value > 0)
    through = _correct(readings, points.value, calibration, used, held, coefficient_held)
    slope = np.where(used, through.sensitivity, 1.0)
    lowest = np.array([curve.low for curve in readings.curves])[calibration]
    at = np.where(through.below, lowest, points.value)
    limit = probes.stability_relative[of_points] * at + probes.stability_absolute[of_points]
    stability = np.where(used, through.error_sensitivity * limit, 0.0) / np.sqrt(3.0)
    return AtPoints(
        np.where(used, through.value, points.value),
        points.sensitivity * slope,
        points.stability * slope,
        points.decided * slope,
        points.reference * slope,
        points.scatter * slope[:, np.newaxis],
        points.scatter_dof,
        points.density * slope,
        np.column_stack([through.scatter, through.reference, stability]),
        through.dof,
        points.value,
        points.below | through.below,
        points.near_zero,
        points.corrected,
        points.corrected_uncertainty,
        points.value_uncertainty * slope,
    )
