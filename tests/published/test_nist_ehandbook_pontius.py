"""NIST/SEMATECH e-Handbook 4.6.1 and 4.5.2.1: a load cell whose line lack of fit rejects, whose parabola it keeps, and the
inverse.

Sources: data reference_data/nist_strd_pontius; results reference_data/nist_ehandbook_pontius: the line class A, the
parabola's F and the interval class B, from memory, recomputed. R^2 of the rejected line is 0.99999. Exceptions to half a
unit: B0 of the line is met to 1 unit; its residual standard deviation is printed as 0.0021712694 and its F as
214.7464, while the data give 0.0021712726 and 214.7469 (cause not established), so that 6 and 4 digits are checked.
"""

import math

import pytest
from scipy.special import fdtri, stdtrit

from calib.curves.diagnosis import Whitened, lack_of_fit
from calib.curves.regression import unweighted
from tests.reference import agrees, numbers, printed

LINE = printed("nist_ehandbook_pontius", "line")
QUADRATIC = printed("nist_ehandbook_pontius", "quadratic")
X, Y = numbers("nist_strd_pontius", "data")


def fitted(degree):
    return unweighted(X, Y, degree)


def s(fit):
    return math.sqrt(fit.chi_squared / fit.degrees_of_freedom)


def lacking(fit):
    return lack_of_fit(X, Whitened(fit.powers(X), fit.residuals, scatter_known=False))


@pytest.mark.parametrize(("number", "units"), [(0, "1"), (1, "0.5")])
def test_the_parameters_of_the_line(number, units):
    coefficients, covariance = fitted(1).in_powers_of_x()
    assert agrees(coefficients[number], LINE[f"B{number}"], units=units)
    assert agrees(math.sqrt(covariance[number, number]), LINE[f"u(B{number})"])


def test_the_residual_standard_deviation_of_the_line():
    assert s(fitted(1)) == pytest.approx(float(LINE["s"]), rel=5e-6)
    assert fitted(1).degrees_of_freedom == int(LINE["nu"])


def test_lack_of_fit_rejects_the_line():
    found = lacking(fitted(1))
    assert found.degrees_of_freedom == (18, 20)
    assert found.f == pytest.approx(float(LINE["F of lack of fit"]), abs=0.05)
    assert agrees(fdtri(18, 20, 0.95), LINE["F 95 % 18 20"])
    assert found.f > float(LINE["F 95 % 18 20"])
    assert found.probability < 0.05


def test_lack_of_fit_keeps_the_parabola():
    found = lacking(fitted(2))
    assert found.degrees_of_freedom == (17, 20)
    assert agrees(found.f, QUADRATIC["F of lack of fit"])
    assert agrees(fdtri(17, 20, 0.95), QUADRATIC["F 95 % 17 20"])
    assert found.probability > 0.05


def test_the_load_of_a_new_deflection_and_its_95_percent_interval():
    fit = fitted(2)
    x, u = fit.inverse(float(QUADRATIC["y0"]), s(fit), X.min(), X.max())
    half = stdtrit(fit.degrees_of_freedom, 0.975) * u
    assert agrees(x, QUADRATIC["x0"])
    assert agrees(x - half, QUADRATIC["lower"])
    assert agrees(x + half, QUADRATIC["upper"])
