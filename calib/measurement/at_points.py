"""Every point by itself: from its indication to its value, and what each influence does to that value."""

from dataclasses import dataclass

import numpy as np

from calib.arrays import Floats, Integers, Truths
from calib.measurement.readings import Air, Probes, Readings


@dataclass(frozen=True)
class AtPoints:
    """Values of P points [m/s, or m3/s for a hood] and what a standard or limiting error of each influence does to them."""

    value: Floats  # (P,)
    sensitivity: Floats  # (P,) to an error of the indication
    stability: Floats  # (P,) half-width that the limits of change make
    reference: Floats  # (P,) reference part
    scatter: Floats  # (P, p) parts of the calibration scatter
    scatter_dof: Floats  # (P,)
    density: Floats  # (P,) to a relative error of the density
    probe: (
        Floats  # (P, m) parts of the probe's scatter, its reference part, and its stability as a standard uncertainty
    )
    probe_dof: Floats  # (P,) of the probe's scatter
    before_probe: Floats  # (P,) the value without the probe's curve, at which that is asked


@dataclass(frozen=True)
class _Corrected:
    """What the curves of a set of indications say."""

    value: Floats
    sensitivity: Floats
    error_sensitivity: Floats
    reference: Floats
    dof: Floats
    scatter: Floats


def at_points(readings: Readings) -> AtPoints:
    """Values of all points; raises MeasuringIntervalError outside a curve's interval."""
    of_points = readings.of_points
    calibration = readings.calibration[of_points]
    scale = indication_scale(readings)[of_points]
    standing = _standing(readings)
    corrected = _correct(readings, readings.indication * scale, calibration, ~standing)
    plain = AtPoints(
        corrected.value,
        corrected.sensitivity * scale,
        corrected.error_sensitivity * readings.stability_limit,
        corrected.reference,
        corrected.scatter,
        corrected.dof,
        np.zeros_like(corrected.value),
        np.zeros((corrected.value.size, 0)),
        np.full(corrected.value.size, np.inf),
        corrected.value,
    )
    if readings.air is None:
        return plain
    moving = _through_the_air(plain, readings, readings.air, corrected.sensitivity, readings.indication * scale)
    return moving if readings.probes is None else _through_the_probe(moving, readings, readings.probes)


def _standing(readings: Readings) -> Truths:
    """Points at which an indication that is not above 0 is standing air, of which no curve is asked."""
    standing = np.zeros(readings.indication.size, dtype=bool)
    for way, mine in readings.points_by_way():
        if way.zero_is_standing_air:
            standing[mine] = readings.indication[mine] <= 0
    return standing


def indication_scale(readings: Readings) -> Floats:
    """(n,) what an indication is multiplied by before the curve is asked: s of a vane in air of another density, else 1."""
    air, scale = readings.air, np.ones(readings.size)
    for way, mine in readings.rows_by_way():
        if air is not None and way.in_air is not None:
            scale[mine] = way.in_air.scale(air.density[mine], air.reference_density[mine])
    return scale


def _correct(readings: Readings, indication: Floats, calibration: Integers, asked: Truths) -> _Corrected:
    """What each calibration's curve says of its points: one round for each calibration, its points side by side.

    Points that are not `asked` are left at 0.
    """
    size = indication.size
    parts = max(curve.parts for curve in readings.curves)
    round_of_point = np.where(asked, calibration, len(readings.curves))
    order = np.argsort(round_of_point, kind="stable")
    sorted_indication = indication[order]
    ends = np.searchsorted(round_of_point[order], np.arange(len(readings.curves) + 1))
    columns = np.zeros((5, size))
    columns[4] = np.inf
    scatter = np.zeros((size, parts))
    for index, curve in enumerate(readings.curves):
        mine = slice(ends[index], ends[index + 1])
        x = sorted_indication[mine]
        columns[0, mine] = curve.value(x)
        columns[1, mine] = curve.sensitivity(x)
        columns[2, mine] = curve.error_sensitivity(x)
        columns[3, mine] = curve.reference_uncertainty(x)
        columns[4, mine] = curve.degrees_of_freedom
        scatter[mine, : curve.parts] = curve.scatter_parts(x)
    place = np.empty_like(order)
    place[order] = np.arange(size)
    value, sensitivity, error, reference, dof = np.take(columns, place, axis=1)
    return _Corrected(value, sensitivity, error, reference, dof, np.take(scatter, place, axis=0))


def _through_the_air(
    points: AtPoints, readings: Readings, air: Air, curve_slope: Floats, indication: Floats
) -> AtPoints:
    """From corrected indications to velocities in the air that was there."""
    of_points, corrected = readings.of_points, points.value
    density, reference_density = air.density[of_points], air.reference_density[of_points]
    value, slope, exponent = corrected.copy(), np.ones_like(corrected), np.zeros_like(corrected)
    for way, mine in readings.points_by_way():
        if way.in_air is not None:
            y, rho = corrected[mine], density[mine]
            value[mine] = way.in_air.value(y, rho, reference_density[mine])
            slope[mine] = way.in_air.slope(y, value[mine], rho)
            exponent[mine] = way.in_air.exponent(indication[mine], y, curve_slope[mine])
    return AtPoints(
        value,
        points.sensitivity * slope,
        points.stability * slope,
        points.reference * slope,
        points.scatter * slope[:, np.newaxis],
        points.scatter_dof,
        exponent * value,
        points.probe,
        points.probe_dof,
        value,
    )


def _through_the_probe(points: AtPoints, readings: Readings, probes: Probes) -> AtPoints:
    """From the velocity that a coefficient of 1 gives to the one that the probe's curve gives."""
    of_points = readings.of_points
    calibration = probes.calibration[of_points]
    used = (calibration >= 0) & (points.value > 0)
    through = _correct(readings, points.value, np.maximum(calibration, 0), used)
    slope = np.where(used, through.sensitivity, 1.0)
    limit = probes.stability_relative[of_points] * points.value + probes.stability_absolute[of_points]
    stability = np.where(used, through.error_sensitivity * limit, 0.0) / np.sqrt(3.0)
    return AtPoints(
        np.where(used, through.value, points.value),
        points.sensitivity * slope,
        points.stability * slope,
        points.reference * slope,
        points.scatter * slope[:, np.newaxis],
        points.scatter_dof,
        points.density * slope,
        np.column_stack([through.scatter, through.reference, stability]),
        through.dof,
        points.value,
    )
