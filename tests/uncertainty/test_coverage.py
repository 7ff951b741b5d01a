"""Coverage factors (JCGM 100:2008, clause 6 and Annex G). The tables G.1 and G.2 are checked in tests/published."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import betainc

from calib.uncertainty.coverage import COVERAGE_PROBABILITY, coverage_factor, exact_probability


def test_the_usual_probability_gives_2_where_the_degrees_of_freedom_are_many():
    assert COVERAGE_PROBABILITY == 0.9545
    assert coverage_factor(math.inf) == pytest.approx(2.0, rel=1e-14)


@pytest.mark.parametrize(
    ("nu", "t"), [(16.99, "2.92"), (16.0, "2.92"), (15.99, "2.95"), (1.5, "63.66"), (0.4, "63.66")]
)
def test_degrees_of_freedom_are_cut_to_the_next_lower_integer_but_not_below_1(nu, t):
    # Source: GUM Table G.2 at 99 %, rows 16, 15 and 1, from memory.
    assert coverage_factor(nu, 0.99) == pytest.approx(float(t), abs=0.005)


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


def test_any_other_probability_is_meant_as_it_is_stated():
    assert exact_probability(0.95) == 0.95


def test_unknown_degrees_of_freedom_are_not_infinite():
    assert np.isnan(coverage_factor(math.nan))
