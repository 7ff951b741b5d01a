"""NIST StRD, Linear Least Squares: data set Filip, a polynomial of degree 10, certified to 15 digits.

Source: reference_data/nist_strd_filip, class A. In powers of x the condition number is about 1e15. Exception: 13 digits are
required for parameters and 14 for standard deviations, not half a unit of the 15th, since binary floats hold the decimal
data to 16 digits only.
"""

from tests.published.strd_digits import certified, digits, polynomial


def test_parameters_reach_13_digits():
    assert digits(polynomial("Filip")[0], certified("Filip")[0]) >= 13


def test_standard_deviations_of_parameters_reach_14_digits():
    assert digits(polynomial("Filip")[1], certified("Filip")[1]) >= 14


def test_the_residual_standard_deviation_reaches_14_digits():
    assert digits([polynomial("Filip")[2]], [certified("Filip")[2]]) >= 14
