"""Components of variance: by hand, against scipy's analysis of variance, and against a process that is known."""

import math

import numpy as np
import pytest
from scipy.stats import f_oneway

from calib.errors import CalibError
from calib.uncertainty.components import components_of, components_of_variance


def test_two_days_by_hand():
    # Means 2 and 5, s 1 and 1 of 3 each: s_a^2 = 3 (1.5^2 + 1.5^2) = 13.5, s_b^2 = 1, s_B^2 = 12.5/3; u^2 = 13.5/6.
    found = components_of([1.0, 4.0, 2.0, 5.0, 3.0, 6.0], ["a", "b"] * 3)
    assert (found.groups, found.observations, found.mean) == (2, 6, 3.5)
    assert (found.within, found.f) == (pytest.approx(1.0, rel=1e-12), pytest.approx(13.5, rel=1e-12))
    assert found.between == pytest.approx(math.sqrt(12.5 / 3), rel=1e-12)
    assert found.standard_uncertainty == pytest.approx(1.5, rel=1e-12)
    assert round(found.quantile, 3) == 7.709  # F 0.95 with 1 and 4 degrees of freedom, any table
    assert found.differ


def test_days_of_unequal_size_by_hand():
    # 1, 3 (mean 2, s^2 2), 4, 5, 6 (mean 5, s^2 1), 8 alone: mean 4.5, N = 6.
    # s_a^2 = (2 * 6.25 + 3 * 0.25 + 12.25)/2 = 12.75; s_b^2 = (2 + 2)/3; K_0 = (6 - 14/6)/2 = 11/6.
    found = components_of([1.0, 3.0, 4.0, 5.0, 6.0, 8.0], [1, 1, 2, 2, 2, 3])
    between, within = (12.75 - 4 / 3) / (11 / 6), 4 / 3
    assert found.mean == 4.5
    assert found.f == pytest.approx(12.75 / within, rel=1e-12)
    assert (found.between, found.within) == pytest.approx((math.sqrt(between), math.sqrt(within)), rel=1e-12)
    assert found.standard_uncertainty == pytest.approx(math.sqrt(between * 14 / 36 + within / 6), rel=1e-12)


def test_the_deviation_of_one_observation_counts_for_nothing():
    """The groups of the test above; of the last nobody can say how it scatters."""
    found = components_of_variance([2.0, 5.0, 8.0], [math.sqrt(2.0), 1.0, math.nan], [2, 3, 1])
    assert found.within == pytest.approx(math.sqrt(4 / 3), rel=1e-12)


def test_f_is_that_of_scipys_analysis_of_variance():
    generator = np.random.default_rng(20261129)
    lots = [generator.normal(day, 1.0, size) for day, size in enumerate((4, 7, 2, 9, 5))]
    found = components_of(np.concatenate(lots).tolist(), np.repeat(np.arange(5), [lot.size for lot in lots]).tolist())
    assert found.f == pytest.approx(f_oneway(*lots).statistic, rel=1e-12)


def test_days_that_differ_no_more_than_scatter_have_no_component():
    found = components_of([1.0, 3.0, 1.5, 2.5], [1, 1, 2, 2])  # both days have the mean 2
    assert (found.between, found.f, found.differ) == (0.0, 0.0, False)
    assert found.standard_uncertainty == pytest.approx(found.within / 2, rel=1e-12)


@pytest.mark.parametrize(("second", "f", "differ"), [(1.0, 0.0, False), (2.0, math.inf, True)])
def test_what_never_scatters_within_a_day(second, f, differ):
    found = components_of([1.0, 1.0, second, second], [1, 1, 2, 2])
    assert (found.within, found.f, found.differ) == (0.0, f, differ)


def test_known_components_are_recovered():
    generator = np.random.default_rng(20261129)
    days, trials = 8, 2000
    days_off = generator.normal(0.0, 0.3, (trials, days, 1))
    x = days_off + generator.normal(0.0, 0.2, (trials, days, 4))
    found = [components_of_variance(one.mean(axis=1), one.std(axis=1, ddof=1), [4] * days) for one in x]
    # s_a^2 has the expectation 0.2^2 + 4 * 0.3^2 and so s_B^2 that of 0.3^2; its relative scatter is sqrt(2/7) in one trial.
    scatter = 4 * math.sqrt(2 / 7) * 0.1 / math.sqrt(trials)
    assert np.mean([one.between**2 for one in found]) == pytest.approx(0.09, abs=scatter)
    assert np.mean([one.within**2 for one in found]) == pytest.approx(0.04, rel=4 * math.sqrt(2 / 24 / trials))


@pytest.mark.parametrize(
    ("values", "groups"), [([1.0, 2.0], [1, 1]), ([1.0, 2.0, 3.0], [1, 2, 3]), ([], []), ([1.0], [1])]
)
def test_too_few_groups_or_observations_are_refused(values, groups):
    with pytest.raises(CalibError, match="at least 2 groups are needed"):
        components_of(values, groups)


def test_a_group_without_observations_is_refused():
    with pytest.raises(CalibError, match="at least 2 groups"):
        components_of_variance([1.0, 2.0], [0.1, 0.1], [3, 0])
