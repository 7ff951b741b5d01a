"""York (1966), data of Pearson (1901): a line with errors in both variables, the classic test of such fits.

Source: reference_data/york_pearson, class A. Three different u(a) are in the literature for this one fit: 0.2950 by the
model linearised at the adjusted points (York et al. 2004, ISO/TS 28037: what the package gives), 0.2919 by the law of
propagation through the whole fit (Kalantar 1992, published), and either times sqrt(S/(n-2)) = 1.218. The first is checked
against York's equations written out here, the second by carrying each observation's uncertainty through the package's own
fit.
"""

import numpy as np
import pytest

from calib.curves.generalised import distance_regression
from tests.reference import agrees, numbers, printed

PUBLISHED = printed("york_pearson", "published")
X, Y, WEIGHT_X, WEIGHT_Y = numbers("york_pearson", "data")
U_X, U_Y = WEIGHT_X**-0.5, WEIGHT_Y**-0.5


def line(x, y):
    return distance_regression(x, y, U_X, U_Y, 1).polynomial


def york_2004(slope):
    """Covariance of intercept and slope: D. York et al., Am. J. Phys. 72 (2004) 367, equation 13, from memory."""
    weight = WEIGHT_X * WEIGHT_Y / (WEIGHT_X + slope**2 * WEIGHT_Y)
    x_mean, y_mean = (np.average(values, weights=weight) for values in (X, Y))
    beta = weight * ((X - x_mean) / WEIGHT_Y + slope * (Y - y_mean) / WEIGHT_X)
    adjusted = x_mean + beta
    mean = np.average(adjusted, weights=weight)
    of_slope = 1 / np.sum(weight * (adjusted - mean) ** 2)
    return np.array([[1 / weight.sum() + mean**2 * of_slope, -mean * of_slope], [-mean * of_slope, of_slope]])


def propagated(step=1e-4):
    """Covariance of intercept and slope by the law of propagation: the fit's derivatives by every x and y."""
    total = np.zeros((2, 2))
    for k in range(X.size):
        for values, u in ((X, U_X), (Y, U_Y)):
            moved = []
            for sign in (1, -1):
                other = values.copy()
                other[k] += sign * step * u[k]
                moved.append((line(other, Y) if values is X else line(X, other)).in_powers_of_x()[0])
            by_u = (moved[0] - moved[1]) / (2 * step)
            total += np.outer(by_u, by_u)
    return total


@pytest.mark.parametrize(("number", "symbol"), [(0, "a"), (1, "b")])
def test_intercept_and_slope(number, symbol):
    assert agrees(line(X, Y).in_powers_of_x()[0][number], PUBLISHED[symbol])


def test_the_sum_of_squares_over_its_degrees_of_freedom():
    fit = line(X, Y)
    assert agrees(fit.chi_squared / fit.degrees_of_freedom, PUBLISHED["S/(n-2)"])


def test_the_covariance_is_that_of_york_2004():
    coefficients, covariance = line(X, Y).in_powers_of_x()
    assert covariance == pytest.approx(york_2004(coefficients[1]), rel=1e-12)


def test_propagating_every_observation_through_the_fit_gives_the_uncertainties_of_kalantar():
    covariance = propagated()
    assert agrees(np.sqrt(covariance[0, 0]), PUBLISHED["u(a) Kalantar"])
    assert agrees(np.sqrt(covariance[1, 1]), PUBLISHED["u(b) Kalantar"])
    assert agrees(covariance[0, 1], PUBLISHED["cov(a,b) Kalantar"])


def test_the_line_is_the_same_with_x_and_y_exchanged():
    a, b = line(X, Y).in_powers_of_x()[0]
    exchanged = distance_regression(Y, X, U_Y, U_X, 1).polynomial.in_powers_of_x()[0]
    assert exchanged == pytest.approx([-a / b, 1 / b], rel=1e-12)
