"""Response curves: their definitions, inverses, covariance, and where they refuse."""

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import curve_fit
from scipy.stats import chi2

from calib.curves.choice import Comparisons, averaged_scatter, choose_response, own_scatter
from calib.curves.regression import cholesky_of
from calib.curves.response import (
    CANDIDATES,
    KING,
    KING_SQUARE_ROOT,
    LINE,
    POWER,
    PROPORTIONAL,
    RESPONSE_SHAPES,
    ResponseCurve,
    curve_from_text,
    fit_response,
)
from calib.errors import CurveError, MeasuringIntervalError
from calib.uncertainty.coverage import coverage_factor

V = np.array([0.5, 0.9, 1.6, 2.8, 5.0, 8.0, 12.0, 18.0])
# Coefficients near those of real sensors, and the indications that follow from each definition.
EXACT = {
    "proportional": ([0.1], 0.1 * V),
    "line": ([0.4, 0.25], 0.4 + 0.25 * V),
    "power": ([np.log(0.6), 2.0], 0.6 * V**2),
    "king square root": ([1.7, 0.7], np.sqrt(1.7 + 0.7 * np.sqrt(V))),
    "king": ([1.45, 0.9, 0.43], np.sqrt(1.45 + 0.9 * V**0.43)),
}
shapes = pytest.mark.parametrize("name", sorted(EXACT))


def curve_of(name, u=0.002):
    theta, x = EXACT[name]
    fit = fit_response(RESPONSE_SHAPES[name], V, x, np.full(V.size, u))
    return np.array(theta), x, ResponseCurve(1.0, True, x, np.full(V.size, 0.01), fit)


@shapes
def test_exact_comparisons_give_the_coefficients_they_were_made_with(name):
    theta, _, curve = curve_of(name)
    assert curve.coefficients == pytest.approx(theta, rel=1e-9)


@shapes
def test_the_value_at_each_indication_is_the_reference(name):
    _, x, curve = curve_of(name)
    assert curve.value(x) == pytest.approx(V, rel=1e-9)


@shapes
def test_the_sensitivity_is_the_slope_of_the_value(name):
    _, x, curve = curve_of(name)
    middle = 0.5 * (x[1:] + x[:-1])
    step = 1e-6 * middle
    slope = (curve.value(middle + step) - curve.value(middle - step)) / (2 * step)
    assert curve.sensitivity(middle) == pytest.approx(slope, rel=1e-6)


@shapes
def test_the_scatter_is_what_refitting_scattered_comparisons_shows(name):
    theta, x, curve = curve_of(name)
    generator = np.random.default_rng(7)
    again = [
        RESPONSE_SHAPES[name].inverse(
            RESPONSE_SHAPES[name].ordinate(x),
            *fit_response(
                RESPONSE_SHAPES[name], V, x + generator.normal(0.0, 0.002, V.size), np.full(V.size, 0.002)
            ).coefficients,
        )
        for _ in range(120)
    ]
    assert curve.scatter_uncertainty(x) == pytest.approx(
        np.std(again, axis=0), rel=0.3
    )  # four standard deviations of a standard deviation from 120
    assert theta.size == curve.parts


@shapes
def test_the_curve_reads_back_from_the_records(name):
    _, x, curve = curve_of(name)
    again = curve_from_text(curve.as_text())
    assert again.value(x).tolist() == curve.value(x).tolist()
    assert again.scatter_uncertainty(x).tolist() == curve.scatter_uncertainty(x).tolist()


@shapes
def test_outside_the_measuring_interval_the_curve_refuses(name):
    _, x, curve = curve_of(name)
    with pytest.raises(MeasuringIntervalError):
        curve.value(x.max() * 1.001)


@given(st.floats(0.3, 0.6), st.floats(0.5, 2.0), st.floats(0.3, 1.5))
def test_kings_law_converges_from_any_start_that_occurs(n, a, b):
    x = np.sqrt(a + b * V**n)
    assert fit_response(KING, V, x, None).coefficients == pytest.approx([a, b, n], rel=1e-6)


def test_kings_law_starts_from_the_exponent_that_king_derived():
    """Where that is the exponent, the line through the roots of the velocities is the fit, and no step moves it."""
    x = EXACT["king square root"][1]
    assert fit_response(KING, V, x, np.full(V.size, 0.002)).iterations == 1


def test_kings_law_is_found_where_whole_steps_from_the_square_root_run_away():
    v = np.array([0.15, 0.2, 0.8, 8.44, 24.0, 31.3])
    x = np.array([0.946, 0.99, 1.05, 2.023, 2.796, 3.248])
    u = np.array([0.0707, 0.0843, 0.0991, 0.1441, 0.1911, 0.4149])
    fit = fit_response(KING, v, x, u)
    _, response, _, _ = BY_HAND["king"]
    theta, _ = curve_fit(response, v, x**2, [0.8, 0.5, 0.8], 2 * x * u, xtol=1e-14, ftol=1e-14, gtol=1e-14)
    assert fit.coefficients == pytest.approx(theta, rel=1e-6)


def test_weights_follow_the_ordinate():
    # u(x^2) = 2 x u(x): a line in sqrt(v) with those weights, by numpy.
    _, x = EXACT["king square root"]
    noisy = x + 0.01 * np.sin(np.arange(V.size))
    u = np.linspace(0.001, 0.004, V.size)
    slope, level = np.polyfit(np.sqrt(V), noisy**2, 1, w=1 / (2 * noisy * u))
    assert fit_response(KING_SQUARE_ROOT, V, noisy, u).coefficients == pytest.approx([level, slope])


@pytest.mark.parametrize("shape", [KING, KING_SQUARE_ROOT, POWER])
def test_a_comparison_at_zero_flow_is_named_where_the_shape_cannot_hold_it(shape):
    v, x = np.concatenate(([0.0], V)), np.concatenate(([1.2], EXACT["king"][1]))
    with pytest.raises(CurveError, match="comparison 1"):
        fit_response(shape, v, x, None)


def test_of_several_comparisons_that_a_shape_cannot_hold_the_first_is_named():
    v, x = np.array([1.0, 0.0, 2.0, -3.0, 4.0]), np.array([1.1, 1.2, 1.3, 1.4, 1.5])
    with pytest.raises(CurveError, match=r"comparison 2 \(reference 0, indication 1.2\)"):
        fit_response(POWER, v, x, None)
    with pytest.raises(CurveError, match=r"comparison 4 \(reference 4, indication 0\)"):
        fit_response(POWER, np.array([1.0, 2.0, 3.0, 4.0]), np.array([1.0, 2.0, 3.0, 0.0]), None)
    assert fit_response(LINE, v, x, None).degrees_of_freedom == 3  # a line holds them all


def test_as_many_values_as_coefficients_are_passed_through():
    v = np.array([1.0, 4.0, 9.0])
    fit = fit_response(KING, v, np.sqrt(1.45 + 0.9 * v**0.43), np.full(3, 0.002))
    assert fit.coefficients == pytest.approx([1.45, 0.9, 0.43], rel=1e-9)
    assert fit.degrees_of_freedom == 0


# Slopes and derivatives by hand, at v = 4 and, where it counts, theta = (1.5, 0.9, 0.43).
SLOPES = {
    "proportional": ([1.5], 1.5, [4.0]),
    "line": ([1.5, 0.9], 0.9, [1.0, 4.0]),
    "power": ([1.5, 0.9], 0.9 / 4, [1.0, np.log(4.0)]),
    "king square root": ([1.5, 0.9], 0.9 / (2 * 2.0), [1.0, 2.0]),
    "king": ([1.5, 0.9, 0.43], 0.9 * 0.43 * 4**-0.57, [1.0, 4**0.43, 0.9 * 4**0.43 * np.log(4.0)]),
}


@shapes
def test_the_slopes_of_each_shape_are_the_derivatives_of_its_definition(name):
    shape, (theta, by_value, by_theta) = RESPONSE_SHAPES[name], SLOPES[name]
    v = np.array([4.0, 4.0])
    assert shape.response_slope(v, *theta) == pytest.approx(2 * [by_value], rel=1e-12)
    assert shape.gradient(v, *theta) == pytest.approx(np.array(2 * [by_theta]), rel=1e-12)


@pytest.mark.parametrize("shape", [KING, KING_SQUARE_ROOT])
def test_below_the_level_of_no_flow_kings_law_gives_no_flow(shape):
    theta = (1.5, 0.9, 0.5)[: len(shape.parameters)]
    assert shape.inverse(np.array([1.4, 1.5, 1.5 + 0.9 * 3.0]), *theta) == pytest.approx([0.0, 0.0, 9.0], rel=1e-12)


def test_scaling_enlarges_the_covariance_and_nothing_else():
    fit = fit_response(LINE, V, EXACT["line"][1], np.full(V.size, 0.002))
    assert fit.scaled(2.25).covariance == pytest.approx(2.25 * fit.covariance, rel=1e-14)
    assert fit.scaled(2.25).coefficients is fit.coefficients


def test_a_fit_says_its_residuals_and_derivatives_in_the_indication():
    """Those of x^2, over dx^2/dx = 2 x; chi-squared from the residuals over u."""
    x = EXACT["king square root"][1] + NOISE
    u = np.linspace(0.003, 0.006, V.size)
    fit = fit_response(KING_SQUARE_ROOT, V, x, u)
    slope, level = np.polyfit(np.sqrt(V), x**2, 1, w=1 / (2 * x * u))
    residuals = (x**2 - level - slope * np.sqrt(V)) / (2 * x)
    assert fit.residuals == pytest.approx(residuals, rel=1e-9)
    assert fit.jacobian == pytest.approx(np.column_stack([1 / (2 * x), np.sqrt(V) / (2 * x)]), rel=1e-12)
    assert fit.chi_squared == pytest.approx(np.sum((residuals / u) ** 2), rel=1e-9)
    assert fit.probability == pytest.approx(chi2.sf(fit.chi_squared, 6), rel=1e-12)


def test_the_parts_of_the_scatter_carry_the_sign_of_what_a_coefficient_does_to_the_value():
    """Of v = ((x^2 - a)/b)^2: dv/da = -2 (x^2 - a)/b^2, dv/db = -2 (x^2 - a)^2/b^3."""
    (a, b), x, curve = curve_of("king square root")
    above = x[3] ** 2 - a
    gradient = np.array([-2 * above / b**2, -2 * above**2 / b**3])
    assert curve.scatter_parts(x[3]) == pytest.approx(gradient @ cholesky_of(curve.covariance), rel=1e-9)


def test_fewer_values_than_coefficients_are_refused_with_the_next_step():
    with pytest.raises(CurveError, match="compare at 3 or more"):
        fit_response(KING, np.array([1.0, 2.0, 2.0]), np.array([1.5, 1.6, 1.6]), None)


def stated(x, u=0.002):
    return Comparisons(V, x, np.full(V.size, 0.01), np.full(V.size, u))


def test_the_simplest_shape_that_chi_squared_does_not_reject_is_chosen():
    noise = 0.001 * np.cos(3.0 * np.arange(V.size))
    choice = choose_response(stated(EXACT["king square root"][1] + noise), CANDIDATES["voltage"])
    assert choice.chosen.fit.shape is KING_SQUARE_ROOT


def test_without_stated_repeatability_the_lowest_aicc_is_chosen():
    noise = 0.001 * np.cos(3.0 * np.arange(V.size))
    points = Comparisons(V, EXACT["line"][1] + noise, np.full(V.size, 0.01), None)
    assert choose_response(points, CANDIDATES["voltage"]).chosen.fit.shape is LINE


def test_a_person_may_name_a_shape():
    choice = choose_response(stated(EXACT["line"][1]), CANDIDATES["voltage"], "proportional")
    assert choice.chosen.fit.shape is PROPORTIONAL
    assert choice.reason == "chosen by a person"


def test_a_shape_that_is_no_candidate_is_refused_with_those_that_are():
    with pytest.raises(CurveError, match="power is no candidate here"):
        choose_response(stated(EXACT["line"][1]), CANDIDATES["voltage"], "power")


def test_too_few_comparisons_for_any_shape_say_so():
    points = Comparisons(V[:2], V[:2], np.full(2, 0.01), np.full(2, 0.01))
    with pytest.raises(CurveError, match="too few"):
        choose_response(points, CANDIDATES["voltage"])


@shapes
def test_the_inverse_gives_back_the_indication(name):
    _, x, curve = curve_of(name)
    middle = float(0.4 * x.min() + 0.6 * x.max())
    assert curve.indication(float(curve.value(middle))) == pytest.approx(middle, rel=1e-9)


def test_a_value_that_the_curve_gives_nowhere_has_no_inverse():
    _, _, curve = curve_of("king")
    with pytest.raises(CurveError, match="no indication between"):
        curve.indication(50.0)


# --- the scatter of a shape that was chosen on the residuals that tell it ---------------------------------------------------------

NOISE = 0.004 * np.array([1.0, -1.0, -0.5, 0.5, 1.0, -1.0, 0.8, -0.8])
VOLTAGES = CANDIDATES["voltage"]
# The definitions once more: ordinate, response and inverse of the candidates of a voltage.
BY_HAND = {
    "proportional": (lambda x: x, lambda v, b: b * v, lambda y, b: y / b, [0.3]),
    "line": (lambda x: x, lambda v, a, b: a + b * v, lambda y, a, b: (y - a) / b, [1.0, 0.1]),
    "king square root": (lambda x: x**2, lambda v, a, b: a + b * v**0.5, lambda y, a, b: ((y - a) / b) ** 2, [1.7, 0.7]),
    "king": (lambda x: x**2, lambda v, a, b, n: a + b * v**n, lambda y, a, b, n: ((y - a) / b) ** (1 / n), [1.7, 0.7, 0.5]),
}  # fmt: skip


def of_voltage(noise):
    x = EXACT["king square root"][1] + noise
    return Comparisons(V, x, np.full(V.size, 0.01), None)


def averaged_by_hand(points, at, chosen):
    """u of the scatter and its degrees of freedom from scipy's fits of all candidates, the mean over them by BIC."""
    n, found = points.indication.size, []
    for ordinate, response, inverse, start in BY_HAND.values():
        y = ordinate(points.indication)
        theta, covariance = curve_fit(response, points.reference, y, start, xtol=1e-14, ftol=1e-14, gtol=1e-14)
        p, residuals = theta.size, y - response(points.reference, *theta)
        slope = 2 * points.indication if ordinate(2.0) == 4.0 else 1.0
        bic = n * np.log(np.sum((residuals / slope) ** 2) / n) + (p + 1) * np.log(n)
        steps = 1e-6 * np.diag(np.abs(theta))
        y_at = ordinate(at)
        gradient = [(inverse(y_at, *(theta + h)) - inverse(y_at, *(theta - h))) / (2 * h.sum()) for h in steps]
        found.append((bic, inverse(y_at, *theta), np.array(gradient) @ covariance @ np.array(gradient), n - p))
    bic, value, variance, dof = (np.array(column) for column in zip(*found, strict=True))
    weights = np.exp(-0.5 * (bic - bic.min()))
    weights /= weights.sum()
    about = value[list(BY_HAND).index(chosen)]
    return np.sqrt(weights @ (variance + (value - about) ** 2)), 1 / (weights @ (1 / dof))


@pytest.mark.parametrize("v", [0.6, 3.3, 15.0])
def test_without_stated_repeatability_the_scatter_is_that_of_all_shapes_about_the_chosen_one(v):
    points = of_voltage(NOISE)
    choice = choose_response(points, VOLTAGES)
    at = float(np.sqrt(1.7 + 0.7 * np.sqrt(v)))
    u, dof = averaged_by_hand(points, at, choice.chosen.shape)
    assert choice.curve.scatter_uncertainty(at) == pytest.approx(u, rel=1e-4)
    assert choice.curve.degrees_of_freedom == pytest.approx(dof, rel=1e-5)
    assert choice.curve.value(at) == pytest.approx(
        choose_response(points, VOLTAGES, scatter=own_scatter).curve.value(at)
    )


def test_comparisons_that_a_shape_passes_through_have_the_scatter_of_their_rounding():
    """Voltages to 1 mV, velocities to 0.01 m/s: what is off by one step moves the voltage by dx/dv steps."""
    x = EXACT["line"][1]
    points = Comparisons(V, x, np.full(V.size, 0.01), None)
    points = replace(points, reference_rounding=0.01 / np.sqrt(12), indication_rounding=0.001 / np.sqrt(12))
    curve = choose_response(points, (LINE,)).curve
    u_x = np.hypot(0.001, 0.25 * 0.01) / np.sqrt(12)
    design = np.column_stack([np.ones_like(V), V])
    covariance = u_x**2 * np.linalg.inv(design.T @ design)
    gradient = -np.array([1.0, 5.0]) / 0.25
    assert curve.scatter_uncertainty(0.4 + 0.25 * 5.0) == pytest.approx(
        np.sqrt(gradient @ covariance @ gradient), rel=1e-9
    )


def test_a_curve_with_the_scatter_of_all_shapes_is_read_back_whole():
    curve = choose_response(of_voltage(NOISE), VOLTAGES).curve
    again, x = curve_from_text(curve.as_text()), curve.reference_indications
    assert again.scatter_parts(x).tolist() == curve.scatter_parts(x).tolist()
    assert again.degrees_of_freedom == curve.degrees_of_freedom
    assert again.parts == curve.parts == curve.scatter_parts(x).shape[1]


def test_coefficients_drawn_by_their_covariance_scatter_the_value_by_u():
    """What Monte Carlo draws is what the law takes: of small errors, to the scatter of 40,000 draws."""
    curve = choose_response(of_voltage(0.02 * NOISE), VOLTAGES).curve
    generator, at = np.random.default_rng(20261129), float(np.sqrt(1.7 + 0.7 * np.sqrt(5.0)))
    draws = generator.multivariate_normal(curve.coefficients, curve.covariance, 40_000, method="cholesky")
    values = curve.value_with(np.full(40_000, at), draws)
    assert np.mean(values) == pytest.approx(float(curve.value(at)), abs=0.02 * np.std(values))
    assert np.std(values) == pytest.approx(float(curve.scatter_uncertainty(at)), rel=0.02)


def test_a_value_with_other_coefficients_adds_what_each_shape_moves_by_its_share():
    """v + sum over k of sqrt(w_k) (v_k(theta') - v_k(theta) + e_k (v_k(theta) - v)), worked shape by shape and row by row."""
    curve = choose_response(of_voltage(NOISE), VOLTAGES).curve
    steps = np.outer([0.01, -0.02, 0.03], np.linspace(0.5, 1.5, curve.parts))
    drawn = curve.coefficients * (1 + steps)
    drawn[:, -4:] = [[0.7, -0.4, 1.3, 0.2], [-0.6, 0.9, 0.3, -1.1], [0.5, 0.8, -0.2, 1.7]]
    at = np.array([1.6, 1.8, 2.0])
    for x, row, value in zip(at.tolist(), drawn, curve.value_with(at, drawn), strict=True):
        v = expected = float(curve.value(x))
        first = 0
        for k, each in enumerate(curve.averaged.shapes):
            ordinate, _, inverse, start = BY_HAND[each.shape.name]
            end = first + len(start)
            of_shape = inverse(ordinate(x), *each.coefficients)
            moved = inverse(ordinate(x), *row[first:end])
            expected += np.sqrt(each.weight) * (moved - of_shape + row[k - 4] * (of_shape - v))
            first = end
        assert value == pytest.approx(expected, rel=1e-12)


@pytest.mark.parametrize("n", [0.5, 0.43])
def test_the_true_response_lies_within_u_of_its_scatter_as_often_as_promised(n):
    # Simulated with the seed below: 150 certificates of eight comparisons, five places of each. A true coverage of 95.45 % is seen
    # below 89 % in less than one of 1,000 runs; that of the chosen shape alone is 1 to 5 % lower.
    generator, places = np.random.default_rng(20261129), np.array([0.7, 1.5, 4.0, 9.0, 16.0])
    covered = {averaged_scatter: 0.0, own_scatter: 0.0}
    for _ in range(150):
        x = np.sqrt(1.6 + 0.8 * V**n) + 0.003 * generator.standard_normal(V.size)
        points = Comparisons(V, x, np.full(V.size, 0.01), None)
        at = np.clip(np.sqrt(1.6 + 0.8 * places**n), x.min(), x.max())
        truth = ((at**2 - 1.6) / 0.8) ** (1 / n)
        for scatter in covered:
            curve = choose_response(points, VOLTAGES, scatter=scatter).curve
            expanded = coverage_factor(curve.degrees_of_freedom) * curve.scatter_uncertainty(at)
            covered[scatter] += np.mean(np.abs(curve.value(at) - truth) <= expanded) / 150
    assert covered[averaged_scatter] > 0.89
    assert covered[averaged_scatter] > covered[own_scatter]
