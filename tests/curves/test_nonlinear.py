"""Nonlinear least squares against straight lines, odrpack, published starts and hand calculation."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from odrpack import odr_fit
from scipy.optimize import least_squares

from calib.curves import nonlinear, regression
from calib.curves.nonlinear import complex_step, nonlinear_unweighted, nonlinear_weighted
from calib.errors import CurveError

seeds = st.integers(0, 2**32 - 1)
few = settings(max_examples=25)
X = np.array([0.5, 1.0, 2.0, 4.0, 7.0, 11.0, 16.0])


def king(b, x):
    """King's law a + b x^n."""
    return b[0] + b[1] * x ** b[2]


def king_by_b(b, x):
    return np.column_stack([np.ones_like(x), x ** b[2], b[1] * x ** b[2] * np.log(x)])


def line(b, x):
    return b[0] + b[1] * x


def measured(seed, relative=0.01):
    """King's law with scatter: b, y, u."""
    random = np.random.default_rng(seed)
    b = random.uniform([1.0, 0.5, 0.35], [2.0, 1.5, 0.55])
    u = relative * random.uniform(0.5, 2.0, X.size)
    return b, king(b, X) + u * random.normal(size=X.size), u


@given(seeds)
def test_a_line_is_that_of_the_linear_regression(seed):
    _, y, u = measured(seed)
    fit = nonlinear_weighted(line, X, y, u, np.array([0.0, 0.0]))
    b, covariance = regression.weighted(X, y, u, 1).in_powers_of_x()
    assert fit.parameters == pytest.approx(b, rel=1e-10)
    assert fit.covariance == pytest.approx(covariance, rel=1e-10)
    assert fit.degrees_of_freedom == 5


@given(seeds)
def test_unknown_scatter_is_that_of_the_residuals(seed):
    _, y, _ = measured(seed)
    fit = nonlinear_unweighted(line, X, y, np.array([0.0, 0.0]))
    b, covariance = regression.unweighted(X, y, 1).in_powers_of_x()
    assert fit.parameters == pytest.approx(b, rel=1e-10)
    assert fit.standard_uncertainty == pytest.approx(np.sqrt(np.diag(covariance)), rel=1e-10)
    assert fit.chi_squared / fit.degrees_of_freedom == pytest.approx(np.sum((y - line(b, X)) ** 2) / 5, rel=1e-10)


@few
@given(seeds)
def test_a_curve_is_that_of_odrpack(seed):
    # odrpack stops where the sum of squares, flat at its minimum, falls no more: its parameters are then right to 1e-9 to 3e-7 of
    # their uncertainty and its covariance to 1e-7. (Without `jac_x` it leaves `jac_beta` aside, and reaches 1e-4.)
    b, y, u = measured(seed)
    fit = nonlinear_weighted(king, X, y, u, b)
    reference = odr_fit(
        lambda x, beta: king(beta, x),
        X,
        y,
        b,
        weight_y=u**-2.0,
        task="OLS",
        jac_beta=lambda x, beta: king_by_b(beta, x).T,
        jac_x=lambda x, beta: beta[1] * beta[2] * x ** (beta[2] - 1.0),
        sstol=1e-15,
        partol=1e-14,
        maxit=1000,
    )
    spread = np.sqrt(np.diag(reference.cov_beta))
    assert np.max(np.abs(fit.parameters - reference.beta) / spread) < 2e-6
    assert fit.covariance / np.outer(spread, spread) == pytest.approx(
        reference.cov_beta / np.outer(spread, spread), abs=1e-6
    )
    assert fit.chi_squared == pytest.approx(reference.sum_square, rel=1e-9)


@given(seeds)
def test_the_sum_of_squares_is_stationary_at_the_minimum(seed):
    # What odrpack cannot show to nine digits: the residuals are orthogonal to every derivative.
    b, y, u = measured(seed)
    fit = nonlinear_weighted(king, X, y, u, b)
    jacobian = king_by_b(fit.parameters, X) / u[:, np.newaxis]
    pull = jacobian.T @ ((y - king(fit.parameters, X)) / u)
    assert np.linalg.solve(jacobian.T @ jacobian, pull) / fit.standard_uncertainty == pytest.approx(0.0, abs=1e-9)
    assert fit.covariance == pytest.approx(np.linalg.inv(jacobian.T @ jacobian), rel=1e-9)


@few
@given(seeds)
def test_a_jacobian_given_leads_to_the_same_fit_as_complex_steps(seed):
    b, y, u = measured(seed)
    one, other = nonlinear_weighted(king, X, y, u, b), nonlinear_weighted(king, X, y, u, b, king_by_b)
    assert other.parameters == pytest.approx(one.parameters, rel=1e-11)
    assert other.covariance == pytest.approx(one.covariance, rel=1e-11)


def test_complex_steps_give_derivatives_to_the_last_digits():
    b = np.array([1.3, 0.8, 0.45])
    assert complex_step(king, b, X) == pytest.approx(king_by_b(b, X), rel=1e-15)
    assert complex_step(king, np.array([0.0, 0.0, 0.45]), X) == pytest.approx(
        king_by_b(np.array([0.0, 0.0, 0.45]), X), rel=1e-15
    )


def test_places_may_have_several_coordinates():
    places = np.array([[1.0, 0.0], [0.0, 1.0], [1.0, 1.0], [2.0, 1.0]])
    fit = nonlinear_unweighted(lambda b, x: x @ b, places, places @ [2.0, 3.0], np.array([1.0, 1.0]))
    assert fit.parameters == pytest.approx([2.0, 3.0])


def test_points_on_the_curve_leave_no_scatter():
    b = np.array([1.3, 0.8, 0.45])
    fit = nonlinear_unweighted(king, X, king(b, X), np.array([1.0, 1.0, 0.5]))
    assert fit.parameters == pytest.approx(b, rel=1e-12)
    assert fit.chi_squared == pytest.approx(0.0, abs=1e-28)


def test_as_many_points_as_parameters_leave_no_degree_of_freedom():
    b = np.array([1.3, 0.8, 0.45])
    fit = nonlinear_weighted(king, X[:3], king(b, X[:3]), np.full(3, 0.1), np.array([1.0, 1.0, 0.5]))
    assert fit.degrees_of_freedom == 0
    assert fit.chi_squared == pytest.approx(0.0, abs=1e-14)
    assert fit.parameters == pytest.approx(b)


def test_scaling_enlarges_the_covariance_and_nothing_else():
    b, y, u = measured(4)
    fit = nonlinear_weighted(king, X, y, u, b)
    larger = fit.scaled(4.0)
    assert larger.standard_uncertainty == pytest.approx(2 * fit.standard_uncertainty)
    assert larger.parameters is fit.parameters


def test_the_covariance_of_known_scatter_is_not_scaled_by_the_residuals():
    b, y, u = measured(4)
    one, other = nonlinear_weighted(king, X, y, u, b), nonlinear_weighted(king, X, y, 10 * u, b)
    assert other.parameters == pytest.approx(one.parameters)
    assert other.standard_uncertainty == pytest.approx(10 * one.standard_uncertainty)
    assert one.chi_squared == pytest.approx(100 * other.chi_squared)


def test_residuals_lie_above_the_curve_in_the_unit_of_y():
    b, y, u = measured(4)
    fit = nonlinear_weighted(king, X, y, u, b)
    residuals = y - king(fit.parameters, X)
    assert fit.residuals == pytest.approx(residuals, rel=1e-9)
    assert fit.chi_squared == pytest.approx(np.sum((residuals / u) ** 2), rel=1e-9)


def test_a_fit_reports_how_it_converged():
    b, y, u = measured(4)
    fit = nonlinear_weighted(king, X, y, u, b)
    assert 2 <= fit.iterations < 100


@pytest.mark.parametrize(("near", "steps"), [(True, 2), (False, 1)])
def test_the_steps_of_a_line_are_counted_with_those_that_come_near(near, steps):
    """One step from afar and one to see that nothing moves; after scipy's evaluations, the latter alone."""
    _, y, u = measured(4)
    start = np.array([0.0, 0.0])
    by_scipy = least_squares(
        lambda b: (line(b, X) - y) / u,
        start,
        method="lm",
        x_scale="jac",
        ftol=1e-15,
        xtol=1e-15,
        gtol=1e-15,
        jac=lambda _b: np.column_stack([np.ones_like(X), X]) / u[:, np.newaxis],
    )
    fit = nonlinear_weighted(line, X, y, u, start, near=near)
    assert fit.iterations == steps + (0 if near else by_scipy.nfev)


def test_a_parameter_in_a_large_unit_is_found_as_well_as_in_a_small_one():
    # A rate of 0.3 per 2^60 of the unit of x, which is exact.
    far = X * 2.0**60
    fit = nonlinear_unweighted(lambda b, x: np.exp(b[0] * x), far, np.exp(0.3 * X), np.array([0.25 / 2**60]), near=True)
    assert fit.parameters * 2.0**60 == pytest.approx([0.3], rel=1e-12)


@pytest.mark.parametrize("start", [0.0, 1.0])
def test_a_level_of_nothing_comes_to_rest(start):
    begin = np.array([start, 2.0])
    known = nonlinear_weighted(line, X, 2.0 * X, np.full(7, 0.1), begin)
    assert known.parameters == pytest.approx([0.0, 2.0], abs=1e-12)
    near = nonlinear_unweighted(line, X, 2.0 * X, np.array([0.0, 2.0]), near=True)
    assert (near.parameters.tolist(), near.iterations) == ([0.0, 2.0], 1)


def test_a_step_that_makes_it_worse_is_halved_until_it_does_not():
    # arctan b = 0 from b = 4: the step is -17 arctan 4; |arctan| is larger after all and after half of it, not after a quarter.
    tried = []

    def model(b, x):
        tried.append(float(b[0]))
        return np.arctan(b[0] - x)

    fit = nonlinear_weighted(
        model,
        np.zeros(1),
        np.zeros(1),
        np.ones(1),
        np.array([4.0]),
        lambda b, x: (1 / (1 + (b[0] - x) ** 2))[:, np.newaxis],
        near=True,
    )
    step = -17 * np.arctan(4.0)
    distinct = list(dict.fromkeys(tried))
    assert distinct[:4] == pytest.approx([4.0, 4.0 + step, 4.0 + step / 2, 4.0 + step / 4], rel=1e-12)
    assert fit.parameters == pytest.approx([0.0], abs=1e-12)


def test_a_step_is_halved_29_times_at_most():
    # A slope of the wrong sign leads away from b = 0, however little of the step is taken.
    tried = []

    def model(b, _x):
        tried.append(float(b[0]))
        return b

    with pytest.raises(CurveError, match="no convergence"):
        nonlinear_weighted(
            model, np.zeros(1), np.zeros(1), np.ones(1), np.ones(1), lambda _b, _x: -np.ones((1, 1)), near=True
        )
    distinct = list(dict.fromkeys(tried))
    assert distinct[:31] == [1.0, *(1.0 + 0.5**halvings for halvings in range(30))]
    assert 1.0 + 0.5**30 not in distinct


def test_a_step_may_raise_the_sum_of_squares_by_the_rounding_of_floats():
    # From b = 2 the whole step leads to 1, where chi-squared is larger by 1e-12 of itself.
    tried = []

    def model(b, _x):
        tried.append(float(b[0]))
        return np.array([1.0, 1e-6 * (2.0 - b[0])])

    def slope(_b, _x):
        return np.array([[1.0], [0.0]])

    with pytest.raises(CurveError):
        nonlinear_weighted(model, np.zeros(2), np.zeros(2), np.ones(2), np.array([2.0]), slope, near=True)
    assert list(dict.fromkeys(tried))[:3] == [2.0, 1.0, 0.0]


@pytest.mark.parametrize(
    ("b", "u", "largest"),
    [(1.0, 1e-9, 1e-15), (-2.0, 1e-9, 2e-15), (1.0, 1.0, 1.001e-12), (0.0, 0.5, 0.5e-12), (8.0, 0.03, 38e-15)],
)
@pytest.mark.parametrize(("part", "steps"), [(0.96, 1), (0.9996, 1), (1.0004, 2), (1.04, 2)])
def test_a_fit_rests_when_a_step_is_1e_12_of_the_uncertainty_and_a_thousandth_of_the_parameter(
    b, u, largest, part, steps
):
    fit = nonlinear_weighted(
        lambda each, _x: (each - b) + part * largest,
        np.zeros(1),
        np.zeros(1),
        np.array([u]),
        np.array([b]),
        lambda _b, _x: np.ones((1, 1)),
        near=True,
    )
    assert fit.iterations == steps


def test_a_start_that_is_not_so_near_leads_there_all_the_same():
    # From b = 5 whole steps of exp(b x) reach what floats do not hold.
    y = np.exp(0.3 * X)
    fit = nonlinear_unweighted(lambda b, x: np.exp(b[0] * x), X, y, np.array([5.0]), near=True)
    assert fit.parameters == pytest.approx([0.3], rel=1e-9)


def test_a_model_that_overflows_on_the_way_is_no_harm():
    # From 5 the first steps reach exponents beyond what floats hold.
    y = np.exp(0.3 * X)
    fit = nonlinear_unweighted(lambda b, x: np.exp(b[0] * x), X, y, np.array([5.0]))
    assert fit.parameters == pytest.approx([0.3], rel=1e-9)


# --- what is refused ---


@pytest.mark.parametrize("wrong", [0.0, -0.1, np.nan, np.inf])
def test_an_uncertainty_that_is_none_is_refused_with_its_points(wrong):
    u = np.full(7, 0.1)
    u[[0, 6]] = wrong
    with pytest.raises(CurveError, match=r"point\(s\) 1, 7: the uncertainty must be above 0 and finite"):
        nonlinear_weighted(king, X, X, u, np.ones(3))


def test_fewer_points_than_parameters_are_refused():
    with pytest.raises(CurveError, match="2 points determine no 3 parameters: compare at more places"):
        nonlinear_weighted(king, X[:2], X[:2], np.ones(2), np.ones(3))


def test_a_scatter_cannot_come_from_points_that_the_curve_passes_through():
    with pytest.raises(CurveError, match="3 points leave nothing to estimate the scatter of 3 parameters"):
        nonlinear_unweighted(king, X[:3], X[:3], np.ones(3))


def test_points_where_the_model_has_no_value_at_the_start_are_named():
    x = np.array([-1.0, 0.5, 1.0, 2.0, 3.0])
    with pytest.raises(CurveError, match=r"point\(s\) 1: value or model is not finite at the start"):
        nonlinear_unweighted(king, x, x, np.array([1.0, 1.0, 0.5]))


@pytest.mark.parametrize("near", [True, False])
def test_points_where_the_slope_has_no_value_are_named(near):
    def slope(_b, x):
        return np.column_stack([np.ones_like(x), np.where((x == X[1]) | (x == X[6]), np.nan, x)])

    with pytest.raises(CurveError, match=r"point\(s\) 2, 7: the slope of the model is not finite there"):
        nonlinear_weighted(line, X, 2.0 * X + 1.0, np.ones(7), np.zeros(2), slope, near=near)


def test_parameters_are_told_apart_by_a_direction_larger_than_the_limit_alone(monkeypatch):
    # The scaled Jacobian of a single parameter is 1 long.
    monkeypatch.setattr(nonlinear, "SINGULAR", 1.0)
    with pytest.raises(CurveError, match=r"1 points do not tell apart the parameter\(s\) 1"):
        nonlinear_weighted(lambda b, x: b * x, np.ones(1), np.ones(1), np.ones(1), np.zeros(1))


def test_parameters_that_the_points_do_not_tell_apart_are_named():
    with pytest.raises(CurveError, match=r"7 points do not tell apart the parameter\(s\) 1, 2: fix one"):
        nonlinear_unweighted(lambda b, x: (b[0] + b[1]) * x + b[2], X, 2.0 * X, np.array([1.0, 1.0, 1.0]))


@pytest.mark.parametrize(("share", "named"), [(0.31, "1, 2, 3"), (0.29, "2, 3")])
def test_a_parameter_that_has_little_to_do_with_the_others_is_not_named(share, named):
    # The third column is a p + b q, with a^2 + b^2 = 1: the parameters change along (a, b, -1) without any effect.
    p, q = 0.5 * np.ones(4), 0.5 * np.array([1.0, -1.0, 1.0, -1.0])
    places = np.column_stack([p, q, share * p + np.sqrt(1 - share**2) * q])
    y = np.array([1.0, 2.0, 2.5, 3.0])
    with pytest.raises(CurveError, match=rf"4 points do not tell apart the parameter\(s\) {named}: fix one"):
        nonlinear_unweighted(lambda b, x: x @ b, places, y, np.ones(3))


def test_a_parameter_without_effect_is_named():
    with pytest.raises(CurveError, match=r"parameter\(s\) 2: fix one"):
        nonlinear_unweighted(lambda b, x: b[0] * x + 0.0 * b[1], X, 2.0 * X + np.sin(X), np.array([1.0, 1.0]))


def test_a_model_that_loses_imaginary_parts_needs_its_jacobian():
    with pytest.raises(CurveError, match="give its Jacobian"):
        nonlinear_unweighted(lambda b, x: np.abs(b[0]) * x, X, X, np.array([1.0]))


def test_a_fit_that_does_not_converge_names_the_points_farthest_away():
    # The points fall while the model can only rise: its rate runs away without end.
    y = np.array([5.0, 4.0, 3.0, 2.0, 1.0, 0.5, 0.25])
    message = r"no convergence in \d+ iterations; .* points \d, \d, \d: check these|do not tell apart"
    with pytest.raises(CurveError, match=message):
        nonlinear_unweighted(lambda b, x: b[0] * np.exp(np.exp(b[1]) * x), X, y, np.array([1.0, -1.0]))


def test_a_model_that_loses_imaginary_parts_is_fitted_by_its_jacobian():
    model, slope = (lambda b, x: np.abs(b[0]) * x), (lambda b, x: np.sign(b[0]) * x[:, np.newaxis])
    one = nonlinear_weighted(model, X, 2.0 * X, np.ones(7), np.array([1.0]), slope)
    other = nonlinear_unweighted(model, X, 2.0 * X, np.array([1.0]), slope)
    assert (float(one.parameters[0]), float(other.parameters[0])) == pytest.approx((2.0, 2.0))


def test_a_fit_stops_after_2000_evaluations_and_200_steps_and_names_the_points_farthest_away_first():
    # The best of King's law is here a + b ln x, which it comes near as n falls to 0 and never reaches.
    y = np.array([5.0, 4.0, 3.0, 2.0, 1.0, 0.5, 0.25])
    away = np.abs(y - np.polyval(np.polyfit(np.log(X), y, 1), np.log(X)))
    first, second, third = 1 + np.argsort(-away)[:3]
    message = rf"no convergence in 2200 iterations; .* are points {first}, {second}, {third}: check"
    with pytest.raises(CurveError, match=message):
        nonlinear_unweighted(king, X, y, np.array([1.0, -1.0, 0.1]), king_by_b)
