"""Coverage factors (JCGM 100:2008, clause 6 and Annex G). The tables G.1 and G.2 are checked in tests/published."""

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import betainc, stdtrit
from scipy.stats import t as t_distribution

from calib.errors import CalibError
from calib.uncertainty.coverage import (
    COVERAGE_PROBABILITY,
    _large,
    coverage_factor,
    degrees_of_freedom_from_factor,
    exact_probability,
)


def test_the_usual_probability_gives_2_where_the_degrees_of_freedom_are_many():
    assert COVERAGE_PROBABILITY == 0.9545
    assert coverage_factor(math.inf) == pytest.approx(2.0, rel=1e-14)


@pytest.mark.parametrize("probability", [0.6827, 0.9, 0.9545, 0.99, 0.999999])
def test_degrees_of_freedom_between_whole_numbers_have_the_quantile_of_scipy_there(probability):
    # Outside reference: scipy.stats, whose quantile is another function's inverse than the series for many values.
    nu = np.concatenate([[0.6, 1.0, 1.99, 2.5], np.geomspace(1.0, 1e6, 400)])
    quantile = 0.5 * (1 + exact_probability(probability))
    assert coverage_factor(nu, probability) == pytest.approx(t_distribution.ppf(quantile, nu), rel=2e-8)
    assert coverage_factor(nu[:4], probability) == pytest.approx(t_distribution.ppf(quantile, nu[:4]), rel=1e-12)


@pytest.mark.parametrize("nu", [400.0, 399.999, 1e3, 12345.6, 1e6])
def test_many_degrees_of_freedom_have_the_quantile_of_scipy_too(nu):
    assert coverage_factor(nu) == pytest.approx(
        t_distribution.ppf(0.5 * (1 + exact_probability(0.9545)), nu), rel=1e-12
    )


@pytest.mark.parametrize(("nu", "z"), [(2, Fraction(3, 2)), (7, Fraction(-1, 3)), (3, Fraction(5, 2))])
def test_the_series_for_many_degrees_of_freedom_is_that_of_abramowitz_and_stegun(nu, z):
    # 26.7.5 in whole numbers, from memory; few degrees of freedom, so that each of its terms counts.
    g_1 = Fraction(1, 4) * z * (z**2 + 1)
    g_2 = Fraction(1, 96) * z * (3 + z**2 * (16 + 5 * z**2))
    g_3 = Fraction(1, 384) * z * (-15 + z**2 * (17 + z**2 * (19 + 3 * z**2)))
    g_4 = Fraction(1, 92160) * z * (-945 + z**2 * (-1920 + z**2 * (1482 + z**2 * (776 + 79 * z**2))))
    expected = z + g_1 / nu + g_2 / nu**2 + g_3 / nu**3 + g_4 / nu**4
    assert _large(np.array([float(nu)]), float(z)) == pytest.approx([float(expected)], rel=1e-14)


def test_many_values_just_below_1_and_just_above_it_have_the_quantile_of_scipy():
    # A probability at which the series, beyond its end, would be off at once.
    nu = np.linspace(0.905, 1.095, 80)
    quantile = 0.5 * (1 + 0.999999)
    assert coverage_factor(nu, 0.999999) == pytest.approx(t_distribution.ppf(quantile, nu), rel=1e-8)


@pytest.mark.parametrize(
    ("nu", "expected"),
    [
        (np.linspace(1.0, 399.0, 64), 64),
        (np.linspace(1.0, 399.0, 65), "series"),
        ([400.0, 400.5, 439.0, 1e4, math.inf], 0),
        ([399.999, 361.0, 0.5], 3),
    ],
)
def test_a_few_factors_are_quantiles_and_many_a_series_through_24_of_them_and_those_of_large_nu_cost_none(
    monkeypatch, nu, expected
):
    asked = []
    monkeypatch.setattr(
        "calib.uncertainty.coverage.stdtrit", lambda dof, p: (asked.extend(np.atleast_1d(dof)), stdtrit(dof, p))[1]
    )
    coverage_factor(nu)
    if expected == "series":
        # The Chebyshev points of 1/nu between 1/400 and 1: roots of T_24 (Abramowitz and Stegun 22.16.4, from memory).
        roots = [math.cos((k + 0.5) * math.pi / 24) for k in range(24)]
        assert sorted(asked) == pytest.approx([1 / (0.50125 + 0.49875 * each) for each in roots], rel=1e-12)
    else:
        assert len(asked) == expected


def test_degrees_of_freedom_just_below_2_have_a_factor_just_above_that_of_2():
    # Source: GUM Table G.2 at 95.45 %, row 2: 4.53; cut to the whole number below it would be that of 1: 13.97. From memory.
    assert coverage_factor(1.99) == pytest.approx(4.55, abs=0.005)


@pytest.mark.parametrize("nu", [0.0, -1.0, [3.0, -0.5], -math.inf])
def test_degrees_of_freedom_of_0_or_below_are_an_error_that_names_them(nu):
    with pytest.raises(CalibError, match=rf"^{np.min(nu):g} degrees of freedom: a coverage factor needs more than 0"):
        coverage_factor(nu)


@pytest.mark.parametrize(
    ("k", "percent", "nu"), [(2.87, "95.45", 4.0), (2.00, "95", 60.4), (3.31, "95.45", 3.0), (2.78, "95", 4.0)]
)
def test_a_coverage_factor_tells_its_degrees_of_freedom(k, percent, nu):
    # Source: GUM Table G.2, columns 95 and 95.45 %, from memory; 60.4 from scipy.stats.t.
    assert degrees_of_freedom_from_factor(k, float(percent) / 100) == pytest.approx(nu, rel=0.01)


@pytest.mark.parametrize("k", [1.0, 1.5, 2.0, float(coverage_factor(math.inf))])
def test_a_factor_not_above_that_of_the_normal_distribution_has_infinite_degrees_of_freedom(k):
    assert degrees_of_freedom_from_factor(k) == math.inf


@given(st.floats(0.7, 1e4), st.sampled_from([0.9, 0.9545, 0.99]))
def test_factor_and_degrees_of_freedom_are_each_other_s_inverse(nu, probability):
    assert degrees_of_freedom_from_factor(coverage_factor(nu, probability), probability) == pytest.approx(nu, rel=1e-5)


def test_each_result_of_an_array_has_its_own_factor():
    # Source: GUM Table G.2 at 95 %, from memory.
    found = coverage_factor([[4.0, 10.0], [50.0, math.inf]], 0.95)
    assert found == pytest.approx(np.array([[2.78, 2.23], [2.01, 1.96]]), abs=0.005)


@given(st.integers(1, 200), st.integers(500, 999).map(lambda n: n / 1000))
def test_the_two_tails_beyond_the_factor_hold_the_rest_of_the_probability(nu, probability):
    # P(|T| > t) = I_x(nu/2, 1/2) with x = nu/(nu + t^2): Abramowitz and Stegun 26.5.27, from memory.
    t = coverage_factor(nu, probability)
    assert betainc(nu / 2, 0.5, nu / (nu + t**2)) == pytest.approx(1 - probability, rel=1e-9)


@given(st.floats(1.0, 1e6), st.floats(0.5, 0.999))
def test_fewer_degrees_of_freedom_never_lower_the_factor(nu, probability):
    factors = coverage_factor([nu, nu + 1, math.inf], probability)
    assert factors[0] >= factors[1] >= factors[2]


@pytest.mark.parametrize(("stated", "k"), [(0.6827, 1), (0.9545, 2), (0.9973, 3)])
def test_three_stated_probabilities_stand_for_whole_standard_deviations(stated, k):
    # erfc is another function than the erf of the package. Source: GUM Table G.2, note, from memory.
    assert 1.0 - exact_probability(stated) == pytest.approx(math.erfc(k / math.sqrt(2)), rel=1e-9)


def test_a_probability_is_that_which_is_stated_to_nine_digits():
    assert exact_probability(0.9545 + 4e-10) == exact_probability(0.9545)
    assert exact_probability(0.9545 + 4e-9) == 0.9545 + 4e-9


def test_factors_of_any_shape_tell_their_degrees_of_freedom():
    expected = np.array([[3.0, math.inf], [12.5, 4.0]])
    found = degrees_of_freedom_from_factor(coverage_factor(expected, 0.9), 0.9)
    assert found == pytest.approx(expected, rel=1e-6)
    assert degrees_of_freedom_from_factor(coverage_factor(5.5)).shape == ()


def test_any_other_probability_is_meant_as_it_is_stated():
    assert exact_probability(0.95) == 0.95


def test_unknown_degrees_of_freedom_are_not_infinite():
    assert np.isnan(coverage_factor(math.nan))
