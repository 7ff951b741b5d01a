"""Generalised regression (ISO/TS 28037:2010, clauses 6 to 10) against other programs and a dense solution written differently.

References: statsmodels for clauses 6 and 9, odrpack for clause 7, and for clauses 7, 8 and 10 the whole sum of squares over
coefficients and true x, brought to its minimum by Newton steps on dense matrices.
"""

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.polynomial.polynomial import polyder, polyval, polyvander
from odrpack import odr_fit

from calib.curves import generalised
from calib.curves.generalised import (
    distance_regression,
    gauss_markov_regression,
    generalised_gauss_markov_regression,
    settled,
)
from calib.curves.regression import weighted
from calib.errors import CurveError

seeds = st.integers(0, 2**32 - 1)
few = settings(max_examples=25)


def points(seed, degree, relative=0.01):
    """Points about a polynomial: x, y, u(x), u(y), random."""
    random = np.random.default_rng(seed)
    n = random.integers(degree + 3, 13)
    true = np.linspace(1.0, 9.0, n) + random.uniform(-0.25, 0.25, n)
    coefficients = (
        random.uniform(0.5, 2.0, degree + 1) * random.choice([-1.0, 1.0], degree + 1) / 6.0 ** np.arange(degree + 1)
    )
    u_x, u_y = relative * random.uniform(1.0, 4.0, n), relative * random.uniform(1.0, 4.0, n)
    x = true + u_x * random.normal(size=n)
    return x, polyval(true, coefficients) + u_y * random.normal(size=n), u_x, u_y, random


def with_common_errors(u, random, errors=2):
    """Covariance of independent errors u and of a few that all share."""
    return np.diag(u**2) + sum(np.outer(one, one) for one in random.normal(size=(errors, u.size)) * u.mean())


def dense(x, y, covariance, degree):
    """b, C and sum of squares: Newton steps over (b, xi), whitened by the inverse root of the whole covariance."""
    n, p = x.size, degree + 1
    root = np.linalg.inv(np.linalg.cholesky(covariance))
    b, xi = np.polynomial.polynomial.polyfit(x, y, degree), x.copy()
    for step in range(30):
        d = root @ np.concatenate([x - xi, y - polyval(xi, b)])
        by_xi = np.vstack([-np.eye(n), -np.diag(polyval(xi, polyder(b)))])
        jacobian = root @ np.column_stack([np.vstack([np.zeros((n, p)), -polyvander(xi, degree)]), by_xi])
        hessian = jacobian.T @ jacobian
        if step > 15:  # Gauss-Newton steps first
            pull = (root.T @ d)[n:]
            hessian[p:, p:] -= np.diag(pull * polyval(xi, polyder(b, 2)))
            cross = pull[:, np.newaxis] * polyvander(xi, degree - 1) * np.arange(1, p)
            hessian[p:, 1:p] -= cross
            hessian[1:p, p:] -= cross.T
        move = np.linalg.solve(hessian, jacobian.T @ d)
        b, xi = b - move[:p], xi - move[p:]
    return b, np.linalg.inv(jacobian.T @ jacobian)[:p, :p], d @ d


def agree(fit, b, covariance, chi_squared, of_u=0.0, rel=1e-9):
    """Whether a fit is that of a reference; `of_u` allows coefficients to differ by a part of their uncertainty."""
    own, own_covariance = fit.polynomial.in_powers_of_x()
    u = np.sqrt(np.diag(covariance))
    return (
        bool(np.all(np.abs(own - b) <= np.maximum(rel * np.maximum(np.abs(b), u), of_u * u)))
        and bool(np.all(np.abs(own_covariance - covariance) <= rel * np.outer(u, u)))
        and abs(fit.polynomial.chi_squared - chi_squared) <= rel * chi_squared
    )


@few
@given(seeds, st.integers(0, 3))
def test_independent_y_give_the_weighted_fit_of_statsmodels(seed, degree):
    x, y, _, u_y, _ = points(seed, degree)
    reference = sm.WLS(y, polyvander(x, degree), weights=u_y**-2.0).fit()
    fit = gauss_markov_regression(x, y, np.diag(u_y**2), degree)
    assert agree(fit, reference.params, reference.normalized_cov_params, reference.ssr)


@few
@given(seeds, st.integers(0, 3))
def test_correlated_y_give_the_generalised_fit_of_statsmodels(seed, degree):
    x, y, _, u_y, random = points(seed, degree)
    covariance = with_common_errors(u_y, random)
    reference = sm.GLS(y, polyvander(x, degree), sigma=covariance).fit()
    fit = gauss_markov_regression(x, y, covariance, degree)
    assert agree(fit, reference.params, reference.normalized_cov_params, reference.ssr)


@few
@given(seeds, st.integers(1, 3))
def test_independent_x_and_y_give_the_orthogonal_distance_fit_of_odrpack(seed, degree):
    # odrpack stops where the sum of squares falls no more. It is flat there: the coefficients are then right to about the root
    # of the rounding, 1e-8 to 2e-7 of their uncertainty, and so the covariance to 1e-8 only. `dense` is met to 1e-9.
    x, y, u_x, u_y, _ = points(seed, degree)
    reference = odr_fit(
        polyval,
        x,
        y,
        np.polynomial.polynomial.polyfit(x, y, degree),
        weight_x=u_x**-2.0,
        weight_y=u_y**-2.0,
        jac_beta=lambda at, _b: polyvander(at, degree).T,
        jac_x=lambda at, b: polyval(at, polyder(b)),
        sstol=1e-15,
        partol=1e-14,
        maxit=1000,
    )
    fit = distance_regression(x, y, u_x, u_y, degree)
    assert agree(fit, reference.beta, reference.cov_beta, reference.sum_square, of_u=2e-6, rel=1e-6)
    assert fit.polynomial.chi_squared == pytest.approx(reference.sum_square, rel=1e-11)
    assert fit.adjusted_x == pytest.approx(reference.xplusd, abs=1e-6 * u_x.max())


@few
@given(seeds, st.integers(1, 3), st.booleans())
def test_pairs_give_the_minimum_of_the_whole_sum_of_squares(seed, degree, correlated):
    x, y, u_x, u_y, random = points(seed, degree)
    within = correlated * random.uniform(-0.9, 0.9, x.size) * u_x * u_y
    whole = np.block([[np.diag(u_x**2), np.diag(within)], [np.diag(within), np.diag(u_y**2)]])
    assert agree(distance_regression(x, y, u_x, u_y, degree, within), *dense(x, y, whole, degree))


@few
@given(seeds, st.integers(1, 3))
def test_any_covariances_give_the_minimum_of_the_whole_sum_of_squares(seed, degree):
    x, y, u_x, u_y, random = points(seed, degree)
    whole = with_common_errors(np.concatenate([u_x, u_y]), random, errors=3)
    assert agree(generalised_gauss_markov_regression(x, y, whole, degree), *dense(x, y, whole, degree))


@few
@given(seeds, st.integers(0, 3))
def test_x_exactly_known_leave_the_covariances_of_y_alone(seed, degree):
    x, y, _, u_y, random = points(seed, degree)
    covariance = with_common_errors(u_y, random)
    whole = np.zeros((2 * x.size, 2 * x.size))
    whole[x.size :, x.size :] = covariance
    alone = gauss_markov_regression(x, y, covariance, degree)
    fit = generalised_gauss_markov_regression(x, y, whole, degree)
    assert agree(fit, *alone.polynomial.in_powers_of_x(), alone.polynomial.chi_squared)
    assert fit.adjusted_x == pytest.approx(x, rel=1e-14)


@few
@given(seeds)
def test_a_line_is_the_same_whichever_variable_is_called_x(seed):
    x, y, u_x, u_y, random = points(seed, 1)
    within = random.uniform(-0.9, 0.9, x.size) * u_x * u_y
    fit = distance_regression(x, y, u_x, u_y, 1, within)
    (a, b), _ = fit.polynomial.in_powers_of_x()
    swapped = distance_regression(y, x, u_y, u_x, 1, within)
    assert swapped.polynomial.in_powers_of_x()[0] == pytest.approx([-a / b, 1 / b], rel=1e-8)
    assert swapped.adjusted_x == pytest.approx(a + b * fit.adjusted_x)


@few
@given(seeds, st.integers(1, 3), st.sampled_from([1e-6, 1e6]), st.sampled_from([1e-6, 1e6]))
def test_the_units_of_x_and_y_do_not_matter(seed, degree, of_x, of_y):
    x, y, u_x, u_y, _ = points(seed, degree)
    one = distance_regression(x, y, u_x, u_y, degree).polynomial
    other = distance_regression(x * of_x, y * of_y, u_x * of_x, u_y * of_y, degree).polynomial
    assert other.value(4.5 * of_x) == pytest.approx(one.value(4.5) * of_y, rel=1e-12)
    assert other.standard_uncertainty(4.5 * of_x) == pytest.approx(one.standard_uncertainty(4.5) * of_y, rel=1e-12)


@few
@given(seeds, st.integers(1, 3), st.sampled_from([-20, 20]), st.sampled_from([-20, 20]))
def test_units_that_floats_hold_exactly_change_no_bit(seed, degree, of_x, of_y):
    x, y, u_x, u_y, _ = points(seed, degree)
    of_x, of_y = 2.0**of_x, 2.0**of_y
    one = distance_regression(x, y, u_x, u_y, degree)
    other = distance_regression(x * of_x, y * of_y, u_x * of_x, u_y * of_y, degree)
    assert other.polynomial.coefficients.tolist() == (one.polynomial.coefficients * of_y).tolist()
    assert (other.iterations, other.last_move) == (one.iterations, one.last_move)


def test_points_with_next_to_no_uncertainty_come_to_rest_at_the_rounding_of_floats():
    x, y, _, _, _ = points(5, 2)
    fit = distance_regression(x, y, np.full(x.size, 1e-14), np.full(x.size, 1e-14), 2)
    assert fit.last_move <= 1e-6
    # All uncertainties smaller alike: the same curve.
    usual = distance_regression(x, y, np.full(x.size, 0.02), np.full(x.size, 0.02), 2)
    assert fit.polynomial.coefficients == pytest.approx(usual.polynomial.coefficients, rel=1e-9)


def test_an_offset_that_all_x_share_moves_the_line_along_and_never_averages_out():
    # y = a + b (x - offset): u(a)^2 grows by b^2 u^2, u(b) stays. The covariance matrix is singular, on purpose.
    x, y, _, u_y, _ = points(7, 1)
    whole = np.zeros((2 * x.size, 2 * x.size))
    whole[: x.size, : x.size] = 0.3**2
    whole[x.size :, x.size :] = np.diag(u_y**2)
    coefficients, covariance = weighted(x, y, u_y, 1).in_powers_of_x()
    found, found_covariance = generalised_gauss_markov_regression(x, y, whole, 1).polynomial.in_powers_of_x()
    assert found == pytest.approx(coefficients, rel=1e-12)
    assert found_covariance[0, 0] == pytest.approx(covariance[0, 0] + (0.3 * coefficients[1]) ** 2, rel=1e-12)
    assert found_covariance[1, 1] == pytest.approx(covariance[1, 1], rel=1e-12)


def test_repeating_points_lowers_what_is_independent_and_not_what_is_common():
    x, u = np.tile(np.arange(1.0, 6.0), 100), np.full(500, 0.01)
    common = gauss_markov_regression(x, x, np.diag(u**2) + 0.02**2, 0)
    assert common.polynomial.standard_uncertainty(3.0) == pytest.approx(np.hypot(0.01 / np.sqrt(500), 0.02), rel=1e-12)


@pytest.mark.parametrize("degree", [0, 1, 2, 3])
def test_points_on_a_polynomial_give_it_again_and_stay_where_they_are(degree):
    x = np.linspace(1.0, 9.0, 9)
    b = np.array([2.0, -0.7, 0.1, 0.01])[: degree + 1]
    fit = distance_regression(x, polyval(x, b), np.full(9, 0.1), np.full(9, 0.1), degree)
    assert fit.polynomial.in_powers_of_x()[0] == pytest.approx(b, rel=1e-12)
    assert fit.adjusted_x == pytest.approx(x, rel=1e-12)
    assert fit.polynomial.chi_squared == pytest.approx(0.0, abs=1e-20)


def test_as_many_points_as_coefficients_are_passed_through():
    x, y = np.array([1.0, 2.0, 4.0]), np.array([1.0, 3.0, 2.0])
    fit = distance_regression(x, y, np.full(3, 0.1), np.full(3, 0.1), 2)
    assert fit.polynomial.value(x) == pytest.approx(y)
    assert fit.polynomial.degrees_of_freedom == 0


def test_a_fit_reports_how_it_converged():
    x, y, u_x, u_y, _ = points(3, 2)
    fit = distance_regression(x, y, u_x, u_y, 2)
    assert fit.converged
    assert 2 <= fit.iterations <= 20
    assert fit.last_move <= 1e-12


def test_moves_are_told_in_parts_of_the_uncertainty_and_a_thousandth_of_the_largest_value(monkeypatch):
    # The same points at another level move as much.
    monkeypatch.setattr(generalised, "SMALL", 0.001)
    x, y = np.array([0.0, 2.0, 3.0, 5.0, 6.0, 9.0]), np.array([1.0, 2.0, 4.5, 5.0, 7.5, 10.0])
    low, high = (distance_regression(x, y + level, np.full(6, 1.0), np.full(6, 1.0), 1) for level in (0.0, 990.0))
    u = np.hypot(1.0, low.polynomial.slope(x)[0])
    assert low.iterations == high.iterations
    assert low.last_move / high.last_move == pytest.approx((u + 1.0) / (u + 0.01), rel=1e-3)


def test_the_adjusted_points_belong_to_the_new_coefficients():
    # From what the old ones leave it takes 14 steps to rest.
    x = np.linspace(0.0, 9.0, 8)
    y = x + 0.1 * x**2 + np.array([0.1, -0.1, 0.05, 0.15, -0.2, 0.1, -0.05, 0.03])
    assert distance_regression(x, y, np.full(8, 0.1), np.full(8, 0.1), 2).iterations <= 11


def test_a_linear_problem_needs_one_step_and_one_to_see_that_nothing_moves():
    x, y, _, u_y, random = points(3, 2)
    assert gauss_markov_regression(x, y, with_common_errors(u_y, random), 2).iterations <= 3


def test_distances_are_told_in_their_own_uncertainties():
    x = np.array([0.0, 1.0, 2.0, 3.0])
    y = np.array([0.0, 1.0, 2.0, 3.0]) + np.array([1.0, -1.0, -1.0, 1.0])
    fit = distance_regression(x, y, np.full(4, 0.3), np.full(4, 0.4), 1)
    u = np.hypot(0.4, 0.3 * fit.polynomial.slope(x))
    assert fit.normalised_residuals == pytest.approx(fit.polynomial.residuals / u)


@pytest.mark.parametrize(
    ("moved", "rests"),
    [
        ([1.0, 1e-3], False),
        ([1.0, 1e-12], True),
        ([1.0, *[1e-9] * 9], False),
        ([1.0, *[1e-9] * 10], False),
        ([1.0, *[1e-9] * 11], True),
        ([1.0, *[1e-6] * 11], True),
        ([1.0, *[1.05e-6] * 11], False),
        ([1.0, 1e-9, *[0.91e-9] * 10], True),
        ([1.0, 1e-9, *[0.9 * 1e-9] * 10], True),
        ([1.0, 1e-9, *[0.89e-9] * 10], False),
        ([1.0, *[1e-5] * 30], False),
        ([0.5**k * 1e-6 for k in range(12)], False),
        ([*[1e-7] * 10, *[1e-9] * 2, *[1e-8] * 10], True),
        ([*[1.0] * 12, *[1e-9] * 11], True),
    ],
)
def test_an_iteration_rests_when_steps_are_small_or_at_the_rounding_of_floats(moved, rests):
    assert settled(moved) is rests


def test_a_line_of_equal_uncertainties_is_the_principal_axis_of_the_points():
    x, y = np.array([1.0, 2.0, 4.0, 7.0, 9.0]), np.array([1.2, 1.9, 4.3, 6.8, 9.1])
    fit = distance_regression(x, y, np.full(5, 0.2), np.full(5, 0.2), 1)
    xx, yy, xy = np.sum((x - x.mean()) ** 2), np.sum((y - y.mean()) ** 2), np.sum((x - x.mean()) * (y - y.mean()))
    slope = (yy - xx + np.hypot(yy - xx, 2 * xy)) / (2 * xy)
    level = y.mean() - slope * x.mean()
    left = y - level - slope * x
    assert fit.polynomial.in_powers_of_x()[0] == pytest.approx([level, slope], rel=1e-12)
    assert fit.polynomial.residuals == pytest.approx(left, rel=1e-10)
    assert fit.adjusted_x == pytest.approx(x + slope * left / (1 + slope**2), rel=1e-12)
    assert fit.polynomial.chi_squared == pytest.approx(np.sum(left**2) / (1 + slope**2) / 0.04, rel=1e-12)


# --- what is refused ---

X = np.array([1.0, 2.0, 3.0, 4.0, 5.0])
U = np.full(5, 0.1)


@pytest.mark.parametrize("wrong", [0.0, -0.1, np.nan, np.inf])
@pytest.mark.parametrize("place", [0, 1])
def test_an_uncertainty_that_is_none_is_refused_with_its_points(wrong, place):
    u = [U.copy(), U.copy()]
    u[place][[1, 3]] = wrong
    with pytest.raises(CurveError, match=r"point\(s\) 2, 4: both uncertainties must be above 0 and finite"):
        distance_regression(X, X, *u, 1)


def test_a_covariance_above_the_product_of_the_uncertainties_is_refused_with_its_points():
    with pytest.raises(CurveError, match=r"point\(s\) 5: the covariance of x and y exceeds"):
        distance_regression(X, X, U, U, 1, np.array([0.0, 0.0, 0.0, 0.0, -0.011]))


@pytest.mark.parametrize(
    "fit", [lambda x: distance_regression(x, x, U, U, 2), lambda x: gauss_markov_regression(x, x, np.diag(U), 2)]
)
def test_too_few_different_x_are_refused(fit):
    with pytest.raises(CurveError, match=r"^2 different indication\(s\) make no curve of degree 2: compare at more"):
        fit(np.array([1.0, 1.0, 1.0, 2.0, 2.0]))


@pytest.mark.parametrize("wrong", [np.nan, np.inf])
def test_a_point_that_is_no_number_is_refused(wrong):
    y = X.copy()
    y[2] = wrong
    with pytest.raises(CurveError, match=r"point\(s\) 3: indication and value must be finite"):
        distance_regression(X, y, U, U, 1)


def matrix(*changes, size=5):
    """Covariance 0.01 on the diagonal, with some entries (row, column, value) changed."""
    whole = 0.01 * np.eye(size)
    for row, column, value in changes:
        whole[row, column] = value
    return whole


@pytest.mark.parametrize(
    ("covariance", "message"),
    [
        (matrix(size=4), r"of 5 points must be 5 by 5, not \(4, 4\)"),
        (matrix((1, 1, -0.01)), r"point\(s\) 2: .* variances not below 0"),
        (matrix((2, 3, np.nan)), r"point\(s\) 3: covariances must be finite"),
        (matrix((0, 4, 0.005)), r"point\(s\) 1, 5: the covariance matrix is not symmetric"),
        (matrix((1, 1, 0.0), (1, 2, 1e-3), (2, 1, 1e-3)), r"point\(s\) 2: a covariance, but no variance"),
        (matrix((1, 2, 0.02), (2, 1, 0.02)), r"point\(s\) 2, 3: the covariance matrix is not positive semi-definite"),
        (matrix((3, 3, 0.0)), r"point\(s\) 4: no uncertainty remains across the curve: add"),
        (matrix((1, 4, 0.01), (4, 1, 0.01)), r"point\(s\) 2, 5: their errors are fully correlated: add"),
        (np.full((5, 5), 0.01), r"point\(s\) 1, 2, 3, 4, 5: their errors are fully correlated: add"),
    ],
)
def test_a_matrix_that_is_no_covariance_of_y_is_refused_with_its_points(covariance, message):
    with pytest.raises(CurveError, match=message):
        gauss_markov_regression(X, X**2, covariance, 1)


@pytest.mark.parametrize(
    ("covariance", "message"),
    [
        (matrix(size=5), r"must be 10 by 10"),
        (matrix((1, 8, 0.02), (8, 1, 0.02), size=10), r"point\(s\) 2, 4: .* not positive semi-definite"),
        (np.zeros((10, 10)), r"point\(s\) 1, 2, 3, 4, 5: no uncertainty remains"),
    ],
)
def test_a_matrix_that_is_no_covariance_of_x_and_y_is_refused_with_its_points(covariance, message):
    with pytest.raises(CurveError, match=message):
        generalised_gauss_markov_regression(X, X**2, covariance, 1)


@pytest.mark.parametrize("of_x_too", [False, True])
def test_both_uncertainties_may_be_what_is_wrong(of_x_too):
    u = U.copy()
    u[2] = np.inf
    with pytest.raises(CurveError, match=r"point\(s\) 3: both uncertainties must be above 0 and finite"):
        distance_regression(X, X, u if of_x_too else U, u, 1)


def test_a_covariance_of_x_and_y_may_exceed_the_product_of_the_uncertainties_by_rounding():
    falling = -2.0 * X
    within = np.array([0.0, 0.0, 0.01 * (1 + 0.9e-10), 0.0, 0.0])
    assert distance_regression(X, falling, U, U, 1, within).polynomial.value(3.0) == pytest.approx(-6.0)
    with pytest.raises(CurveError, match=r"point\(s\) 3: the covariance of x and y exceeds"):
        distance_regression(X, falling, U, U, 1, np.array([0.0, 0.0, 0.01 * (1 + 1.1e-10), 0.0, 0.0]))


def test_a_covariance_of_x_and_y_may_be_all_that_rounding_makes_of_the_product_of_the_uncertainties():
    half = np.full(5, 0.5)
    fit = distance_regression(X, -2.0 * X, half, half, 1, np.array([0.0, 0.0, 0.25 * (1.0 + 1e-10), 0.0, 0.0]))
    assert fit.polynomial.value(3.0) == pytest.approx(-6.0)


def test_an_eigenvalue_just_at_the_limit_is_let_be(monkeypatch):
    # What is exactly known has an eigenvalue of 0.
    monkeypatch.setattr(generalised, "NEGATIVE", 0.0)
    whole = np.diag([0.0] * 5 + [0.25] * 5)
    assert generalised_gauss_markov_regression(X, X, whole, 1).polynomial.value(3.0) == pytest.approx(3.0)


@pytest.mark.parametrize("beyond", [True, False])
def test_points_with_no_more_of_their_own_than_the_limit_are_fully_correlated(monkeypatch, beyond):
    # Three independent points correlate by 1/2 with the fourth: of its variance a quarter is its own, half of its uncertainty.
    monkeypatch.setattr(generalised, "LEAST_OWN", 0.5 if beyond else np.nextafter(0.5, 0.0))
    covariance = np.eye(4)
    covariance[3, :3] = covariance[:3, 3] = 0.5
    if not beyond:
        assert gauss_markov_regression(X[:4], X[:4], covariance, 1).polynomial.value(3.0) == pytest.approx(3.0)
        return
    with pytest.raises(CurveError, match=r"point\(s\) 1, 2, 3, 4: their errors are fully correlated"):
        gauss_markov_regression(X[:4], X[:4], covariance, 1)


def asymmetric(beyond):
    """Covariance whose entries (1, 2) and (2, 1) differ by that many times 1e-10 u_1 u_5: u_5 is the largest, u_1 the smaller."""
    u = np.array([0.1, 0.2, 0.3, 0.4, 0.5])
    whole = np.diag(u**2)
    whole[0, 1] = beyond * 1e-10 * 0.1 * 0.5
    return whole


def test_a_matrix_may_be_asymmetric_by_the_rounding_of_its_entries():
    assert gauss_markov_regression(X, X, asymmetric(0.9), 1).polynomial.value(3.0) == pytest.approx(3.0)
    with pytest.raises(CurveError, match=r"point\(s\) 1: the covariance matrix is not symmetric"):
        gauss_markov_regression(X, X, asymmetric(1.1), 1)
    with pytest.raises(CurveError, match=r"point\(s\) 1, 2: the covariance matrix is not symmetric"):
        gauss_markov_regression(X, X, asymmetric(2.2), 1)


@pytest.mark.parametrize(
    ("beyond", "message"), [(0.9, "errors are fully correlated"), (1.1, "not positive semi-definite")]
)
def test_an_eigenvalue_of_the_correlations_may_be_negative_by_1e_10_of_each_row(beyond, message):
    # Correlation 1 + 5e-10 of two of the five points: eigenvalue -5e-10.
    of_both = 0.01 * (1 + beyond * 5e-10)
    with pytest.raises(CurveError, match=rf"point\(s\) 2, 4: .*{message}"):
        gauss_markov_regression(X, X, matrix((1, 3, of_both), (3, 1, of_both)), 1)


@pytest.mark.parametrize(("share", "named"), [(0.31, "1, 2, 3"), (0.28, "1, 2")])
def test_points_that_have_little_to_do_with_what_is_wrong_are_not_named(share, named):
    # Correlations with the eigenvector (1, 1, k) of eigenvalue -0.1: 1 + a + b k = -0.1 and 2 b + k = -0.1 k.
    b = -1.1 * share / 2
    a = -1.1 - b * share
    whole = 0.01 * np.array([[1.0, a, b], [a, 1.0, b], [b, b, 1.0]])
    with pytest.raises(CurveError, match=rf"point\(s\) {named}: the covariance matrix is not positive semi-definite"):
        gauss_markov_regression(X[:3], X[:3], whole, 1)


@pytest.mark.parametrize("beyond", [0.9, 1.1])
def test_what_remains_across_the_curve_must_be_more_than_1e_10_of_what_there_is_without_covariances(beyond):
    # y = 3 x, u(y) = 3 u(x): across the line remains 2 (3 u(x))^2 (1 - r) of 2 (3 u(x))^2.
    within = 3.0 * U**2 * (1 - beyond * 1e-10)
    if beyond > 1:
        fit = distance_regression(X, 3.0 * X, U, 3.0 * U, 1, within)
        assert fit.polynomial.value(2.0) == pytest.approx(6.0)
        return
    with pytest.raises(CurveError, match=r"point\(s\) 1, 2, 3, 4, 5: no uncertainty remains across the curve"):
        distance_regression(X, 3.0 * X, U, 3.0 * U, 1, within)


def test_errors_that_run_along_the_line_leave_nothing_across_it():
    # x and y share one error whose y part is the slope times its x part: the points move along the line.
    x, y = X, 2.0 * X
    with pytest.raises(CurveError, match=r"point\(s\) 1, 2, 3, 4, 5: no uncertainty remains across the curve"):
        distance_regression(x, y, U, 2.0 * U, 1, 2.0 * U**2)


def test_the_points_farthest_from_the_curve_are_those_of_the_last_step_farthest_first(monkeypatch):
    # The first step is taken from the unweighted line.
    monkeypatch.setattr(generalised, "MOST_ITERATIONS", 1)
    y, u_x, u_y = np.array([1.0, 2.6, 2.1, 4.9, 5.2]), 0.1 * X, np.array([0.1, 0.2, 0.15, 0.3, 0.1])
    slope, level = np.polyfit(X, y, 1)
    away = np.abs(y - level - slope * X) / np.hypot(u_y, slope * u_x)
    first, second, third = 1 + np.argsort(-away)[:3]
    with pytest.raises(
        CurveError, match=rf"^no convergence in 1 iterations; .* points {first}, {second}, {third}: check"
    ):
        distance_regression(X, y, u_x, u_y, 1)


def test_a_fit_that_does_not_converge_names_the_points_farthest_away():
    # A cubic through x that overlap by far: no minimum within 3000 iterations either.
    random = np.random.default_rng(72)
    x = np.linspace(0.0, 1.0, 9) + random.normal(size=9)
    y = random.normal(size=9)
    message = (
        r"^no convergence in 200 iterations; farthest .* points \d, \d, \d: check these .* or take a lower degree$"
    )
    with pytest.raises(CurveError, match=message):
        distance_regression(x, y, np.full(9, 1.0), np.full(9, 0.1), 3)
