"""ISO/TS 28037:2010, clause 7 (page 21, Table 10): a line with uncertainties in x and y.

Source: reference_data/iso_ts_28037_clause_7, class A. The uncertainties are those of the model linearised at the adjusted
points, as the standard computes them; linearised at the observed points they differ by up to 0.4 %.
"""

import numpy as np
import pytest

from calib.curves.generalised import distance_regression
from tests.reference import agrees, numbers, printed

PUBLISHED = printed("iso_ts_28037_clause_7", "published")


def fitted():
    return distance_regression(*numbers("iso_ts_28037_clause_7", "data"), 1)


@pytest.mark.parametrize(("number", "symbol"), [(0, "a"), (1, "b")])
def test_intercept_and_slope(number, symbol):
    coefficients, covariance = fitted().polynomial.in_powers_of_x()
    assert agrees(coefficients[number], PUBLISHED[symbol])
    assert agrees(np.sqrt(covariance[number, number]), PUBLISHED[f"u({symbol})"])


def test_covariance_of_intercept_and_slope():
    _, covariance = fitted().polynomial.in_powers_of_x()
    assert agrees(covariance[0, 1], PUBLISHED["cov(a,b)"])


def test_the_observed_chi_squared_is_below_its_95_percent_quantile():
    polynomial = fitted().polynomial
    assert agrees(polynomial.chi_squared, PUBLISHED["chi2"])
    assert polynomial.degrees_of_freedom == int(PUBLISHED["nu"])
    assert polynomial.chi_squared < float(PUBLISHED["chi2 95 %"])
    assert polynomial.probability > 0.05
