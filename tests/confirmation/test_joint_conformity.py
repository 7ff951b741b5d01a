"""The probability that all results conform at once: against quadrature, scipy's multivariate normal distribution, and by reason."""

import math

import numpy as np
import pytest
from scipy import integrate, stats

from calib.confirmation.conformity import ToleranceIntervals, probability_of_conformity
from calib.confirmation.joint_conformity import probability_of_all, standard_limits


def limits(lower, upper):
    return ToleranceIntervals(np.array(lower, dtype=float), np.array(upper, dtype=float))


def shared(size, correlation):
    """Loadings and own parts of results of which each two have one correlation."""
    return np.full((size, 1), math.sqrt(correlation)), np.full(size, math.sqrt(1 - correlation))


def by_quadrature(lower, upper, correlation):
    """The common error integrated over, by scipy's quadrature: for a given one the results are independent."""
    a, b = math.sqrt(correlation), math.sqrt(1 - correlation)

    def given(f):
        inside = stats.norm.cdf((np.array(upper) - a * f) / b) - stats.norm.cdf((np.array(lower) - a * f) / b)
        return stats.norm.pdf(f) * np.prod(inside)

    return integrate.quad(given, -9, 9, limit=400, epsabs=1e-12)[0]


def test_results_that_share_nothing_conform_at_once_with_the_product():
    single = stats.norm.cdf([1.0, 2.0, 0.5]) - stats.norm.cdf([-2.0, -1.0, -0.1])
    found = probability_of_all(limits([-2, -1, -0.1], [1, 2, 0.5]), np.zeros((3, 0)), np.ones(3))
    assert found.probability == pytest.approx(np.prod(single), rel=1e-14)
    assert found.numerical_error == 0


@pytest.mark.parametrize("correlation", [0.05, 0.4, 0.8, 0.99])
def test_one_common_error_agrees_with_quadrature_within_the_error_that_is_stated(correlation):
    lower, upper = [-2.5, -0.4, -1.5, -math.inf, -3.0], [0.8, 3.1, 1.5, 1.2, math.inf]
    found = probability_of_all(limits(lower, upper), *shared(5, correlation))
    assert found.numerical_error <= 1e-3
    expected = by_quadrature(lower, upper, correlation)
    assert found.probability == pytest.approx(expected, abs=max(2 * found.numerical_error, 1e-6))


def test_outlets_near_opposite_limits_agree_with_quadrature():
    """Half of 12 results lie near the upper limit, half near the lower one, and most of their error is one and the same."""
    lower, upper = [-0.6] * 6 + [-3.4] * 6, [3.4] * 6 + [0.6] * 6
    found = probability_of_all(limits(lower, upper), *shared(12, 0.8))
    assert found.probability == pytest.approx(by_quadrature(lower, upper, 0.8), abs=1e-3)


def test_two_results_near_opposite_limits_lose_and_two_near_one_limit_gain_by_what_they_share():
    apart, together = limits([-0.5, -9], [9, 0.5]), limits([-0.5, -0.5], [9, 9])
    product = stats.norm.cdf(0.5) ** 2
    assert probability_of_all(apart, *shared(2, 0.7)).probability < product - 0.05
    assert probability_of_all(together, *shared(2, 0.7)).probability > product + 0.05


def test_several_common_errors_agree_with_the_multivariate_normal_distribution():
    """scipy.stats.multivariate_normal, which works it out in another way (A. Genz, MVNDST)."""
    drawn = np.random.default_rng(7)
    loadings = drawn.normal(size=(8, 4)) * np.array([1.0, 0.8, 0.5, 0.3])
    whole = np.sqrt(np.sum(loadings**2, axis=1) + 0.5)
    loadings, own = loadings / whole[:, np.newaxis], math.sqrt(0.5) / whole
    lower, upper = -drawn.uniform(0.3, 2.5, 8), drawn.uniform(0.3, 2.5, 8)
    covariance = loadings @ loadings.T + np.diag(own**2)
    expected = stats.multivariate_normal(np.zeros(8), covariance, maxpts=4_000_000, abseps=1e-6, releps=1e-6, seed=1)
    found = probability_of_all(limits(lower, upper), loadings, own)
    assert found.probability == pytest.approx(expected.cdf(upper, lower_limit=lower), abs=5e-4)
    assert found.numerical_error <= 1e-3


def test_results_that_share_everything_conform_with_the_least_sure_of_them():
    found = probability_of_all(limits([-9] * 3, [0.3, 1.0, 2.0]), np.ones((3, 1)), np.zeros(3))
    assert found.probability == pytest.approx(stats.norm.cdf(0.3), abs=2e-3)


def test_the_same_question_has_the_same_answer():
    asked = limits([-1.0] * 30, [1.2] * 30)
    assert probability_of_all(asked, *shared(30, 0.5)) == probability_of_all(asked, *shared(30, 0.5))


@pytest.mark.parametrize("dof", [1.0, 3.7, 40.0, math.inf])
def test_one_result_conforms_with_the_probability_that_is_printed_beside_it(dof):
    value, u, between = np.array([98.0]), np.array([4.0]), limits([90.0], [105.0])
    scaled = standard_limits(value, u, np.array([dof]), between)
    alone = probability_of_conformity(value, u, between, np.array([dof]))
    found = probability_of_all(scaled, np.zeros((1, 0)), np.ones(1))
    assert found.probability == pytest.approx(alone[0], rel=1e-12)


def test_a_limit_that_there_is_none_of_stays_infinitely_far():
    scaled = standard_limits(np.array([5.0]), np.array([1.0]), np.array([4.0]), limits([3.0], [math.inf]))
    assert scaled.upper[0] == math.inf
    assert stats.norm.cdf(scaled.lower[0]) == pytest.approx(stats.t.cdf(-2.0, 4.0), rel=1e-12)
