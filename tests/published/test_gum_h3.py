"""JCGM 100:2008 (GUM), H.3 and Table H.6: calibration of a thermometer, a line with equal unknown uncertainties.

Source: reference_data/gum_h3, class A; s = 0.0035 degC class B, from memory, recomputed.
30 degC is an extrapolation, on purpose.
"""

import math

import pytest

from calib.curves.regression import unweighted
from tests.reference import agrees, numbers, printed

PUBLISHED = printed("gum_h3", "published")


def fitted():
    thermometer, correction = numbers("gum_h3", "observations")
    return unweighted(thermometer - float(PUBLISHED["t0"]), correction, 1)


@pytest.mark.parametrize("number", [0, 1])
def test_intercept_and_slope(number):
    y, covariance = fitted().in_powers_of_x()
    assert agrees(y[number], PUBLISHED[f"y{number + 1}"])
    assert agrees(math.sqrt(covariance[number, number]), PUBLISHED[f"s(y{number + 1})"])


def test_intercept_and_slope_are_correlated():
    _, covariance = fitted().in_powers_of_x()
    assert agrees(covariance[0, 1] / math.sqrt(covariance[0, 0] * covariance[1, 1]), PUBLISHED["r(y1,y2)"])


def test_the_scatter_is_that_of_the_residuals_with_9_degrees_of_freedom():
    fit = fitted()
    assert fit.degrees_of_freedom == 9
    assert agrees(math.sqrt(fit.chi_squared / fit.degrees_of_freedom), PUBLISHED["s"])


def test_the_correction_at_30_degc_and_its_uncertainty():
    # Without the covariance of intercept and slope u would be 0.0073 degC.
    at_30 = 30.0 - float(PUBLISHED["t0"])
    assert agrees(fitted().value(at_30), PUBLISHED["b(30)"])
    assert agrees(fitted().standard_uncertainty(at_30), PUBLISHED["u(b(30))"])
