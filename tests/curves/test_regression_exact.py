"""Weighted polynomials are solved in integers and rounded once: what that promises (fractions are the reference)."""

from fractions import Fraction

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.curves.regression import unweighted, weighted
from calib.errors import CurveError

seeds = st.integers(0, 2**32 - 1)
few = settings(max_examples=30)
X = np.array([0.5, 1.0, 2.5, 4.0, 7.0, 9.0])
U = np.full(6, 0.1)


def points(seed):
    """Points with all 53 bits of a float in use, far from zero and near to one another."""
    random = np.random.default_rng(seed)
    n = random.integers(5, 12)
    return 1e3 + random.uniform(0.0, 1.0, n), random.normal(size=n), random.uniform(0.5, 2.0, n)


def solved(matrix, right):
    """Solution of a system of fractions by elimination."""
    lines = [[*row, value] for row, value in zip(matrix, right, strict=True)]
    for k in range(len(lines)):
        own = [value / lines[k][k] for value in lines[k]]
        lines = [[a - other[k] * b for a, b in zip(other, own, strict=True)] for other in lines]
        lines[k] = own
    return [line[-1] for line in lines]


def exact(fit, x, y, u, degree):
    """Coefficients in powers of the fit's own t, and chi-squared, as fractions."""
    t = [(Fraction(one) - Fraction(fit.centre)) / Fraction(fit.half_width) for one in x.tolist()]
    weight = [Fraction(one) ** 2 for one in (1.0 / u).tolist()]
    values = [Fraction(one) for one in y.tolist()]
    normal = [
        [sum(w * a ** (k + m) for w, a in zip(weight, t, strict=True)) for m in range(degree + 1)]
        for k in range(degree + 1)
    ]
    right = [sum(w * a**k * b for w, a, b in zip(weight, t, values, strict=True)) for k in range(degree + 1)]
    b = solved(normal, right)
    residuals = [value - sum(c * a**k for k, c in enumerate(b)) for a, value in zip(t, values, strict=True)]
    return b, residuals, sum(w * r**2 for w, r in zip(weight, residuals, strict=True)), normal


@few
@given(seeds, st.integers(0, 3))
def test_every_result_is_the_exact_one_rounded_once(seed, degree):
    x, y, u = points(seed)
    fit = weighted(x, y, u, degree)
    b, residuals, chi_squared, normal = exact(fit, x, y, u, degree)
    assert fit.coefficients.tolist() == [float(one) for one in b]
    assert fit.residuals.tolist() == [float(one) for one in residuals]
    assert fit.chi_squared == float(chi_squared)
    for k in range(degree + 1):
        column = solved(normal, [Fraction(int(k == m)) for m in range(degree + 1)])
        assert fit.covariance[:, k].tolist() == [float(one) for one in column]


@few
@given(seeds, st.integers(0, 3))
def test_the_fit_is_that_of_statsmodels(seed, degree):
    x, y, u = points(seed)
    fit = weighted(x, y, u, degree)
    reference = sm.WLS(y, fit.powers(x), weights=u**-2.0).fit()
    spread = reference.normalized_cov_params.diagonal() ** 0.5
    assert (fit.coefficients - reference.params) / spread == pytest.approx(0.0, abs=1e-9)
    assert fit.covariance / np.outer(spread, spread) == pytest.approx(
        reference.normalized_cov_params / np.outer(spread, spread), abs=1e-9
    )


@given(st.lists(st.integers(-1000, 1000), min_size=4, max_size=4), st.integers(0, 3))
def test_whole_numbers_on_a_polynomial_leave_exactly_nothing(coefficients, degree):
    x = np.arange(-3.0, 4.0)
    y = np.polynomial.polynomial.polyval(x, np.array(coefficients[: degree + 1], dtype=float))
    fit = unweighted(x, y, degree)
    assert fit.chi_squared == 0.0
    assert fit.residuals.tolist() == [0.0] * 7
    assert fit.in_powers_of_x()[0].tolist() == coefficients[: degree + 1]
    assert np.all(fit.covariance == 0.0)


def test_numbers_of_very_different_size_are_no_harm():
    x = np.array([1e-150, 1.0, 2.0, 3.0])
    fit = weighted(x, np.array([1e-300, 1.0, 2.0, 3.0]), np.array([1e-100, 1.0, 1.0, 1.0]), 1)
    assert fit.in_powers_of_x()[0] == pytest.approx([0.0, 1.0], abs=1e-15)


@pytest.mark.parametrize("wrong", [np.nan, np.inf, -np.inf])
@pytest.mark.parametrize("place", [0, 1])
def test_points_that_are_no_numbers_are_named(wrong, place):
    columns = [X.copy(), X.copy()]
    columns[place][[1, 4]] = wrong
    for fit in (lambda: weighted(*columns, U, 1), lambda: unweighted(*columns, 1)):
        with pytest.raises(CurveError, match=r"point\(s\) 2, 5: indication and value must be finite numbers"):
            fit()


def test_an_infinite_uncertainty_is_refused_with_its_point():
    u = U.copy()
    u[3] = np.inf
    with pytest.raises(CurveError, match=r"point\(s\) 4: the uncertainty must be above 0 and finite"):
        weighted(X, X, u, 1)


@pytest.mark.parametrize("u", [5e-324, 1e200])
def test_results_that_floats_do_not_hold_are_refused(u):
    with pytest.raises(CurveError, match="numbers too large or too small for a curve: give them in another unit"):
        weighted(X, X, np.full(6, u), 1)
