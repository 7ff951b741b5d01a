"""The measurement model of a flow at an outlet (VIM 2.48): from indications to flows and what each influence contributes.

    v = x + c(x)          corrected mean velocity [m/s]
    q = v A K             volume flow [m3/s]; K = 1 and A = A_e with an effective area

    influence                evaluation                                     shared by
    repeatability            s/sqrt(n), or the declared one                 the reading
    resolution               step/sqrt(12)                                  the reading
    calibration scatter      correction curve, n-p dof                      readings with the calibration
    reference standard       correction curve                               readings with the calibration
    stability                limits of change, rectangular                  readings with the calibration
    dimension                limits of each dimension, rectangular          the outlet
    outlet factor            its standard uncertainty                       outlets whose factor has the same source
    method                   declared relative standard uncertainty         the reading

Arrays run over the readings of a job; there is no loop over readings.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.airflow.outlet import volume_flow
from calib.curves.curve import Curve
from calib.uncertainty.estimate import rectangular, resolution
from calib.uncertainty.propagation import Contribution

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]


@dataclass(frozen=True)
class OutletReadings:
    """n readings at outlets, in SI. All arrays are (n,) but `dimension_relative`."""

    indication: Floats  # x, the mean of the observations [m/s]
    repeatability: Floats  # standard uncertainty of that mean [m/s]
    repeatability_type_a: NDArray[np.bool_]  # from the observations (A), or declared (B)
    repeatability_dof: Floats  # n-1 of the observations, or infinite
    resolution: Floats  # digital step of the instrument [m/s]
    stability_limit: Floats  # half-width of the change since calibration [m/s]
    calibration: Integers  # index into `curves`
    outlet: Integers  # number of the outlet
    area: Floats  # A or A_e [m2]
    dimension_relative: (
        Floats  # (n, 2) half-width over dimension for width and height; 2 and 0 times for a diameter [1]
    )
    outlet_factor: Floats  # K [1]
    outlet_factor_relative: Floats  # u(K)/K or u(A_e)/A_e [1]
    outlet_factor_source: Integers  # outlets with the same number share the factor's error
    method_relative: Floats  # standard uncertainty of the method [1]
    curves: Sequence[Curve]

    @property
    def size(self) -> int:
        """Number of readings."""
        return self.indication.size


@dataclass(frozen=True)
class Flows:
    """Flows of n readings and their influences."""

    velocity: Floats  # (n,) corrected [m/s]
    velocity_contributions: tuple[Contribution, ...]  # [m/s]
    flow: Floats  # (n,) [m3/s]
    contributions: tuple[Contribution, ...]  # [m3/s]


@dataclass(frozen=True)
class _Velocity:
    value: Floats
    sensitivity: Floats
    error_sensitivity: Floats
    scatter: Floats  # (n, p)
    scatter_dof: Floats
    reference: Floats


def flows(readings: OutletReadings) -> Flows:
    """Flows of all readings with the contribution of each influence; raises MeasuringIntervalError outside a curve's interval."""
    corrected = _correct(readings)
    each = np.arange(readings.size)
    of_velocity = _velocity_contributions(readings, corrected, each)
    opening = readings.area * readings.outlet_factor
    flow = volume_flow(corrected.value, readings.area, readings.outlet_factor)
    scaled = tuple(
        Contribution(one.name, one.type_a, one.parts * opening[:, np.newaxis], one.source, one.degrees_of_freedom)
        for one in of_velocity
    )
    return Flows(corrected.value, of_velocity, flow, (*scaled, *_flow_contributions(readings, flow, each)))


def _correct(readings: OutletReadings) -> _Velocity:
    """Corrected velocities: one round for each calibration, over its readings side by side."""
    size = readings.size
    parts = max(curve.parts for curve in readings.curves)
    order = np.argsort(readings.calibration, kind="stable")
    indication = readings.indication[order]
    ends = np.searchsorted(readings.calibration[order], np.arange(len(readings.curves) + 1))
    columns = np.empty((5, size))
    scatter = np.zeros((size, parts))
    for number, curve in enumerate(readings.curves):
        mine = slice(ends[number], ends[number + 1])
        x = indication[mine]
        columns[0, mine] = curve.value(x)
        columns[1, mine] = curve.sensitivity(x)
        columns[2, mine] = curve.error_sensitivity(x)
        columns[3, mine] = curve.degrees_of_freedom
        columns[4, mine] = curve.reference_uncertainty(x)
        scatter[mine, : curve.parts] = curve.scatter_parts(x)
    place = np.empty_like(order)
    place[order] = np.arange(size)
    value, sensitivity, error, dof, reference = np.take(columns, place, axis=1)
    return _Velocity(value, sensitivity, error, np.take(scatter, place, axis=0), dof, reference)


def _velocity_contributions(readings: OutletReadings, corrected: _Velocity, each: Integers) -> tuple[Contribution, ...]:
    by_calibration = readings.calibration
    return (
        Contribution(
            "repeatability",
            readings.repeatability_type_a,
            _column(corrected.sensitivity * readings.repeatability),
            each,
            readings.repeatability_dof,
        ),
        _type_b("resolution", corrected.sensitivity * resolution(1.0) * readings.resolution, each),
        # Statistics of the certificate's comparisons: Type A, though not of this reading's observations.
        Contribution(
            "calibration scatter",
            np.ones(readings.size, dtype=bool),
            corrected.scatter,
            by_calibration,
            corrected.scatter_dof,
        ),
        _type_b("reference standard", corrected.reference, by_calibration),
        _type_b(
            "stability",
            rectangular(1.0) * corrected.error_sensitivity * readings.stability_limit,
            by_calibration,
        ),
    )


def _flow_contributions(readings: OutletReadings, flow: Floats, each: Integers) -> tuple[Contribution, ...]:
    dimension = rectangular(1.0) * readings.dimension_relative * flow[:, np.newaxis]
    return (
        _type_b("dimension", dimension, readings.outlet),
        _type_b("outlet factor", readings.outlet_factor_relative * flow, readings.outlet_factor_source),
        _type_b("method", readings.method_relative * flow, each),
    )


def _type_b(name: str, parts: Floats, source: Integers) -> Contribution:
    size = source.size
    columns = parts if parts.ndim == 2 else _column(parts)
    return Contribution(name, np.zeros(size, dtype=bool), columns, source, np.full(size, np.inf))


def _column(values: Floats) -> Floats:
    return values[:, np.newaxis]
