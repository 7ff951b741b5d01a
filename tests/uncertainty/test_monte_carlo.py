"""Propagation of distributions by a Monte Carlo method (JCGM 101:2008, 7).

Judges from outside: closed forms, the law of propagation for linear models, and order statistics written plainly.
"""

import math
import statistics
import tracemalloc

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.errors import CalibError
from calib.uncertainty.distributions import Normal, Rectangular, StudentT
from calib.uncertainty.joint_distributions import MultivariateNormal
from calib.uncertainty.monte_carlo import (
    MAXIMUM_TRIALS,
    CoverageInterval,
    _Blocks,
    _figures,
    _tails,
    block_size,
    numerical_tolerance,
    propagate_distributions,
)
from calib.uncertainty.propagation import propagate

seeds = st.integers(0, 2**32)
NORMAL = [Normal(10.0, 2.0)]


def same(x):
    return x


def twenty_thousand(model, inputs, seed=1, **more):
    return propagate_distributions(model, inputs, seed=seed, trials=20_000, **more)


@given(
    st.lists(st.tuples(st.floats(-5, 5), st.floats(-9, 9), st.floats(0.1, 3)), min_size=1, max_size=4),
    seeds,
)
@settings(max_examples=30)
def test_a_linear_model_with_normal_inputs_agrees_with_the_law(terms, seed):
    c, means, u = np.array(terms).T
    expected = math.sqrt(propagate(c[np.newaxis], np.diag(u**2))[0, 0])
    if expected < 1e-3:
        return
    found = twenty_thousand(
        lambda *x: sum(one * each for one, each in zip(c, x, strict=True)),
        [Normal(mean, one) for mean, one in zip(means, u, strict=True)],
        seed,
    )
    # Six standard deviations: u/sqrt(M), u/sqrt(2 M), and 2.8 u/sqrt(M) for the ends of 95.45 %.
    scatter = expected / math.sqrt(20_000)
    assert found.value == pytest.approx(c @ means, abs=6 * scatter)
    assert found.standard_uncertainty == pytest.approx(expected, abs=6 * scatter / math.sqrt(2))
    assert found.symmetric_interval.low == pytest.approx(c @ means - 2 * expected, abs=6 * 2.8 * scatter)
    assert found.symmetric_interval.high == pytest.approx(c @ means + 2 * expected, abs=6 * 2.8 * scatter)


@given(seeds, st.sampled_from([np.exp, np.square, np.abs, same]), st.sampled_from([0.5, 0.9, 0.9545, 0.99]))
@settings(max_examples=30)
def test_the_shortest_interval_is_never_longer_than_the_symmetric_one(seed, model, probability):
    found = twenty_thousand(model, [Normal(0.5, 1.0)], seed, coverage_probability=probability)
    assert found.shortest_interval.half_length <= found.symmetric_interval.half_length


@given(seeds)
@settings(max_examples=15)
def test_the_same_seed_gives_the_same_result(seed):
    first, second = (twenty_thousand(np.exp, [StudentT(0.0, 0.1, 5.0)], seed) for _ in range(2))
    assert first.value == second.value
    assert first.symmetric_interval == second.symmetric_interval
    assert np.array_equal(first.sample, second.sample)


def test_another_seed_gives_another_sample():
    assert not np.array_equal(twenty_thousand(same, NORMAL, 1).sample, twenty_thousand(same, NORMAL, 2).sample)


@pytest.mark.parametrize(
    ("trials", "probability"),
    [
        (20_000, 0.95),
        (20_001, 0.9545),
        (34_567, 0.9),
        (10_000, 0.99),
        (50_000, 0.6827),
        (12_345, 0.3),
        (10_036, 0.93),
        (10_064, 0.93),
    ],
)
def test_intervals_and_figures_are_those_of_the_sample(trials, probability):
    found = propagate_distributions(np.exp, NORMAL, seed=3, coverage_probability=probability, trials=trials)
    y = [float(one) for one in found.sample]
    meant = {0.9545: math.erf(math.sqrt(2)), 0.6827: math.erf(math.sqrt(0.5))}.get(probability, probability)
    q = int(meant * trials + 0.5)
    r = (trials - q) / 2 if (trials - q) % 2 == 0 else (trials - q + 1) // 2
    widths = [y[place + q] - y[place] for place in range(trials - q)]
    place = widths.index(min(widths))
    assert len(y) == found.trials == trials
    assert found.symmetric_interval == CoverageInterval(y[int(r) - 1], y[int(r) - 1 + q])
    assert found.shortest_interval == CoverageInterval(y[place], y[place + q])
    mean = math.fsum(y) / trials
    squares = math.fsum((one - mean) ** 2 for one in y)
    assert found.value == pytest.approx(mean, rel=1e-12)
    assert found.standard_uncertainty == pytest.approx(math.sqrt(squares / (trials - 1)), rel=1e-12)


def test_the_sample_is_in_rising_order_and_cannot_be_written_to():
    sample = twenty_thousand(same, NORMAL).sample
    assert np.all(np.diff(sample) >= 0)
    with pytest.raises(ValueError, match="read-only"):
        sample[0] = 0.0


def test_the_adaptive_procedure_stops_once_twice_each_scatter_is_below_delta():
    found = propagate_distributions(same, NORMAL, seed=1, significant_digits=2, tolerance_fraction=0.2)
    assert found.stabilised
    assert found.delta == pytest.approx(0.2 * 0.05)
    assert np.all(2 * found.scatter <= found.delta)
    # One block earlier it was not yet so.
    before = propagate_distributions(
        same, NORMAL, seed=1, tolerance_fraction=0.2, trials=found.trials - block_size(0.9545)
    )
    assert not before.stabilised


def test_the_adaptive_procedure_takes_at_least_ten_blocks():
    found = propagate_distributions(same, NORMAL, seed=1, significant_digits=1)
    assert found.trials == 100_000


def test_as_many_trials_run_at_once_give_what_the_adaptive_procedure_found():
    adaptive = propagate_distributions(same, NORMAL, seed=8)
    fixed = propagate_distributions(same, NORMAL, seed=8, trials=adaptive.trials)
    assert np.array_equal(adaptive.sample, fixed.sample)
    assert np.array_equal(adaptive.scatter, fixed.scatter)


def test_as_many_trials_as_are_asked_for_run_though_ten_blocks_would_do():
    assert propagate_distributions(same, NORMAL, seed=1, significant_digits=1, trials=110_000).trials == 110_000


def test_the_figures_of_a_block_are_its_mean_deviation_and_the_ends_of_its_symmetric_interval():
    # JCGM 101, 7.7.2 with p = 0.9, M = 100: q = 90, r = (M - q)/2 = 5, and the 5th and the 95th of 0, 3, 6, ...
    values = 3.0 * np.random.default_rng(5).permutation(100)
    expected = (statistics.fmean(values), statistics.stdev(values), 12.0, 282.0)
    assert _figures(values, 0.9) == pytest.approx(expected, rel=1e-12)


def test_more_digits_take_more_trials():
    two, three = (propagate_distributions(same, NORMAL, seed=1, significant_digits=digits) for digits in (2, 3))
    assert three.trials > 10 * two.trials


def test_a_maximum_of_trials_is_kept_and_owned_up_to():
    found = propagate_distributions(same, NORMAL, seed=1, significant_digits=4, maximum_trials=200_000)
    assert found.trials == 200_000
    assert not found.stabilised


def test_a_standard_uncertainty_that_does_not_exist_never_settles():
    # t with two degrees of freedom has an infinite variance: its sample's grows for ever. The interval is there.
    found = propagate_distributions(same, [StudentT(0.0, 1.0, 2.0)], seed=1, maximum_trials=1_000_000)
    assert not found.stabilised
    t_95_45 = 4.526536687  # GUM Table G.2 with more digits
    assert found.symmetric_interval.high == pytest.approx(t_95_45, abs=0.1)


def test_the_stated_scatter_is_that_of_repeated_runs():
    runs = [propagate_distributions(np.exp, [Normal(0, 0.5)], seed=seed, trials=100_000) for seed in range(40)]
    found = np.array(
        [(one.value, one.standard_uncertainty, one.symmetric_interval.low, one.symmetric_interval.high) for one in runs]
    )
    stated = np.sqrt(np.mean([one.scatter**2 for one in runs], axis=0))
    assert np.std(found, axis=0, ddof=1) == pytest.approx(stated, rel=0.5)


def blocks(apart, u=2.0):
    """Two blocks of one size, whose means lie apart: the average of the means scatters by half of that (7.9.4 g)."""
    figures = np.array([[0.0, u, -4.0, 4.0], [apart, u, -4.0, 4.0]])
    return _Blocks(np.array([10_000, 10_000]), figures)


@pytest.mark.parametrize(("apart", "stable"), [(0.0498, True), (0.0502, False)])
def test_figures_are_stable_where_twice_their_scatter_is_at_most_the_tolerance(apart, stable):
    # u = 2.0 to two digits: delta = 0.05.
    assert blocks(apart).stable(2, 1.0) is stable
    assert blocks(5 * apart).stable(2, 5.0) is stable
    assert blocks(10 * apart).stable(1, 1.0) is stable


def test_figures_whose_scatter_is_just_half_of_the_tolerance_are_stable():
    # Powers of two: 2 x 0.5 is 2 x 0.5, to the bit (7.9.4 j: does not exceed).
    found = blocks(1.0)
    assert found.scatter().tolist() == [0.5, 0.0, 0.0, 0.0]
    assert found.delta(1, 2.0) == 1.0
    assert found.stable(1, 2.0)


def test_mean_and_deviation_of_blocks_of_unlike_sizes_are_those_of_all_their_values():
    first, second, third = [1.0, 4.0, 6.0], [2.0, 9.0], [5.0, 3.0, 8.0, 7.5]
    figures = np.array([[np.mean(block), np.std(block, ddof=1), 0.0, 0.0] for block in (first, second, third)])
    found = _Blocks(np.array([3, 2, 4]), figures).mean_and_deviation()
    assert found == pytest.approx((statistics.fmean(first + second + third), statistics.stdev(first + second + third)))


@pytest.mark.parametrize("tail", [1, 3, 10, 40, 60, 99])
def test_as_many_of_the_least_and_of_the_largest_values_come_in_order(tail):
    values = np.random.default_rng(5).permutation(100).astype(float)
    least, largest = _tails(values, tail)
    assert least.tolist() == list(range(tail))
    assert largest.tolist() == list(range(100 - tail, 100))
    assert sorted(values) == list(range(100))


def test_an_interval_is_as_long_as_its_ends_are_apart():
    assert CoverageInterval(1.5, 9.0).half_length == 3.75


def test_what_is_not_said_is_two_digits_the_whole_tolerance_and_ten_million_trials_at_most():
    # u of 32 to two digits: half a unit of the last one.
    assert numerical_tolerance(32.0) == 0.5
    found = propagate_distributions(same, [Normal(5.0, 32.0)], seed=1, trials=20_000)
    assert (found.delta, found.coverage_probability) == (0.5, 0.9545)
    assert MAXIMUM_TRIALS == 10_000_000


def test_one_block_says_nothing_of_its_scatter():
    found = propagate_distributions(same, NORMAL, seed=1, trials=10_000)
    assert found.scatter.shape == (4,)
    assert np.isnan(found.scatter).all()
    assert not found.stabilised


def test_0_9545_means_two_standard_deviations():
    found = propagate_distributions(same, NORMAL, seed=1, trials=4_000_000)
    assert found.symmetric_interval.coverage_factor(found.standard_uncertainty) == pytest.approx(2.0, abs=0.004)


def test_a_joint_distribution_gives_the_model_one_array_for_each_quantity():
    # x1 and x2 fully correlated: their difference has no uncertainty, their sum twice the one; x3 adds 1 in squares.
    joint = MultivariateNormal(np.array([5.0, 3.0]), np.array([[4.0, 4.0], [4.0, 4.0]]))
    difference = twenty_thousand(lambda x1, x2, x3: x1 - x2 + x3, [joint, Normal(0.0, 1.0)])
    total = twenty_thousand(lambda x1, x2, x3: x1 + x2 + x3, [joint, Normal(0.0, 1.0)])
    assert difference.value == pytest.approx(2.0, abs=0.05)
    assert difference.standard_uncertainty == pytest.approx(1.0, rel=0.03)
    assert total.standard_uncertainty == pytest.approx(math.sqrt(17), rel=0.03)


def test_memory_is_that_of_the_model_values_and_a_block():
    tracemalloc.start()
    propagate_distributions(lambda *x: sum(x), [Rectangular(0.0, 1.0)] * 8, seed=1, trials=1_000_000)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert peak < 8e6 + 3e6


@pytest.mark.parametrize(
    ("probability", "size"),
    [(0.95, 10_000), (0.9545, 10_000), (0.99, 10_000), (0.9973, 37_040), (0.999, 100_000)],
)
def test_a_block_has_ten_thousand_trials_or_what_the_probability_asks_for(probability, size):
    assert block_size(probability) == size


@pytest.mark.parametrize(
    ("u", "digits", "delta"),
    # 7.9.2: u = c 10^l with c of so many digits, delta = 10^l / 2. Worked by hand.
    [
        (0.00035, 2, 0.000005),
        (2.0, 1, 0.5),
        (2.0, 2, 0.05),
        (2.0, 3, 0.005),
        (32.0, 2, 0.5),
        (10.1, 3, 0.05),
        (9.96, 2, 0.5),  # it is stated as 10
        (9.94, 2, 0.05),
        (1200.0, 2, 50.0),
        (5e-9, 2, 5e-11),
    ],
)
def test_the_numerical_tolerance_is_half_a_unit_of_the_last_digit_of_u(u, digits, delta):
    assert numerical_tolerance(u, digits) == delta


@given(st.floats(1e-12, 1e12), st.integers(1, 4))
def test_the_numerical_tolerance_goes_with_powers_of_ten(u, digits):
    # 10^digits half units and more make u, unless u is rounded up to the next power of ten.
    ratio = u / numerical_tolerance(u, digits)
    assert (2 - 1e-9) * 10 ** (digits - 1) - 1 <= ratio < (2 + 1e-9) * 10**digits


@pytest.mark.parametrize("u", [0.0, -1.0, math.nan, math.inf])
def test_an_uncertainty_without_significant_digits_has_no_tolerance(u):
    with pytest.raises(CalibError, match=str(u)):
        numerical_tolerance(u)


def test_without_a_significant_digit_there_is_no_tolerance():
    with pytest.raises(CalibError, match="to 0 significant"):
        numerical_tolerance(2.0, 0)


def test_a_model_that_ignores_its_inputs_is_refused():
    with pytest.raises(CalibError, match=r"u = 0\.0"):
        twenty_thousand(np.zeros_like, NORMAL)


def test_a_model_that_is_left_by_its_inputs_is_refused_with_the_number_of_trials():
    with pytest.raises(CalibError, match=r"\d+ value\(s\) that are no finite numbers in 10000 trials"):
        twenty_thousand(np.sqrt, [Normal(0.0, 1.0)])


@pytest.mark.parametrize("model", [np.sum, lambda x: x[:-1], lambda x: np.column_stack([x, x])])
def test_a_model_must_give_one_value_for_each_trial(model):
    with pytest.raises(CalibError, match="shape"):
        twenty_thousand(model, NORMAL)


@pytest.mark.parametrize(
    ("wrong", "words"),
    [
        ({"trials": 9_999}, "9999 trials: at least 10000"),
        ({"maximum_trials": 50_000, "coverage_probability": 0.999}, "50000 trials: at least 100000"),
        ({"coverage_probability": 1.0}, r"1\.0"),
        ({"coverage_probability": 0.0}, r"0\.0"),
        ({"significant_digits": 0}, r"^coverage probability 0\.9545, 0 significant"),
        ({"tolerance_fraction": 0.0}, r"0\.0 of the numerical tolerance"),
    ],
)
def test_numbers_that_allow_no_run_are_refused(wrong, words):
    with pytest.raises(CalibError, match=words):
        propagate_distributions(same, NORMAL, seed=1, **wrong)


def test_a_coverage_factor_is_half_the_length_of_the_interval_over_u():
    assert CoverageInterval(-1.5, 4.5).coverage_factor(2.0) == pytest.approx(1.5)
