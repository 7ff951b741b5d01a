"""ISO/TS 28037:2010, 6.3 (page 13) and clause 11: a weighted line with equal known uncertainties, and its inverse.

Source: reference_data/iso_ts_28037_clause_6, class A.
"""

import numpy as np
import pytest

from calib.curves.regression import weighted
from tests.reference import agrees, numbers, printed

PUBLISHED = printed("iso_ts_28037_clause_6", "published")


def fitted():
    return weighted(*numbers("iso_ts_28037_clause_6", "data"), 1)


@pytest.mark.parametrize(("number", "symbol"), [(0, "a"), (1, "b")])
def test_intercept_and_slope(number, symbol):
    coefficients, covariance = fitted().in_powers_of_x()
    assert agrees(coefficients[number], PUBLISHED[symbol])
    assert agrees(np.sqrt(covariance[number, number]), PUBLISHED[f"u({symbol})"])


def test_covariance_of_intercept_and_slope():
    _, covariance = fitted().in_powers_of_x()
    assert agrees(covariance[0, 1], PUBLISHED["cov(a,b)"])
    assert agrees(covariance[1, 0], PUBLISHED["cov(a,b)"])


def test_the_observed_chi_squared_and_its_degrees_of_freedom():
    assert agrees(fitted().chi_squared, PUBLISHED["chi2"])
    assert fitted().degrees_of_freedom == int(PUBLISHED["nu"])


def test_the_model_is_kept_since_chi_squared_is_below_its_95_percent_quantile():
    assert fitted().chi_squared < float(PUBLISHED["chi2 95 %"])
    assert fitted().probability > 0.05


def test_the_inverse_of_10_5():
    x, u = fitted().inverse(float(PUBLISHED["y0"]), float(PUBLISHED["u(y0)"]), 1.0, 6.0)
    assert agrees(x, PUBLISHED["x0"])
    assert agrees(u, PUBLISHED["u(x0)"])
