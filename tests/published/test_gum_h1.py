"""JCGM 100:2008 (GUM), H.1 and Table H.1: end-gauge calibration, first order. Unit: nm.

Source: reference_data/gum_h1, class B: inputs seen; contributions, v_eff, nu(d) and t99 from memory, recomputed. All
parts enter unrounded (13/sqrt(5) nm, 20/3 nm, 0.05/sqrt(3) degC), not as the rounded entries of the table: so every
printed number is met but U99.
"""

import numpy as np
import pytest

from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.estimate import degrees_of_freedom_of, from_expanded, rectangular
from calib.uncertainty.propagation import combine
from tests.contributions import line
from tests.reference import agrees, printed

GIVEN = {symbol: float(text) for symbol, text in printed("gum_h1", "inputs").items()}
PUBLISHED = printed("gum_h1", "published")

COMPARISON = {
    "repeated observations": line(GIVEN["s pooled"] / GIVEN["n"] ** 0.5, GIVEN["nu pooled"], type_a=True),
    "random effects": line(from_expanded(GIVEN["U random"], GIVEN["t95(5)"]), GIVEN["nu random"]),
    "systematic effects": line(
        from_expanded(GIVEN["U systematic"], GIVEN["k systematic"]),
        degrees_of_freedom_of(GIVEN["reliability systematic"]),
    ),
}
# l = lS + d - lS (delta_alpha theta + alphaS delta_theta); the estimates of delta_alpha and delta_theta are zero.
OTHERS = {
    "u(lS)": line(from_expanded(GIVEN["U(lS)"], GIVEN["k(lS)"]), GIVEN["nu(lS)"]),
    "u(alphaS)": line(0.0 * GIVEN["lS"] * GIVEN["u(alphaS)"]),
    "u(theta)": line(0.0 * GIVEN["lS"] * GIVEN["u(theta)"]),
    "u(delta alpha)": line(
        -GIVEN["lS"] * GIVEN["theta"] * rectangular(GIVEN["a(delta alpha)"]),
        degrees_of_freedom_of(GIVEN["reliability delta alpha"]),
    ),
    "u(delta theta)": line(
        -GIVEN["lS"] * GIVEN["alphaS"] * rectangular(GIVEN["a(delta theta)"]),
        degrees_of_freedom_of(GIVEN["reliability delta theta"]),
    ),
}


def length():
    return combine([*COMPARISON.values(), *OTHERS.values()])


@pytest.mark.parametrize(("number", "symbol"), list(enumerate(OTHERS)))
def test_each_influence_contributes_what_table_h1_prints(number, symbol):
    assert agrees(combine(list(OTHERS.values())).uncertainties[0, number], PUBLISHED[symbol])


def test_the_three_parts_of_the_comparison_make_its_uncertainty():
    assert agrees(combine(list(COMPARISON.values())).standard_uncertainty[0], PUBLISHED["u(d)"])


def test_the_comparison_has_its_degrees_of_freedom():
    assert agrees(combine(list(COMPARISON.values())).degrees_of_freedom[0], PUBLISHED["nu(d)"])


def test_the_combined_uncertainty_is_32_nm():
    assert agrees(length().standard_uncertainty[0], PUBLISHED["uc"])


def test_the_combined_variance_is_1002_nm2():
    assert agrees(length().standard_uncertainty[0] ** 2, PUBLISHED["uc2"])


def test_the_effective_degrees_of_freedom_are_16_7():
    assert agrees(length().degrees_of_freedom[0], PUBLISHED["veff"])


def cut():
    """The degrees of freedom as the example takes them: cut to the next lower integer, where this program interpolates."""
    return np.floor(length().degrees_of_freedom)


def test_t_is_taken_at_16_degrees_of_freedom():
    assert agrees(coverage_factor(cut(), 0.99)[0], PUBLISHED["t99(16)"])


def test_interpolated_t_lies_between_those_of_the_whole_numbers_beside_it():
    # Either is allowed by G.4.1: cut to 16, or interpolated at 16.7.
    of_16, interpolated, of_17 = coverage_factor([*cut(), *length().degrees_of_freedom, *(cut() + 1)], 0.99)
    assert of_17 < interpolated < of_16


def test_the_expanded_uncertainty_is_93_nm():
    # Exception, one unit: 92.47; the document multiplies the rounded 2.92 by the rounded 32.
    result = length()
    expanded = coverage_factor(cut(), 0.99) * result.standard_uncertainty
    assert agrees(expanded[0], PUBLISHED["U99"], units="1")


def test_the_shares_of_the_variance_add_up_to_100_percent():
    assert np.sum(length().variance_percent) == pytest.approx(100.0)
