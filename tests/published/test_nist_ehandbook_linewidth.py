"""NIST/SEMATECH e-Handbook 2.3.6.7.2 and 2.3.6.7.3: the calibration line of an optical linewidth system, and its check standards.

Source: reference_data/nist_ehandbook_linewidth, class A. Two editions print different fits: the current one is reproduced
from the data; of the older only its propagation of error is checked, from the coefficients that it prints.
"""

import math

import numpy as np
import pytest

from calib.curves.regression import Polynomial, unweighted
from tests.reference import agrees, numbers, printed

NAME = "nist_ehandbook_linewidth"
PUBLISHED = printed(NAME, "published")
OLDER = printed(NAME, "older_edition")
# The page takes the line beyond its points, from a response of 0 to 12 um.
FAR = (-5.0, 20.0)


@pytest.fixture
def line():
    return unweighted(*numbers(NAME, "data"), 1)


def s(fit):
    return math.sqrt(fit.chi_squared / fit.degrees_of_freedom)


@pytest.mark.parametrize(("number", "symbol"), [(0, "a"), (1, "b")])
def test_intercept_and_slope(line, number, symbol):
    coefficients, covariance = line.in_powers_of_x()
    u = math.sqrt(covariance[number, number])
    assert agrees(coefficients[number], PUBLISHED[symbol])
    assert agrees(u, PUBLISHED[f"u({symbol})"])
    assert agrees(covariance[number, number], PUBLISHED[f"u({symbol})^2"])
    assert agrees(coefficients[number] / u, PUBLISHED[f"t of {symbol}"])


def test_covariance_of_intercept_and_slope(line):
    assert agrees(line.in_powers_of_x()[1][0, 1], PUBLISHED["cov(a,b)"])


def test_the_largest_uncertainty_of_the_inverse_by_propagation_of_error(line):
    responses = np.linspace(float(PUBLISHED["lowest y"]), float(PUBLISHED["highest y"]), 121)
    assert agrees(max(line.inverse(y, s(line), *FAR)[1] for y in responses), PUBLISHED["largest u(x)"])


def test_check_standards_scatter_more_than_propagation_of_error_says(line):
    x, y = numbers(NAME, "check_standards")
    differences = [line.inverse(one, s(line), *FAR)[0] - known for one, known in zip(y, x, strict=True)]
    assert agrees(np.std(differences, ddof=1), PUBLISHED["s of check standards"])


@pytest.mark.parametrize("y", [0.5, 4.0, 8.0, 12.0])
def test_the_older_edition_s_propagation_of_error(y):
    # u(x)^2 = c0 + c1 y + c2 y^2: half a unit of the last digit of each printed coefficient.
    a, b, s_older, u2_a, ab, u2_b = (float(OLDER[name]) for name in ("a", "b", "s", "u(a)^2", "cov(a,b)", "u(b)^2"))
    line = Polynomial(0.0, 1.0, np.array([a, b]), np.array([[u2_a, ab], [ab, u2_b]]), 38, 38 * s_older**2, np.zeros(40))
    _, u = line.inverse(y, s_older, *FAR)
    c = [float(OLDER[f"{name} u(x)^2"]) for name in ("constant of", "coefficient of y in", "coefficient of y^2 in")]
    assert u**2 == pytest.approx(c[0] + c[1] * y + c[2] * y**2, abs=5e-9 + 5e-11 * y + 5e-12 * y**2)
