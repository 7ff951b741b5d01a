"""Velocity pressures near zero and below the lowest comparison: what they are worth, and how often U covers what is true.

True velocities are known because they were drawn. The rule (u of 0.6, its coverage of 95.9 to 100 %) comes from this
project's own simulations; GUM 6.2.1 for what coverage is.
"""

import math
from itertools import pairwise

import numpy as np
import pytest

from calib.measurement import flows
from calib.measurement.at_points import at_points
from calib.measurement.trials import Errors, one_reading
from calib.measurement.ways import VELOCITY_PRESSURE
from calib.procedures.measure.distributions import model_of
from calib.uncertainty.monte_carlo import propagate_distributions
from calib.uncertainty.propagation import combine
from tests.arrays import correction, readings, several, single

RHO = 1.2


# --- below the lowest comparison ------------------------------------------------------------------------------------------------

ABOVE_ZERO = correction((0.1, 0.02), [[1e-4, 0.0], [0.0, 1e-8]], nodes=((5.0, 0.2), (500.0, 2.0)))


@pytest.mark.parametrize("indication", [4.0, 0.1, 0.0, -0.1])
def test_the_correction_of_the_lowest_comparison_is_held_with_its_uncertainty(indication):
    """At 5 Pa the correction is 0.1 + 0.02 x 5 = 0.2 Pa; at 4.0, 0.0 and -0.1 Pa alike."""
    low, lowest = (single(x, way=VELOCITY_PRESSURE) for x in (indication, 5.0))
    found = at_points(readings(low, lowest, curves=[ABOVE_ZERO]))
    assert found.below.tolist() == [True, False]
    assert found.corrected == pytest.approx([indication + 0.2, 5.2], rel=1e-14)
    assert found.corrected_uncertainty[0] == pytest.approx(found.corrected_uncertainty[1], rel=1e-14)
    assert found.corrected_uncertainty[0] == pytest.approx(math.sqrt(0.2**2 + 1e-4 + 25e-8), rel=1e-12)


@pytest.mark.parametrize("indication", [4.0, 0.0])
def test_the_coefficient_of_a_probe_is_held_with_its_uncertainty(indication):
    probe = correction((0.0, 0.04), nodes=((6.0, 0.05), (30.0, 0.3)))
    with_probe, without = (single(indication, way=VELOCITY_PRESSURE, probe=each, u=0.1) for each in (1, -1))
    found = at_points(readings(with_probe, without, curves=[correction(), probe]))
    assert found.below.tolist() == [True, False]
    assert found.value[0] == pytest.approx(1.04 * found.value[1], rel=1e-13)
    assert found.probe[0, -2] == pytest.approx(0.05, rel=1e-14)


def traverse(*low, points=16, u=0.3, curve=ABOVE_ZERO):
    """A traverse of one pass at 30 Pa with some low points, through 1 m2."""
    return readings(several([*low, *[30.0] * (points - len(low))], u=u, way=VELOCITY_PRESSURE), curves=[curve])


def expanded(arrays):
    return 2.0 * float(combine(flows(arrays).contributions).standard_uncertainty[0])


@pytest.mark.parametrize("curve", [ABOVE_ZERO, correction((0.0,), [[1e-2]], nodes=((0.0, 0.1), (500.0, 2.0)))])
def test_u_does_not_fall_as_a_wall_point_falls_to_zero_and_below(curve):
    """Before, U was 88 m3/h with a point of 0.1 Pa and 56 m3/h with one of 0.0 Pa."""
    found = [expanded(traverse(low, low, curve=curve)) for low in (2.0, 1.0, 0.5, 0.3, 0.1, 0.0, -0.1)]
    below = found[3:]
    assert max(below) < 1.01 * min(below)
    assert all(after > 0.99 * before for before, after in pairwise(found))


@pytest.mark.parametrize("count", [1, 2, 4])
def test_typing_0_for_three_tenths_of_a_pascal_changes_u_by_less_than_a_tenth(count):
    typed, true = expanded(traverse(*[0.0] * count)), expanded(traverse(*[0.3] * count))
    assert typed == pytest.approx(true, rel=0.1)


@pytest.mark.parametrize("low", [0.3, 0.1, 0.0, -0.1])
def test_the_value_is_that_of_monte_carlo(low):
    """Before, the flow was 10 m3/h below the mean of the trials (JCGM 101, 7.6)."""
    arrays = traverse(low, low, low, low)
    inputs, model = model_of(arrays, 0)
    simulated = propagate_distributions(model, inputs, seed=20261129, trials=200_000)
    standard_error = simulated.standard_uncertainty / math.sqrt(200_000)
    assert flows(arrays).flow[0] == pytest.approx(simulated.value, abs=5 * standard_error + 2e-4 * simulated.value)
    assert expanded(arrays) >= 2 * simulated.standard_uncertainty


def test_the_bend_of_a_root_is_told_but_where_the_value_is_the_mean_over_it_already():
    """v = sqrt(2 dp/rho) has (m - 1)/m = -1 with m = 1/2."""
    assert flows(traverse()).product.bend == pytest.approx([-1.0], rel=1e-12)
    assert np.isnan(flows(traverse(0.1)).product.bend).tolist() == [True]


def test_the_parts_of_points_near_zero_add_before_they_are_squared():
    """Nothing else is uncertain: u of the flow is a sixteenth of the sum of what four such points have, 0.6 sqrt(2 u/rho) each."""
    known = correction(nodes=((5.0, 0.0), (500.0, 0.0)))
    mixed = several([0.0] * 4 + [1e5] * 12, u=0.3, way=VELOCITY_PRESSURE)
    u_flow = float(combine(flows(readings(mixed, curves=[correction()])).contributions).standard_uncertainty[0])
    one = 0.6 * math.sqrt(2 * 0.3 / RHO)
    assert u_flow == pytest.approx(4 * one / 16, rel=1e-3)
    passes = flows(
        readings(
            several([0.0] * 4 + [60.0] * 12, [0.0] * 4 + [60.0] * 12, way=VELOCITY_PRESSURE, step=0.2), curves=[known]
        )
    )
    (rounding,) = [each.parts[0, 0] for each in passes.contributions if each.name == "resolution"]
    step = 0.2 / math.sqrt(12)
    of_60 = 10.0 * step / 120.0 / 16
    assert rounding == pytest.approx(
        math.hypot(4 * 0.6 * math.sqrt(2 * step / RHO) / 16, of_60 * math.sqrt(12)), rel=1e-12
    )


def test_a_low_point_leaves_other_readings_as_they_are():
    plain = several([60.0, 50.0, 40.0], u=0.1, step=0.1, way=VELOCITY_PRESSURE)
    beside = several([60.0, 0.0, -0.1], u=0.1, step=0.1, way=VELOCITY_PRESSURE)
    alone, together = (flows(readings(*ones, curves=[ABOVE_ZERO])) for ones in ((plain, plain), (plain, beside)))
    assert together.flow[0] == alone.flow[0]
    for before, after in zip(alone.contributions, together.contributions, strict=True):
        assert after.parts[0].tolist() == before.parts[0].tolist(), before.name


# --- how often U covers ---------------------------------------------------------------------------------------------------------

WORLDS = 2_000
TRUE = (0.0, 0.1, 0.25, 0.5, 1.0, 1.5, 2.0, 3.0, 5.0)  # velocity pressure at the low points, in u(dp)
COVERAGE_PROBABILITY = math.erf(math.sqrt(2))


def drawn_traverses(points, low, true, common):
    """True mean velocities, and traverses of one pass: `low` points about a true pressure, others at 16 to 30 u, u(dp) = 0.5 Pa."""
    chance = np.random.default_rng([20261129, points, int(100 * true), common])
    pressure = np.column_stack(
        [true * chance.uniform(0.5, 1.5, (WORLDS, low)), chance.uniform(16, 30, (WORLDS, points - low))]
    )
    error = chance.standard_normal((WORLDS, 1) if common else pressure.shape)
    u = 0.5
    velocity = np.sqrt(2 * u * pressure / RHO).mean(axis=1)
    indicated = u * (pressure + error)
    stands = (indicated >= -2 * u).all(axis=1)  # others are refused
    said = {"way": VELOCITY_PRESSURE, "u": 0.0 if common else u}
    curve = correction(nodes=((-1e3, u), (1e6, u))) if common else correction()
    return velocity[stands], readings(*(several(row, **said) for row in indicated[stands]), curves=[curve])


@pytest.mark.parametrize("common", [False, True], ids=["errors of each point", "one error of the zero"])
@pytest.mark.parametrize(("points", "low"), [(12, 3), (16, 4), (20, 6)])
def test_u_covers_what_is_true_of_traverses_with_low_points(points, low, common):
    for true in TRUE:
        velocity, arrays = drawn_traverses(points, low, true, common)
        found = flows(arrays)
        u = combine(found.velocity_contributions).standard_uncertainty
        covered = np.abs(found.velocity - velocity) <= 2 * u
        scatter = math.sqrt(COVERAGE_PROBABILITY * (1 - COVERAGE_PROBABILITY) / velocity.size)
        assert covered.mean() >= COVERAGE_PROBABILITY - 3 * scatter, (true, covered.mean())


def test_a_point_below_the_lowest_comparison_has_its_trial_there_too():
    """An error of the indication moves the pressure by as much, whatever the slope of the curve above."""
    one = one_reading(readings(several([0.0, 60.0], way=VELOCITY_PRESSURE), curves=[ABOVE_ZERO]), 0)
    moved = next(one.points(Errors(1, {("repeatability", 0): np.array([1.0])})))
    assert moved == pytest.approx([math.sqrt(2 * 1.2 / RHO)], rel=1e-14)
