"""NIST/SEMATECH e-Handbook 2.3.6.5 and 2.3.6.7.1: a load cell, a parabola through 33 points, and its inverse.

Source: reference_data/nist_ehandbook_load_cell: data class A; the printed fit class B, from memory, recomputed; the same
results and the inverse class D, in exact fractions by compute.py there. Exceptions to half a unit: c and the standard
deviations of the parameters are met to 1 unit of the last recalled digit; the residual standard deviation and F are recalled
as 0.0000376353 and 0.3482, and the data give 0.0000376403 and 0.3477 (cause not established: another rounding of the page or
of the memory), so that they are checked against the computed values alone.
"""

import math

import numpy as np
import pytest

from calib.curves.diagnosis import Whitened, lack_of_fit
from calib.curves.regression import unweighted
from tests.reference import agrees, numbers, printed

NAME = "nist_ehandbook_load_cell"
PUBLISHED = printed(NAME, "published")
COMPUTED = {symbol: float(text) for symbol, text in printed(NAME, "computed").items()}


@pytest.fixture
def parabola():
    return unweighted(*numbers(NAME, "data"), 2)


def s(fit):
    return math.sqrt(fit.chi_squared / fit.degrees_of_freedom)


@pytest.mark.parametrize(("number", "symbol", "units"), [(0, "a", "0.5"), (1, "b", "0.5"), (2, "c", "1")])
def test_the_parameters_as_recalled(parabola, number, symbol, units):
    coefficients, covariance = parabola.in_powers_of_x()
    assert agrees(coefficients[number], PUBLISHED[symbol], units=units)
    assert agrees(math.sqrt(covariance[number, number]), PUBLISHED[f"u({symbol})"], units="1")
    assert parabola.degrees_of_freedom == int(PUBLISHED["nu"])


@pytest.mark.parametrize(("number", "symbol"), [(0, "a"), (1, "b"), (2, "c")])
def test_the_parameters_as_computed_in_fractions(parabola, number, symbol):
    # a is 10,000 times smaller than the responses whose decimals binary floats round: ten digits remain.
    coefficients, covariance = parabola.in_powers_of_x()
    assert coefficients[number] == pytest.approx(COMPUTED[symbol], rel=1e-12)
    assert math.sqrt(covariance[number, number]) == pytest.approx(COMPUTED[f"u({symbol})"], rel=1e-12)


def test_the_residual_standard_deviation_as_computed_in_fractions(parabola):
    assert s(parabola) == pytest.approx(COMPUTED["s"], rel=1e-12)


def test_lack_of_fit_against_repeated_loads(parabola):
    x, _ = numbers(NAME, "data")
    found = lack_of_fit(x, Whitened(parabola.powers(x), parabola.residuals, scatter_known=False))
    assert found.degrees_of_freedom == (8, 22)
    assert found.f == pytest.approx(COMPUTED["F of lack of fit"], rel=1e-12)


def test_the_inverse_takes_the_branch_through_the_calibrated_range(parabola):
    x, _ = numbers(NAME, "data")
    found, u = parabola.inverse(COMPUTED["Y"], s(parabola), x.min(), x.max())
    assert found == pytest.approx(COMPUTED["X"], rel=1e-12)
    assert u == pytest.approx(COMPUTED["u(X)"], rel=1e-12)


def test_the_inverse_s_sensitivity_to_c(parabola):
    # The page's derivative dX/dc = -X^2/(b + 2 c X), by a small change of c.
    coefficients, _ = parabola.in_powers_of_x()
    step = 1e-3 * coefficients[2]
    roots = []
    for c in (coefficients[2] - step, coefficients[2] + step):
        a, b = coefficients[:2]
        roots.append(2 * (COMPUTED["Y"] - a) / (b + np.sqrt(b**2 + 4 * c * (COMPUTED["Y"] - a))))
    expected = -(COMPUTED["X"] ** 2) / parabola.slope(COMPUTED["X"])
    assert (roots[1] - roots[0]) / (2 * step) == pytest.approx(expected, rel=1e-5)
