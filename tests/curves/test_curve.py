"""Correction curve of a calibration (VIM 2.53, 4.31): its two uncertainties and its measuring interval."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.curves.choice import choose
from calib.curves.curve import CorrectionCurve, correction_curve_from_text, reference_part
from calib.curves.regression import weighted
from calib.errors import CurveError, MeasuringIntervalError
from tests.comparisons import certificates, taken

X = np.array([1.0, 2.0, 4.0, 8.0])
# c(x) = 0.1 + 0.02 x exactly.
LINE = CorrectionCurve(
    polynomial=weighted(X, 0.1 + 0.02 * X, np.array([0.01, 0.01, 0.02, 0.02]), 1),
    scale=1.0,
    stated_repeatability=True,
    reference_indications=X,
    reference_uncertainties=np.array([0.02, 0.03, 0.03, 0.10]),
)
fraction = st.floats(0.0, 1.0)


def test_the_corrected_value_is_indication_plus_correction():
    assert LINE.correction([1.0, 5.0]) == pytest.approx([0.12, 0.20])
    assert LINE.value([1.0, 5.0]) == pytest.approx([1.12, 5.20])


def test_an_error_of_the_indication_grows_by_the_slope():
    assert LINE.sensitivity(3.0) == pytest.approx(1.02)


def test_the_measuring_interval_goes_from_the_lowest_to_the_highest_indication():
    assert (LINE.low, LINE.high) == (1.0, 8.0)
    assert LINE.covers([1.0, 4.5, 8.0]).tolist() == [True, True, True]
    assert LINE.covers([np.nextafter(1.0, 0.0), np.nextafter(8.0, 9.0), np.nan]).tolist() == [False, False, False]


@pytest.mark.parametrize(
    "ask",
    [
        LINE.correction,
        LINE.value,
        LINE.sensitivity,
        LINE.scatter_parts,
        LINE.scatter_uncertainty,
        LINE.reference_uncertainty,
    ],
)
@pytest.mark.parametrize("outside", [0.99, 8.01, math.nan, -1.0])
def test_outside_its_measuring_interval_the_curve_refuses_with_the_numbers(ask, outside):
    with pytest.raises(MeasuringIntervalError, match=f"indication {outside:g} .* 1 to 8"):
        ask(np.array([2.0, outside]))


@pytest.mark.parametrize("end", [1.0, 8.0])
def test_the_ends_of_the_measuring_interval_belong_to_it(end):
    assert LINE.value(end) == pytest.approx(end * 1.02 + 0.1)


def test_of_no_indication_there_is_no_value():
    assert LINE.value([]).size == 0


@pytest.mark.parametrize("x", [1.0, 1.1, 5.0, 8.0])
def test_the_inverse_gives_the_indication_of_a_value(x):
    # y = 0.1 + 1.02 x.
    assert LINE.indication(float(LINE.value(x))) == pytest.approx(x, rel=1e-12)
    assert LINE.indication(0.1 + 1.02 * 3.0) == pytest.approx(3.0, rel=1e-12)


@pytest.mark.parametrize("unit", [1.0, 1e-15])
def test_the_inverse_of_a_bent_curve_is_the_root_of_its_square_in_any_unit(unit):
    # y = 0.1 + 1.02 x + 0.01 x^2.
    correction = 0.1 + 0.02 * X + 0.01 * X**2
    bent = replace(
        LINE, polynomial=weighted(unit * X, unit * correction, np.full(4, unit), 2), reference_indications=unit * X
    )
    expected = (-1.02 + math.sqrt(1.02**2 + 0.04 * (6.0 - 0.1))) / 0.02
    assert bent.indication(6.0 * unit) == pytest.approx(unit * expected, rel=1e-12, abs=0)


def test_a_value_with_other_coefficients_adds_their_powers():
    # Powers of t = (x - 4.5)/3.5: at 1 and 8, -1 and 1.
    found = LINE.value_with(np.array([1.0, 8.0]), np.array([[0.5, 0.25], [0.1, 0.3]]))
    assert found == pytest.approx([1.0 + 0.5 - 0.25, 8.0 + 0.1 + 0.3], rel=1e-14)


@pytest.mark.parametrize("value", [1.0, 0.2, 8.5, 30.0])
def test_a_value_that_the_curve_gives_nowhere_is_refused_with_those_of_its_ends(value):
    said = f"no indication between 1 and 8 gives the value {value:g}; the ends give 1.12 and 8.26"
    with pytest.raises(CurveError, match=said):
        LINE.indication(value)


@pytest.mark.parametrize(("x", "u"), [(1.0, 0.02), (1.5, 0.025), (3.0, 0.03), (5.0, 0.0475), (8.0, 0.10)])
def test_the_reference_part_is_interpolated_between_the_points(x, u):
    assert LINE.reference_uncertainty(x) == pytest.approx(u)


def test_the_scatter_is_the_sum_of_the_squares_of_its_parts():
    assert LINE.scatter_uncertainty(3.0) ** 2 == pytest.approx(np.sum(LINE.scatter_parts(3.0) ** 2))
    assert LINE.scatter_uncertainty(3.0) == pytest.approx(LINE.polynomial.standard_uncertainty(3.0))


@pytest.mark.parametrize("order", [[0, 1, 2, 3], [2, 3, 0, 1]])
def test_of_several_points_at_one_indication_the_largest_reference_uncertainty_counts(order):
    nodes, u = reference_part(np.array([3.0, 1.0, 3.0, 2.0])[order], np.array([0.1, 0.4, 0.3, 0.2])[order])
    assert nodes.tolist() == [1.0, 2.0, 3.0]
    assert u.tolist() == [0.4, 0.2, 0.3]


@given(certificates(), fraction)
def test_the_reference_part_lies_between_those_of_the_neighbouring_points(points, part):
    curve = choose(points).curve
    x = min(curve.high, curve.low + part * (curve.high - curve.low))
    below = points.indication[points.indication <= x].max()
    above = points.indication[points.indication >= x].min()
    neighbours = points.reference_uncertainty[np.isin(points.indication, [below, above])]
    assert neighbours.min() * (1 - 1e-12) <= curve.reference_uncertainty(x) <= neighbours.max() * (1 + 1e-12)


@given(certificates(), fraction, st.integers(2, 4))
def test_repeating_every_point_does_not_lower_the_reference_part(points, part, times):
    once = choose(points).curve
    repeated = choose(taken(points, np.tile(np.arange(points.indication.size), times))).curve
    x = min(once.high, once.low + part * (once.high - once.low))
    assert repeated.reference_uncertainty(x) >= once.reference_uncertainty(x) * (1 - 1e-12)


@given(certificates(stated=True), fraction)
def test_repeating_every_point_four_times_halves_the_scatter_that_is_stated(points, part):
    once = choose(points, degree=0).curve
    repeated = choose(taken(points, np.tile(np.arange(points.indication.size), 4)), degree=0).curve
    x = min(once.high, once.low + part * (once.high - once.low))
    of_once, of_repeated = (curve.scatter_uncertainty(x) / math.sqrt(curve.scale) for curve in (once, repeated))
    assert of_repeated == pytest.approx(of_once / 2)


@given(certificates(), fraction)
def test_a_curve_is_read_again_as_it_was_written(points, part):
    curve = choose(points).curve
    again = correction_curve_from_text(curve.as_text())
    x = min(curve.high, curve.low + part * (curve.high - curve.low))
    assert (again.low, again.high, again.scale) == (curve.low, curve.high, curve.scale)
    assert again.stated_repeatability is curve.stated_repeatability
    assert again.value(x) == curve.value(x)
    assert again.scatter_uncertainty(x) == curve.scatter_uncertainty(x)
    assert again.reference_uncertainty(x) == curve.reference_uncertainty(x)
    assert again.as_text() == curve.as_text()


def test_a_curve_written_long_ago_can_still_be_read():
    # The text that the records keep: c(x) = 0.5 + 0.25 t, t = (x - 3)/2; C = diag(0.04, 0.01).
    text = (
        '{"centre": 3.0, "half_width": 2.0, "coefficients": [0.5, 0.25], "covariance": [[0.04, 0.0], [0.0, 0.01]], '
        '"degrees_of_freedom": 2, "chi_squared": 1.5, "residuals": [0.1, -0.2, 0.1, 0.0], "scale": 1.0, '
        '"stated_repeatability": true, "reference_indications": [1.0, 5.0], "reference_uncertainties": [0.1, 0.3]}'
    )
    curve = correction_curve_from_text(text)
    assert curve.value(5.0) == pytest.approx(5.75)
    assert curve.scatter_uncertainty(5.0) == pytest.approx(math.sqrt(0.05))
    assert curve.reference_uncertainty(4.0) == pytest.approx(0.25)
    assert curve.as_text() == text
