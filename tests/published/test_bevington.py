"""Bevington, Table 6.1: a line through points of unknown equal uncertainty.

Source: reference_data/bevington, class A (results by R).
"""

import numpy as np
import pytest

from calib.curves.regression import unweighted
from tests.reference import agrees, numbers, printed

PUBLISHED = printed("bevington", "published")


def fitted():
    return unweighted(*numbers("bevington", "data"), 1).in_powers_of_x()


@pytest.mark.parametrize(("number", "symbol"), [(0, "a"), (1, "b")])
def test_intercept_and_slope(number, symbol):
    coefficients, covariance = fitted()
    assert agrees(coefficients[number], PUBLISHED[symbol])
    assert agrees(np.sqrt(covariance[number, number]), PUBLISHED[f"u({symbol})"])


def test_covariance_of_intercept_and_slope():
    assert agrees(fitted()[1][0, 1], PUBLISHED["cov(a,b)"])
