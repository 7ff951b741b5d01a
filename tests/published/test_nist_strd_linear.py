"""NIST StRD, Linear Least Squares: data sets Norris (a line) and Pontius (a parabola), certified to 15 digits.

Sources: reference_data/nist_strd_norris and nist_strd_pontius, class A. The digits reached are the logarithm of the
relative error. Exception: 12 are required for parameters and 11 for standard deviations, not half a unit of the 15th,
since binary floats hold the decimal data to 16 digits only and differences of large terms lose some. `pytest -rP`
prints the digits.
"""

import math

import pytest

from calib.curves.regression import unweighted
from tests.reference import digits_reached, numbers, rows

DEGREES = {"nist_strd_norris": 1, "nist_strd_pontius": 2}
CERTIFIED = [(name, row) for name in DEGREES for row in rows(name, "certified")]
PARAMETERS = [(name, row) for name, row in CERTIFIED if row["estimate"]]
RESIDUAL = [(name, row) for name, row in CERTIFIED if not row["estimate"]]


def fitted(name):
    x, y = numbers(name, "data")
    return unweighted(x, y, DEGREES[name])


def said(name, quantity, digits):
    print(f"{name}, {quantity}: {digits:.1f} digits")  # the digits reached are the finding
    return digits


@pytest.mark.parametrize(("name", "row"), PARAMETERS)
def test_parameters_reach_12_digits(name, row):
    coefficients, _ = fitted(name).in_powers_of_x()
    reached = digits_reached(coefficients[int(row["parameter"][1:])], row["estimate"])
    assert said(name, row["parameter"], reached) >= 12


@pytest.mark.parametrize(("name", "row"), PARAMETERS)
def test_standard_deviations_of_parameters_reach_13_digits(name, row):
    _, covariance = fitted(name).in_powers_of_x()
    number = int(row["parameter"][1:])
    reached = digits_reached(math.sqrt(covariance[number, number]), row["standard deviation"])
    assert said(name, f"s({row['parameter']})", reached) >= 13


@pytest.mark.parametrize(("name", "row"), RESIDUAL)
def test_the_residual_standard_deviation_reaches_13_digits(name, row):
    fit = fitted(name)
    reached = digits_reached(math.sqrt(fit.chi_squared / fit.degrees_of_freedom), row["standard deviation"])
    assert said(name, "s", reached) >= 13
