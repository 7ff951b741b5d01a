"""Digits of the NIST Statistical Reference Datasets that the fits reach: a table for people, and the fits for the tests.

Run: python tests/published/strd_digits.py
A number of digits is the logarithm of the relative error, at most those certified: 15 linear, 11 nonlinear. Where the certified
standard deviation is 0 there is no relative error: the largest absolute value found is printed instead.
"""

import math
import sys
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[2]))

from calib.curves import nonlinear
from calib.curves.regression import unweighted
from calib.curves.response import PROPORTIONAL, fit_response
from tests.reference import digits_reached, numbers, rows


def misra1a(b, x):
    return b[0] * (1 - np.exp(-b[1] * x))


def chwirut(b, x):
    return np.exp(-b[0] * x) / (b[1] + b[2] * x)


def cubic_over_cubic(b, x):
    return (b[0] + x * (b[1] + x * (b[2] + x * b[3]))) / (1 + x * (b[4] + x * (b[5] + x * b[6])))


def mgh09(b, x):
    return b[0] * (x**2 + x * b[1]) / (x**2 + x * b[2] + b[3])


DEGREES = {
    "Norris": 1,
    "Pontius": 2,
    "Wampler1": 5,
    "Wampler2": 5,
    "Wampler3": 5,
    "Wampler4": 5,
    "Wampler5": 5,
    "Filip": 10,
}
THROUGH_ZERO = ("NoInt1", "NoInt2")
MODELS = {
    "Misra1a": misra1a,
    "Chwirut1": chwirut,
    "Chwirut2": chwirut,
    "Thurber": cubic_over_cubic,
    "Hahn1": cubic_over_cubic,
    "MGH09": mgh09,
}
STARTS = ("start 1", "start 2")


def data(name):
    """x and y of a data set."""
    return numbers(f"nist_strd_{name.lower()}", "data")


def certified(name):
    """Printed parameters, their standard deviations, and the residual standard deviation."""
    *parameters, residual = rows(f"nist_strd_{name.lower()}", "certified")
    estimates = [row["estimate"] for row in parameters]
    return estimates, [row["standard deviation"] for row in parameters], residual["standard deviation"]


def polynomial(name):
    """Parameters, standard deviations and residual standard deviation of a polynomial."""
    fit = unweighted(*data(name), DEGREES[name])
    parameters, covariance = fit.in_powers_of_x()
    return parameters, np.sqrt(np.diag(covariance)), math.sqrt(fit.chi_squared / fit.degrees_of_freedom)


def through_zero(name):
    """The same of a line through zero."""
    fit = fit_response(PROPORTIONAL, *data(name), None)
    s = math.sqrt(fit.chi_squared / fit.degrees_of_freedom)
    return fit.coefficients, np.sqrt(np.diag(fit.covariance)), s


def curve(name, start):
    """The same of a nonlinear model, from one of its two starts."""
    first = np.array([float(row[start]) for row in rows(f"nist_strd_{name.lower()}", "starts")])
    fit = nonlinear.nonlinear_unweighted(MODELS[name], *data(name), first)
    s = math.sqrt(fit.chi_squared / fit.degrees_of_freedom)
    return fit.parameters, fit.standard_uncertainty, s


def digits(values, texts, most=15):
    """Fewest digits reached of some certified values; None where one of them is 0."""
    if any(float(text) == 0 for text in texts):
        return None
    return min(most, *(digits_reached(value, text) for value, text in zip(values, texts, strict=True)))


def line(title, found, name, most):
    """One line of the table."""
    estimates, deviations, residual = certified(name)
    of_deviations = digits([*found[1], found[2]], [*deviations, residual], most)
    said = (
        f"{of_deviations:.1f}"
        if of_deviations is not None
        else f"0 is certified; at most {max(*found[1], found[2]):.0e}"
    )
    return f"| {title} | {digits(found[0], estimates, most):.1f} | {said} |"


def table():
    """The lines of the table."""
    yield "| data set | digits of the parameters | digits of the standard deviations |"
    yield "|---|---|---|"
    yield from (line(name, polynomial(name), name, 15) for name in DEGREES)
    yield from (line(name, through_zero(name), name, 15) for name in THROUGH_ZERO)
    for name in MODELS:
        yield from (line(f"{name}, {start}", curve(name, start), name, 11) for start in STARTS)


if __name__ == "__main__":
    print("\n".join(table()))
