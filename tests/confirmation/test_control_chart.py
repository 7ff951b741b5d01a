"""Control of a check standard: limits that raise a false alarm as often as they say, and a weighted mean that sees a small shift.

Expected rates from the normal process that the values are drawn from; run lengths of Shewhart and weighted-mean charts for a shift
of one standard deviation: 44 and about 10 values (e.g. D. Montgomery, Statistical Quality Control, from memory).
"""

import numpy as np
import pytest
from scipy import stats

from calib.confirmation.control_chart import (
    FEWEST_VALUES,
    MOST_VALUES,
    Baseline,
    ControlLimits,
    baseline,
    in_trend,
    prediction_limits,
    shewhart_limits,
    t_limits,
    weighted_mean_limits,
    weighted_means,
)
from calib.errors import CalibError

KNOWN = Baseline(10**9, 5.0, 0.1)


def ends(limits):
    return [limits.low, limits.centre, limits.high]


def test_limits_of_a_long_baseline_are_three_standard_deviations():
    for limits in (shewhart_limits(KNOWN), t_limits(KNOWN), prediction_limits(KNOWN)):
        assert ends(limits) == pytest.approx([4.7, 5.0, 5.3], abs=1e-4)


@pytest.mark.parametrize("count", [10, 25])
@pytest.mark.parametrize("alpha", [0.0027, 0.05])
def test_a_false_alarm_is_as_rare_as_it_says_however_short_the_baseline(count, alpha):
    trials = 40_000
    values = np.random.default_rng(count).normal(5.0, 0.1, (trials, count + 1))
    mean, s = values[:, :-1].mean(axis=1), values[:, :-1].std(axis=1, ddof=1)
    half = prediction_limits(Baseline(count, 0.0, 1.0), alpha).high
    alarms = np.mean(np.abs(values[:, -1] - mean) > half * s)
    assert alarms == pytest.approx(alpha, abs=4.0 * np.sqrt(alpha / trials))


def test_student_s_limits_are_those_of_the_t_distribution():
    base = baseline([4.9, 5.0, 5.1, 5.2, 4.8])
    half = stats.t.ppf(0.975, 4) * np.std([4.9, 5.0, 5.1, 5.2, 4.8], ddof=1)
    assert ends(t_limits(base, 0.05)) == pytest.approx([5.0 - half, 5.0, 5.0 + half])


def test_one_value_makes_no_baseline():
    with pytest.raises(CalibError, match="1 value"):
        baseline([5.0])


def test_weighted_means_start_from_the_mean_of_the_baseline():
    assert weighted_means([6.0, 6.0], KNOWN, 0.5).tolist() == [5.5, 5.75]


def run_length(values, limits):
    outside = [not limits.holds(one) for one in values]
    return outside.index(True) + 1


def test_a_small_shift_is_seen_by_the_weighted_mean_long_before_a_single_value():
    generator = np.random.default_rng(11)
    single, weighted = [], []
    for _ in range(400):
        values = generator.normal(5.1, 0.1, 900)
        single.append(run_length(values, shewhart_limits(KNOWN)))
        weighted.append(run_length(weighted_means(values, KNOWN), weighted_mean_limits(KNOWN)))
    assert np.mean(single) == pytest.approx(43.9, rel=0.2)
    assert np.mean(weighted) == pytest.approx(10.0, rel=0.15)


@pytest.mark.parametrize(("value", "held"), [(4.7, True), (5.3, True), (5.3001, False), (4.6999, False)])
def test_a_value_on_a_limit_is_in_control(value, held):
    assert shewhart_limits(Baseline(9, 5.0, 0.1), 3.0 * (1 + 1e-12)).holds(value) is held


def test_both_limits_are_within_them():
    assert [ControlLimits(1.0, 2.0, 3.0).holds(value) for value in (0.999, 1.0, 3.0, 3.001)] == [
        False,
        True,
        True,
        False,
    ]


def test_ten_values_make_a_baseline_which_grows_to_twenty_five():
    """As `calib help checks` says; the weighted mean has a fifth of the last value."""
    assert [FEWEST_VALUES, MOST_VALUES] == [10, 25]
    assert weighted_means([10.0], Baseline(10, 0.0, 1.0)) == pytest.approx([2.0], rel=1e-12)


def test_two_values_tell_how_they_scatter():
    assert baseline([1.0, 3.0]) == Baseline(2, 2.0, pytest.approx(2.0**0.5, rel=1e-15))


def test_the_limits_of_the_next_value_by_hand():
    """t of 3 degrees of freedom at 97.5 % is 3.18244631 (any table has 3.182); 3.18244631 * 0.1 * sqrt(1 + 1/4) = 0.35580831."""
    limits = prediction_limits(Baseline(4, 5.0, 0.1), 0.05)
    assert ends(limits) == pytest.approx([5.0 - 0.35580831, 5.0, 5.0 + 0.35580831], rel=1e-8)


def test_the_limits_of_the_weighted_mean_by_hand():
    """The root of 0.2/(2 - 0.2) is 1/3: three standard deviations of 0.3, a third of them; of 0.5/1.5 two and a root of a third."""
    base = Baseline(10, 5.0, 0.3)
    assert ends(weighted_mean_limits(base)) == pytest.approx([4.7, 5.0, 5.3], rel=1e-12)
    half = 2.0 * 0.3 / 3.0**0.5
    assert ends(weighted_mean_limits(base, 0.5, 2.0)) == pytest.approx([5.0 - half, 5.0, 5.0 + half], rel=1e-12)


# ISO 7870-2:2013, from memory: a trend is seven points in a row that rise, or that fall.
@pytest.mark.parametrize(
    ("values", "among"),
    [
        ((1, 2, 3, 4, 5, 6, 7), "1111111"),
        ((1, 2, 3, 4, 5, 6), "000000"),
        ((9, 1, 2, 3, 4, 5, 6, 7, 0), "011111110"),
        ((7, 6, 5, 4, 3, 2, 1, 9, 1), "111111100"),
        ((1, 2, 3, 4, 4, 5, 6, 7), "00000000"),
        ((1, 2, 3, 4, 5, 6, 7, 6, 5, 4, 3, 2, 1), "1111111111111"),
        ((5,) * 8, "00000000"),
        ((5,), "0"),
        ((), ""),
    ],
)
def test_a_trend_is_seven_values_in_a_row_that_rise_or_fall(values, among):
    assert "".join(str(int(each)) for each in in_trend(values)) == among


def test_chance_alone_seldom_makes_a_trend():
    """Of seven values in chance order two orders of 7! = 5040 rise or fall throughout."""
    draws = np.random.default_rng(1).standard_normal((100_000, 7))
    assert sum(in_trend(row).all() for row in draws) / 100_000 == pytest.approx(2 / 5040, rel=0.3)
