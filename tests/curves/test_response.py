"""Response curves: their definitions, inverses, covariance, and where they refuse."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.curves.choice import Comparisons, choose_response
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
            fit_response(
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
