"""Walpole and Myers, 33 pairs: a line, its value, one future observation, and the inverse from three observations.

Source: reference_data/walpole_myers, class A (results by R). The uncertainty of the line, of one future observation and of the
inverse are three different numbers. Exceptions to half a unit of the 15th or 16th digit, where the exact value (in fractions:
a = 3.829633197588708, r = -0.9481240708919155, y = 23.25796222504415) is off R's floats too: a by 2 units, r(a, b) and y by 1.
"""

import math

import numpy as np
import pytest

from calib.curves.regression import unweighted
from tests.reference import agrees, numbers, printed

PUBLISHED = printed("walpole_myers", "published")
AT = float(PUBLISHED["x evaluated"])


@pytest.fixture
def line():
    return unweighted(*numbers("walpole_myers", "data"), 1)


def s(line):
    return math.sqrt(line.chi_squared / line.degrees_of_freedom)


@pytest.mark.parametrize(("number", "symbol", "units"), [(0, "a", "2"), (1, "b", "0.5")])
def test_intercept_and_slope(line, number, symbol, units):
    coefficients, covariance = line.in_powers_of_x()
    assert agrees(coefficients[number], PUBLISHED[symbol], units=units)
    assert agrees(math.sqrt(covariance[number, number]), PUBLISHED[f"u({symbol})"])


def test_intercept_and_slope_are_correlated(line):
    _, covariance = line.in_powers_of_x()
    assert agrees(covariance[0, 1] / np.sqrt(covariance[0, 0] * covariance[1, 1]), PUBLISHED["r(a,b)"], units="1")


def test_the_value_of_the_line_and_its_uncertainty(line):
    assert agrees(line.value(AT), PUBLISHED["y(21.5)"], units="1")
    assert agrees(line.standard_uncertainty(AT), PUBLISHED["u line(21.5)"])


def test_one_future_observation_scatters_about_the_line(line):
    assert agrees(math.hypot(s(line), line.standard_uncertainty(AT)), PUBLISHED["u single future y(21.5)"])


def test_the_inverse_of_the_mean_of_three_observations(line):
    (observed,) = numbers("walpole_myers", "new_observations")
    x, u = line.inverse(observed.mean(), s(line) / math.sqrt(observed.size), 3.0, 50.0)
    assert agrees(x, PUBLISHED["x0 from 3 obs"])
    assert agrees(u, PUBLISHED["u(x0)"])
