"""Weighted least-squares polynomials (ISO/TS 28037:2010, clause 6), against exact fractions and hand calculation."""

from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.curves.regression import cholesky_of, scale_of, unweighted, weighted
from calib.errors import CurveError

X = np.array([0.5, 1.0, 2.5, 4.0, 7.0, 9.0])
Y = np.array([0.10, 0.04, -0.02, 0.03, 0.12, 0.20])
U = np.array([0.010, 0.020, 0.010, 0.015, 0.020, 0.030])


def exact_inverse(matrix):
    """Inverse of a positive definite matrix of fractions, by elimination."""
    size = len(matrix)
    lines = [[*matrix[k], *(Fraction(int(k == m)) for m in range(size))] for k in range(size)]
    for k in range(size):
        lines[k] = [value / lines[k][k] for value in lines[k]]
        for other in [m for m in range(size) if m != k]:
            lines[other] = [a - lines[other][k] * b for a, b in zip(lines[other], lines[k], strict=True)]
    return [line[size:] for line in lines]


def exact_fit(x, y, u, degree):
    """Coefficients in powers of x and their covariance (X^T U^-1 X)^-1, in fractions."""
    x, y, u = ([Fraction(float(value)) for value in values] for values in (x, y, u))
    points = list(zip(x, y, u, strict=True))
    normal = [[sum(a ** (k + m) / c**2 for a, _, c in points) for m in range(degree + 1)] for k in range(degree + 1)]
    covariance = exact_inverse(normal)
    right = [sum(a**k * b / c**2 for a, b, c in points) for k in range(degree + 1)]
    return [sum(c * r for c, r in zip(line, right, strict=True)) for line in covariance], covariance


@st.composite
def points(draw):
    """Four to eight points with short binary fractions, which floats hold exactly."""
    eighths = draw(st.lists(st.integers(-40, 40), min_size=4, max_size=8, unique=True))
    y = draw(st.lists(st.integers(-64, 64), min_size=len(eighths), max_size=len(eighths)))
    u = draw(st.lists(st.sampled_from([0.25, 0.5, 1.0, 2.0]), min_size=len(eighths), max_size=len(eighths)))
    return np.array(eighths) / 8, np.array(y) / 16, np.array(u)


@given(points(), st.integers(0, 3))
def test_the_fit_is_that_of_exact_fractions(drawn, degree):
    coefficients, covariance = weighted(*drawn, degree).in_powers_of_x()
    exact, exact_covariance = exact_fit(*drawn, degree)
    assert coefficients == pytest.approx([float(one) for one in exact], rel=1e-12, abs=1e-12)
    assert covariance == pytest.approx(np.array(exact_covariance, dtype=float), rel=1e-12, abs=1e-12)


@given(points(), st.integers(0, 3))
def test_chi_squared_is_the_sum_of_squared_weighted_residuals(drawn, degree):
    x, y, u = drawn
    coefficients, _ = exact_fit(x, y, u, degree)
    residuals = [float(b - sum(c * a**k for k, c in enumerate(coefficients))) for a, b in _fractions(x, y)]
    fit = weighted(x, y, u, degree)
    assert fit.residuals == pytest.approx(residuals, abs=1e-12)
    assert fit.chi_squared == pytest.approx(np.sum((np.array(residuals) / u) ** 2), rel=1e-12, abs=1e-12)
    assert fit.degrees_of_freedom == x.size - degree - 1


def _fractions(x, y):
    return [(Fraction(float(a)), Fraction(float(b))) for a, b in zip(x, y, strict=True)]


@given(points(), st.integers(0, 3))
def test_a_polynomial_of_the_same_degree_is_found_again(drawn, degree):
    x, coefficients, u = drawn[0], drawn[1][: degree + 1], drawn[2]
    fit = weighted(x, np.polynomial.polynomial.polyval(x, coefficients), u, degree)
    assert fit.in_powers_of_x()[0] == pytest.approx(coefficients, rel=1e-12, abs=1e-12)


def test_a_constant_is_the_weighted_mean():
    # Weights 1 and 4: (1 * 1 + 4 * 2)/5 = 1.8; variance 1/5.
    fit = weighted(np.array([0.0, 1.0]), np.array([1.0, 2.0]), np.array([1.0, 0.5]), 0)
    assert fit.value(0.3) == pytest.approx(1.8)
    assert fit.standard_uncertainty(0.7) ** 2 == pytest.approx(0.2)


@pytest.mark.parametrize("degree", [0, 1, 2, 3])
def test_value_and_uncertainty_follow_from_coefficients_and_covariance(degree):
    fit = weighted(X, Y, U, degree)
    coefficients, covariance = fit.in_powers_of_x()
    j = 3.2 ** np.arange(degree + 1)
    assert fit.value(3.2) == pytest.approx(j @ coefficients)
    assert fit.standard_uncertainty(3.2) ** 2 == pytest.approx(j @ covariance @ j)


@pytest.mark.parametrize("degree", [0, 1, 2, 3])
def test_values_at_two_places_share_their_parts(degree):
    fit = weighted(X, Y, U, degree)
    _, covariance = fit.in_powers_of_x()
    near, far = 1.5 ** np.arange(degree + 1), 8.0 ** np.arange(degree + 1)
    assert fit.parts(1.5) @ fit.parts(8.0) == pytest.approx(near @ covariance @ far)


@pytest.mark.parametrize("degree", [0, 1, 2, 3])
def test_the_slope_is_the_derivative_of_the_value(degree):
    fit = weighted(X, Y, U, degree)
    coefficients, _ = fit.in_powers_of_x()
    expected = sum(k * coefficients[k] * 3.2 ** (k - 1) for k in range(1, degree + 1))
    assert fit.slope(3.2) == pytest.approx(expected, abs=1e-15)


def test_value_uncertainty_and_slope_take_arrays_of_any_shape():
    fit = weighted(X, Y, U, 2)
    x = X.reshape(2, 3)
    for quantity in (fit.value, fit.slope, fit.standard_uncertainty):
        assert quantity(x).shape == (2, 3)
        assert quantity(x)[1, 0] == pytest.approx(quantity(4.0))


@pytest.mark.parametrize("unit", [1e-6, 1e6])
def test_the_unit_of_x_does_not_matter(unit):
    one, other = weighted(X, Y, U, 3), weighted(X * unit, Y, U, 3)
    assert other.value(3.2 * unit) == pytest.approx(one.value(3.2), rel=1e-12)
    assert other.standard_uncertainty(3.2 * unit) == pytest.approx(one.standard_uncertainty(3.2), rel=1e-12)


def test_indications_far_from_zero_do_not_harm_the_fit():
    one, other = weighted(X, Y, U, 3), weighted(X + 100_000.0, Y, U, 3)
    assert other.value(100_003.25) == pytest.approx(one.value(3.25), rel=1e-9)


def test_x_is_counted_from_the_middle_of_its_interval_in_halves_of_it():
    assert scale_of(np.array([4.0, 1.0, 9.0]), 2) == (5.0, 4.0)
    assert scale_of(np.array([2.5, 2.5]), 0) == (2.5, 1.0)  # any width does for one indication


def test_one_point_more_than_coefficients_tells_the_scatter():
    # Residuals of a line through 0, 0 and 3 at 0, 1 and 2: 0.5, -1 and 0.5.
    fit = unweighted(np.array([0.0, 1.0, 2.0]), np.array([0.0, 0.0, 3.0]), 1)
    assert fit.residuals.tolist() == [0.5, -1.0, 0.5]
    assert fit.in_powers_of_x()[1] == pytest.approx(1.5 * np.array([[5 / 6, -1 / 2], [-1 / 2, 1 / 2]]), rel=1e-12)


def test_unknown_equal_uncertainties_are_those_of_the_residuals():
    # Any known u, scaled by chi^2/(n-p), gives the same covariance: ISO/TS 28037 Annex E.
    known = weighted(X, Y, np.full(6, 0.02), 1)
    fit = unweighted(X, Y, 1)
    assert fit.in_powers_of_x()[0] == pytest.approx(known.in_powers_of_x()[0])
    assert fit.covariance == pytest.approx(known.covariance * known.chi_squared / 4)


def test_the_same_curve_in_another_unit():
    # Degree Fahrenheit to kelvin: x = 5/9 x' + 255.372..., while corrections are differences.
    scale, offset = 5 / 9, 45967 / 180
    fit = weighted(X + 290.0, Y, U, 2)
    other = fit.in_unit(scale, offset)
    x = (293.2 - offset) / scale
    assert other.value(x) * scale == pytest.approx(fit.value(293.2))
    assert other.standard_uncertainty(x) * scale == pytest.approx(fit.standard_uncertainty(293.2))
    assert other.residuals * scale == pytest.approx(fit.residuals)


def test_scaling_enlarges_the_covariance_and_nothing_else():
    fit = weighted(X, Y, U, 1)
    larger = fit.scaled(4.0)
    assert larger.standard_uncertainty(3.0) == pytest.approx(2 * fit.standard_uncertainty(3.0))
    assert larger.value(3.0) == fit.value(3.0)
    assert larger.chi_squared == fit.chi_squared


@pytest.mark.parametrize("x", [0.6, 3.2, 8.9])
def test_the_inverse_finds_the_value_again(x):
    line = weighted(X, 2.0 * X + Y, U, 1)
    found, u = line.inverse(float(line.value(x)), 0.1, 0.5, 9.0)
    assert found == pytest.approx(x)
    assert u == pytest.approx(np.hypot(0.1, line.standard_uncertainty(x)) / line.in_powers_of_x()[0][1])


@pytest.mark.parametrize("end", [0, -1])
def test_the_inverse_reaches_both_ends_of_the_interval(end):
    for seed in range(20):
        x = np.sort(np.random.default_rng(seed).uniform(0.0, 1.0, 5))
        line = weighted(x, 2.0 * x, np.ones(5), 1)
        assert line.inverse(float(line.value(x[end])), 0.1, x[0], x[-1])[0] == pytest.approx(x[end])


@pytest.mark.parametrize(("beyond", "reached"), [(0.9, True), (1.1, False)])
@pytest.mark.parametrize("end", [3.0, 7.0])
def test_an_inverse_beyond_an_end_by_a_rounding_error_is_the_end(end, beyond, reached):
    # 1e-9 of the interval from 3 to 7, outwards.
    line = weighted(np.array([3.0, 4.0, 6.0, 7.0]), np.array([6.0, 8.0, 12.0, 14.0]), np.ones(4), 1)
    y = 2.0 * (end + np.sign(end - 5.0) * beyond * 4e-9)
    if reached:
        assert line.inverse(y, 0.1, 3.0, 7.0)[0] == end
        return
    with pytest.raises(CurveError, match="passed 0 times between 3 and 7"):
        line.inverse(y, 0.1, 3.0, 7.0)


def test_the_inverse_of_a_cubic_is_its_one_real_root():
    # x^3 + x = 2 at 1, where the slope is 4; the other two roots are complex.
    x = np.linspace(-3.0, 3.0, 7)
    cubic = weighted(x, x**3 + x, np.full(7, 0.2), 3)
    found, u = cubic.inverse(2.0, 0.3, -3.0, 3.0)
    assert found == pytest.approx(1.0, rel=1e-12)
    assert u == pytest.approx(np.hypot(0.3, cubic.standard_uncertainty(1.0)) / 4.0, rel=1e-12)


@pytest.mark.parametrize(
    ("y", "passed"),
    [(5.0, 2), (20.0, 0), (-1.0, 0)],
)
def test_a_value_that_is_not_passed_exactly_once_has_no_inverse(y, passed):
    x = np.linspace(-3.0, 3.0, 7)
    parabola = weighted(x, x**2, np.ones(7), 2)
    with pytest.raises(CurveError, match=f"passed {passed} times"):
        parabola.inverse(y, 0.1, -3.0, 3.0)


def test_a_constant_has_no_inverse():
    with pytest.raises(CurveError, match="no single inverse"):
        weighted(X, Y, U, 0).inverse(0.05, 0.01, 0.5, 9.0)


@pytest.mark.parametrize("fit", [lambda x: weighted(x, x, np.ones_like(x), 2), lambda x: unweighted(x, x, 2)])
def test_too_few_different_indications_are_refused_with_their_number(fit):
    with pytest.raises(CurveError, match=r"^2 different indication\(s\) make no curve of degree 2"):
        fit(np.array([1.0, 1.0, 2.0, 2.0]))


@pytest.mark.parametrize("wrong", [0.0, -0.01, np.nan])
def test_points_without_uncertainty_are_named(wrong):
    u = U.copy()
    u[[1, 4]] = wrong
    with pytest.raises(CurveError, match=r"point\(s\) 2, 5"):
        weighted(X, Y, u, 1)


def test_a_scatter_cannot_come_from_points_that_the_curve_passes_through():
    with pytest.raises(CurveError, match="2 points leave nothing"):
        unweighted(np.array([1.0, 2.0]), np.array([1.0, 2.0]), 1)


@pytest.mark.parametrize(
    "matrix", [np.zeros((2, 2)), np.array([[4.0, 2.0], [2.0, 1.0]]), np.array([[2.0, 1.0], [1.0, 3.0]])]
)
def test_a_covariance_matrix_may_be_singular(matrix):
    factor = cholesky_of(matrix)
    assert factor @ factor.T == pytest.approx(matrix, abs=1e-12)
