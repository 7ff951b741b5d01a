"""The probability that all results conform at once: against quadrature, scipy's multivariate normal distribution, and by reason."""

import math
import statistics

import numpy as np
import pytest
from scipy import integrate, special, stats

from calib.confirmation import joint_conformity
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


# --- the lattice itself, so that one record has one answer in every later version -------------------------------------------------

SHARES = np.array([[0.8, 0.3, 0.1], [0.5, -0.6, 0.2], [-0.4, 0.5, 0.5], [0.7, 0.2, -0.4]])


def of_four(shared_variance, width):
    """Limits, loadings and own parts of four results whose common factors make up one share of their variance."""
    loadings = SHARES / np.linalg.norm(SHARES, axis=1)[:, np.newaxis] * math.sqrt(shared_variance)
    lower, upper = width * np.array([-1.0, -0.8, -1.2, -2.0]), width * np.array([1.3, 1.0, 0.7, 1.0])
    return limits(lower, upper), loadings, np.full(4, math.sqrt(1.0 - shared_variance))


# 2048 values of Phi for each standard deviation, six to either side, with straight lines between.
TABLE = np.linspace(-6.0, 6.0, 12 * 2048 + 1)


def tabulated(x):
    return np.interp(x, TABLE, special.ndtr(TABLE))


def by_lattice(between, loadings, own, points, phi=special.ndtr):
    """Richtmyer's lattice, k sqrt(prime) and a shift modulo 1, folded at the middle; three standard errors of its eight means."""
    left, size, _ = np.linalg.svd(loadings, full_matrices=False)
    root, means = np.sqrt(np.array([2.0, 3.0, 5.0, 7.0][: size.size])), []
    for shift in np.random.Generator(np.random.PCG64(20261129)).random((8, size.size)):
        place = (np.arange(1, points + 1)[:, np.newaxis] * root + shift) % 1.0
        given = special.ndtri(np.abs(2.0 * place - 1.0)) @ (left * size).T
        inside = phi((between.upper - given) / own) - phi((between.lower - given) / own)
        means.append(float(np.mean(np.prod(inside, axis=1))))
    return statistics.mean(means), 3.0 * statistics.stdev(means) / math.sqrt(8.0)


@pytest.mark.parametrize(
    ("shared_variance", "width", "points"),
    [(0.3, 1.5, 1024), (0.75, 2.0, 1024), (0.75, 1.5, 2048), (0.9, 1.0, 4096), (0.95, 2.0, 4096)],
)
def test_points_are_doubled_until_the_error_is_a_thousandth_and_twice_at_most(shared_variance, width, points):
    """Errors of 0.25, 0.95 and 1.03 thousandths after 1024 points; of the last 1.6 after 4096.

    The table of Phi is within 1e-8 for each result.
    """
    asked = of_four(shared_variance, width)
    found = probability_of_all(*asked)
    assert [found.probability, found.numerical_error] == pytest.approx(by_lattice(*asked, points), abs=2e-8)


def test_phi_is_that_of_the_table():
    asked = of_four(0.75, 1.5)
    found = probability_of_all(*asked)
    by_table = by_lattice(*asked, 2048, tabulated)
    assert [found.probability, found.numerical_error] == pytest.approx(by_table, abs=1e-12)


def test_an_error_as_large_as_is_allowed_is_small_enough(monkeypatch):
    """One of 0.25 thousandths after 1024 points."""
    asked = of_four(0.3, 1.5)
    found = probability_of_all(*asked)
    monkeypatch.setattr(joint_conformity, "_SMALL_ENOUGH", found.numerical_error)
    assert probability_of_all(*asked) == found


def test_a_factor_of_a_thousand_millionth_is_none_yet():
    found = probability_of_all(limits([-1.0], [0.4]), np.array([[1e-9]]), np.array([1.0]))
    assert found.numerical_error == 0.0
    assert probability_of_all(limits([-1.0], [0.4]), np.array([[1.1e-9]]), np.array([1.0])).numerical_error > 0.0


def test_of_two_limits_twelve_standard_deviations_apart_the_nearer_alone_counts():
    """Of each point one limit lies six or more away, beyond which the table leaves 1e-9."""
    asked = limits([-3.0], [3.0]), np.array([[math.sqrt(0.75)]]), np.array([0.5])
    of_both, _ = by_lattice(*asked, 1024, tabulated)
    assert probability_of_all(*asked).probability == pytest.approx(of_both + special.ndtr(-6.0), abs=1e-12)


def test_many_results_are_worked_out_a_part_of_the_points_at_a_time():
    """Sixty results with limits of their own; half of their variance is one error."""
    between = limits(-np.linspace(2.0, 4.0, 60), np.linspace(3.5, 2.5, 60))
    asked = between, *shared(60, 0.5)
    points = next(count for count in (1024, 2048, 4096) if by_lattice(*asked, count)[1] <= 1e-3)
    found = probability_of_all(*asked)
    assert [found.probability, found.numerical_error] == pytest.approx(by_lattice(*asked, points), abs=1e-7)


def test_limits_far_away_still_count_for_what_lies_beyond_them():
    """Of one result with hardly any common part: 5e-8 lie beyond 5.45 standard deviations, 4e-10 beyond 6.25."""
    for half in (5.45, 6.25):
        own = math.sqrt(1.0 - 0.1**2)
        found = probability_of_all(limits([-half * own], [half * own]), np.array([[0.1]]), np.array([own]))
        expected, _ = by_lattice(limits([-half * own], [half * own]), np.array([[0.1]]), np.array([own]), 1024)
        assert found.probability == pytest.approx(expected, abs=1e-9)


def test_what_is_hardly_shared_is_no_factor():
    """1e-10 of a standard uncertainty: the product."""
    between = limits([-1.0, -0.3], [0.4, 2.0])
    found = probability_of_all(between, np.array([[1e-10], [1e-10]]), np.ones(2))
    product = np.prod(stats.norm.cdf(between.upper) - stats.norm.cdf(between.lower))
    assert (found.probability, found.numerical_error) == (pytest.approx(product, rel=1e-14), 0.0)


def test_limits_on_the_scale_of_a_result_with_few_degrees_of_freedom_lie_on_either_side_of_it():
    scaled = standard_limits(
        np.array([5.0, 5.0]), np.array([0.8, 0.8]), np.array([4.0, math.inf]), limits([3.0, 3.0], [5.9, 5.9])
    )
    lower, upper = (stats.norm.ppf(stats.t.cdf(t, 4.0)) for t in (-2.0 / 0.8, 0.9 / 0.8))
    assert scaled.lower == pytest.approx([lower, -2.5], rel=1e-11)
    assert scaled.upper == pytest.approx([upper, 1.125], rel=1e-11)
