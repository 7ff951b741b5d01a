"""NIST StRD, Linear Least Squares: data sets Wampler1 to Wampler5, polynomials of degree 5, certified to 15 digits.

Sources: reference_data/nist_strd_wampler1, 2, 3, 5, class A; nist_strd_wampler4, class C, from memory, recomputed. The
digits reached are the logarithm of the relative error. Exceptions: 13 digits are required for parameters and 14 for standard
deviations, not half a unit of the 15th, since coefficients and covariances are kept as binary floats in powers of t.
Wampler1 and 2 are polynomials without scatter, so that their certified standard deviations are 0: Wampler1, whose values are
whole numbers, must give exactly 0; Wampler2, whose decimals binary floats only hold to 16 digits, must give less than a unit
of the 15th decimal printed.
"""

import pytest

from tests.published.strd_digits import certified, digits, polynomial

ALL = [f"Wampler{k}" for k in range(1, 6)]
SCATTERED = ["Wampler3", "Wampler4", "Wampler5"]


@pytest.mark.parametrize("name", ALL)
def test_parameters_reach_13_digits(name):
    assert digits(polynomial(name)[0], certified(name)[0]) >= 13


@pytest.mark.parametrize("name", SCATTERED)
def test_standard_deviations_of_parameters_reach_14_digits(name):
    assert digits(polynomial(name)[1], certified(name)[1]) >= 14


@pytest.mark.parametrize("name", SCATTERED)
def test_the_residual_standard_deviation_reaches_14_digits(name):
    assert digits([polynomial(name)[2]], [certified(name)[2]]) >= 14


def test_whole_numbers_on_the_polynomial_leave_exactly_no_scatter():
    _, deviations, residual = polynomial("Wampler1")
    assert {float(text) for text in [*certified("Wampler1")[1], certified("Wampler1")[2]]} == {0.0}
    assert deviations.tolist() == [0.0] * 6
    assert residual == 0.0


def test_decimals_on_the_polynomial_leave_the_scatter_of_their_binary_rounding():
    _, deviations, residual = polynomial("Wampler2")
    assert {float(text) for text in [*certified("Wampler2")[1], certified("Wampler2")[2]]} == {0.0}
    assert max(*deviations, residual) < 1e-15
