"""A million trials of one reading: calib beside drawing the same random numbers with numpy alone, turn by turn in one run.

Run: python tests/benchmarks/monte_carlo.py
Promise: within 1.3 times. The result is compared with the law of propagation before anything is timed.
"""

import math
import statistics
import time
from collections.abc import Callable

import numpy as np
from machine import describe

from calib.airflow.outlet import rectangular_area, volume_flow
from calib.arrays import Floats
from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.distributions import Normal, Rectangular, StudentT
from calib.uncertainty.monte_carlo import propagate_distributions

TRIALS = 1_000_000
ROUNDS = 9
SEED = 20260305

# A reading of an invented vane anemometer at a rectangular outlet; the curve c(x) = b0 + b1 (x - 6) with its scatter in two
# orthogonal parts. Locations and scales: x, b0, b1 have t-distributions, what is judged by limits a rectangular one.
INDICATION, INTERCEPT, SLOPE = (4.20, 0.012, 4.0), (0.146, 0.004, 5.0), (0.0391, 0.0012, 5.0)  # t: location, scale, nu
REFERENCE, FACTOR, METHOD = (0.0, 0.0247), (0.85, 0.017), (1.0, 0.025)  # normal: mean, u
RESOLUTION, STABILITY, WIDTH, HEIGHT = (0.0, 0.005), (0.0, 0.08), (0.400, 0.002), (0.300, 0.002)  # limits: middle, a
INPUTS: list[StudentT | Normal | Rectangular] = [
    *(StudentT(*one) for one in (INDICATION, INTERCEPT, SLOPE)),
    *(Normal(*one) for one in (REFERENCE, FACTOR, METHOD)),
    *(Rectangular(*one) for one in (RESOLUTION, STABILITY, WIDTH, HEIGHT)),
]


def flow(
    indication: Floats,
    intercept: Floats,
    slope: Floats,
    reference: Floats,
    factor: Floats,
    method: Floats,
    resolution: Floats,
    stability: Floats,
    width: Floats,
    height: Floats,
) -> Floats:
    """Flow q = v A K [m3/s] with v = x + c(x) [m/s]."""
    x = indication + resolution
    velocity = x + intercept + slope * (x - 6.0) + reference + stability
    return volume_flow(velocity, rectangular_area(width, height), factor) * method


def with_calib() -> object:
    """Draw, evaluate, and find both intervals."""
    return propagate_distributions(flow, INPUTS, seed=SEED, trials=TRIALS)


def with_numpy() -> None:
    """Draw the same random numbers and nothing else."""
    generator = np.random.default_rng(SEED)
    for _, _, nu in (INDICATION, INTERCEPT, SLOPE):
        generator.standard_t(nu, TRIALS)
    for mean, u in (REFERENCE, FACTOR, METHOD):
        generator.normal(mean, u, TRIALS)
    for middle, half_width in (RESOLUTION, STABILITY, WIDTH, HEIGHT):
        generator.uniform(middle - half_width, middle + half_width, TRIALS)


def seconds(call: Callable[[], object]) -> float:
    """One round."""
    start = time.perf_counter()
    call()
    return time.perf_counter() - start


def by_law() -> tuple[float, float]:
    """Value and standard uncertainty by the law of propagation, with the standard deviations of the distributions."""
    x, dc_dx = INDICATION[0], 1.0 + SLOPE[0]
    velocity = x + INTERCEPT[0] + SLOPE[0] * (x - 6.0)
    u = [float(one.standard_uncertainty) for one in INPUTS]
    of_velocity = math.hypot(dc_dx * u[0], u[1], (x - 6.0) * u[2], u[3], dc_dx * u[6], u[7]) / velocity
    relative = (of_velocity, u[4] / FACTOR[0], u[5] / METHOD[0], u[8] / WIDTH[0], u[9] / HEIGHT[0])
    q = volume_flow(velocity, rectangular_area(WIDTH[0], HEIGHT[0]), FACTOR[0])
    return q, q * math.hypot(*relative)


def main() -> None:
    """Compare, then time both."""
    print(describe("numpy"))
    found = propagate_distributions(flow, INPUTS, seed=SEED, trials=TRIALS)
    q, u = by_law()
    print(f"law:         q = {q:.6f} m3/s, u = {u:.6f} m3/s, k = {float(coverage_factor(math.inf)):.3f}")
    k = found.symmetric_interval.coverage_factor(found.standard_uncertainty)
    print(f"Monte Carlo: q = {found.value:.6f} m3/s, u = {found.standard_uncertainty:.6f} m3/s, k = {k:.3f}")
    if abs(found.value - q) > 0.01 * u or abs(found.standard_uncertainty / u - 1) > 0.01:
        raise SystemExit("the two disagree by more than a hundredth of u")
    drawing, whole = zip(*((seconds(with_numpy), seconds(with_calib)) for _ in range(ROUNDS)), strict=True)
    for words, figure in (("medians", statistics.median), ("the least", min)):
        theirs, ours = figure(drawing), figure(whole)
        print(f"numpy, {len(INPUTS)} x {TRIALS} random numbers: {1e3 * theirs:.1f} ms   ({words} of {ROUNDS})")
        print(
            f"calib, {TRIALS} trials of a reading: {1e3 * ours:.1f} ms   ratio {ours / theirs:.2f} (promised: at most 1.3)"
        )


if __name__ == "__main__":
    main()
