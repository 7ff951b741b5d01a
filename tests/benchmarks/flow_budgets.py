"""Flows, budgets and totals of one job: calib beside the same model written with the `uncertainties` package, in one run.

Run: python tests/benchmarks/flow_budgets.py
Promise: at 10,000 readings at least 500 times faster per reading. The results are compared before anything is timed.
"""

import math
import time
from collections.abc import Callable

import numpy as np
from uncertainties import UFloat, ufloat

from calib.curves.choice import Comparisons, choose
from calib.curves.curve import CorrectionCurve
from calib.measurement import Readings, flows
from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.propagation import Combined, combine, combine_totals

READINGS = 10_000
BASELINE_READINGS = 400  # the baseline's cost per reading is taken from fewer, for its totals grow with the square
SYSTEMS = 10
INSTRUMENTS = 4
SOURCES = 5


def curve(shift: float) -> CorrectionCurve:
    """A correction curve of an invented vane anemometer."""
    reference = np.array([0.6, 1.2, 2.5, 4.0, 6.0, 9.0, 14.0])
    indication = np.array([0.66, 1.25, 2.49, 3.92, 5.86, 8.74, 13.60]) + shift
    repeatability = np.array([0.012, 0.012, 0.015, 0.018, 0.025, 0.035, 0.060])
    d = np.sqrt(repeatability**2 / 6 + 0.01**2 / 12)
    return choose(Comparisons(reference, indication, (0.015 + 0.008 * reference) / 2, d)).curve


def job(size: int) -> Readings:
    """A job of `size` readings at as many outlets."""
    random = np.random.default_rng(20260305)
    return Readings(
        indication=random.uniform(1.0, 12.0, size),
        repeatability=random.uniform(0.01, 0.05, size),
        repeatability_type_a=np.ones(size, dtype=bool),
        repeatability_dof=np.full(size, 2.0),
        resolution=np.full(size, 0.01),
        stability_limit=random.uniform(0.03, 0.1, size),
        calibration=np.arange(size) % INSTRUMENTS,
        outlet=np.arange(size),
        area=random.uniform(0.02, 0.2, size),
        dimension_relative=random.uniform(0.001, 0.01, (size, 2)),
        outlet_factor=random.uniform(0.7, 1.0, size),
        outlet_factor_relative=np.full(size, 0.02),
        outlet_factor_source=np.arange(size) % SOURCES,
        method_relative=np.full(size, 0.025),
        curves=[curve(0.001 * number) for number in range(INSTRUMENTS)],
    )


def with_calib(readings: Readings) -> tuple[np.ndarray, Combined, Combined]:
    """Flows, budgets with coverage, and totals of the systems."""
    found = flows(readings)
    combined = combine(found.contributions)
    coverage_factor(combined.degrees_of_freedom)
    _ = combined.variance_percent
    membership = np.arange(readings.size) % SYSTEMS
    totals = combine_totals(found.contributions, membership, np.ones(readings.size), SYSTEMS)
    coverage_factor(totals.degrees_of_freedom)
    return found.flow, combined, totals


def with_uncertainties(readings: Readings) -> tuple[list[UFloat], list[float], list[UFloat]]:
    """The same model, one reading after the other."""
    shared = [_shared_of(curve) for curve in readings.curves]
    stability = [ufloat(0.0, 1.0) for _ in readings.curves]
    sources = [ufloat(0.0, 1.0) for _ in range(SOURCES)]
    method = ufloat(0.0, 1.0)  # of what is not known, a sum takes the common figure
    measured, uncertainties = [], []
    for n in range(readings.size):
        q = _flow(readings, n, shared[readings.calibration[n]], stability[readings.calibration[n]], sources, method)
        measured.append(q)
        uncertainties.append(q.std_dev)
        _ = {variable: (part / q.std_dev) ** 2 for variable, part in q.error_components().items()}
    totals = [sum(measured[system::SYSTEMS]) for system in range(SYSTEMS)]
    _ = [total.std_dev for total in totals]
    return measured, uncertainties, totals


def _shared_of(curve: CorrectionCurve) -> tuple[list[UFloat], UFloat]:
    values, vectors = np.linalg.eigh(curve.polynomial.covariance)
    directions = [ufloat(0.0, math.sqrt(value)) for value in values]
    coefficients = [
        mean + sum(vector[k] * one for vector, one in zip(vectors.T, directions, strict=True))
        for k, mean in enumerate(curve.polynomial.coefficients)
    ]
    return coefficients, ufloat(0.0, 1.0)


def _flow(
    readings: Readings,
    n: int,
    of_curve: tuple[list[UFloat], UFloat],
    stability: UFloat,
    sources: list[UFloat],
    method: UFloat,
) -> UFloat:
    coefficients, reference = of_curve
    used = readings.curves[readings.calibration[n]]
    x = (
        readings.indication[n]
        + ufloat(0.0, readings.repeatability[n])
        + ufloat(0.0, readings.resolution[n] / math.sqrt(12))
    )
    t = (x - used.polynomial.centre) / used.polynomial.half_width
    correction = sum(coefficient * t**power for power, coefficient in enumerate(coefficients))
    u_reference = np.interp(readings.indication[n], used.reference_indications, used.reference_uncertainties)
    v = x + correction + u_reference * reference + readings.stability_limit[n] / math.sqrt(3) * stability
    opening = readings.area[n]
    for relative in readings.dimension_relative[n]:
        opening = opening * (1 + ufloat(0.0, relative / math.sqrt(3)))
    factor = readings.outlet_factor[n] * (
        1 + readings.outlet_factor_relative[n] * sources[readings.outlet_factor_source[n]]
    )
    return v * opening * factor * (1 + readings.method_relative[n] * method)


def seconds(call: Callable[[], object], rounds: int) -> float:
    """Shortest of several rounds."""
    best = math.inf
    for _ in range(rounds):
        start = time.perf_counter()
        call()
        best = min(best, time.perf_counter() - start)
    return best


def compare(readings: Readings) -> float:
    """Largest relative difference between the two, in values, uncertainties and totals."""
    flow, combined, totals = with_calib(readings)
    measured, uncertainties, their_totals = with_uncertainties(readings)
    return float(
        max(
            np.max(np.abs(flow / [one.nominal_value for one in measured] - 1)),
            np.max(np.abs(combined.standard_uncertainty / uncertainties - 1)),
            np.max(np.abs(totals.standard_uncertainty / [one.std_dev for one in their_totals] - 1)),
        )
    )


def main() -> None:
    """Compare, then time both."""
    from machine import describe

    print(describe("numpy", "scipy", "uncertainties"))
    small, large = job(BASELINE_READINGS), job(READINGS)
    print(f"largest relative difference of the two models: {compare(small):.1e}")
    theirs = seconds(lambda: with_uncertainties(small), 3) / small.size
    ours = seconds(lambda: with_calib(large), 7) / large.size
    print(f"uncertainties, {small.size} readings: {1e6 * theirs:10.2f} us per reading")
    print(f"calib,       {large.size} readings: {1e6 * ours:10.2f} us per reading")
    print(f"ratio: {theirs / ours:.0f} (promised: 500)")


if __name__ == "__main__":
    main()
