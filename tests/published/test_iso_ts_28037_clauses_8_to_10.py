"""ISO/TS 28037:2010, clauses 8 to 10: covariances within pairs; within y; within and between x and y.

Source: reference_data/iso_ts_28037_clauses_8_to_10, class D: published points, results computed independently with 50 digits
by compute.py there; the document's own were not found. They are written with 15 digits; 11 are asked for, as binary floats
round on the way.
"""

import numpy as np
import pytest

from calib.curves.generalised import (
    distance_regression,
    gauss_markov_regression,
    generalised_gauss_markov_regression,
)
from tests.reference import numbers, rows

NAME = "iso_ts_28037_clauses_8_to_10"
X, Y, U_X, U_Y, WITHIN_PAIRS = numbers(NAME, "data")
_, LOWER, UPPER, REFERENCE, X_TEMPERATURE, Y_TEMPERATURE = numbers(NAME, "common_errors")
NONE = np.zeros_like(X)
OF_X_AND_Y = [
    np.concatenate(one) for one in [(NONE, LOWER), (NONE, UPPER), (REFERENCE, NONE), (X_TEMPERATURE, Y_TEMPERATURE)]
]


def whole():
    """Covariance of clause 10: independent errors, two ranges of y, one reference for all x, one temperature for x and y."""
    return np.diag(np.concatenate([U_X, U_Y]) ** 2) + sum(np.outer(one, one) for one in OF_X_AND_Y)


def within_y():
    """Covariance of clause 9."""
    return np.diag(U_Y**2) + np.outer(LOWER, LOWER) + np.outer(UPPER, UPPER)


FITS = {
    "8": lambda: distance_regression(X, Y, U_X, U_Y, 1, WITHIN_PAIRS),
    "9": lambda: gauss_markov_regression(X, Y, within_y(), 1),
    "10": lambda: generalised_gauss_markov_regression(X, Y, whole(), 1),
    "10 parabola": lambda: generalised_gauss_markov_regression(X, Y, whole(), 2),
}


def computed(clause):
    return {row["symbol"]: float(row["printed"]) for row in rows(NAME, "computed") if row["clause"] == clause}


@pytest.mark.parametrize("clause", FITS)
def test_coefficients_and_their_covariance(clause):
    coefficients, covariance = FITS[clause]().polynomial.in_powers_of_x()
    expected = computed(clause)
    for k, value in enumerate(coefficients):
        assert value == pytest.approx(expected[f"b{k}"], rel=1e-12)
        for m in range(k + 1):
            assert covariance[m, k] == pytest.approx(expected[f"cov(b{m},b{k})"], rel=1e-12)


@pytest.mark.parametrize("clause", FITS)
def test_chi_squared(clause):
    assert FITS[clause]().polynomial.chi_squared == pytest.approx(computed(clause)["chi2"], rel=1e-12)


def test_a_covariance_within_pairs_is_not_left_out():
    # A public port of the document's software calls its routine for clause 7 here.
    assert computed("8")["b1"] != pytest.approx(
        distance_regression(X, Y, U_X, U_Y, 1).polynomial.in_powers_of_x()[0][1], rel=1e-3
    )
