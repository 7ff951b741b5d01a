"""Decision rules and probability of conformity (JCGM 106:2012; ILAC-G8:09/2019); published cases stand apart."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.special import betainc

from calib.confirmation.conformity import (
    ToleranceIntervals,
    conformity,
    margin,
    probability_of_conformity,
)
from calib.confirmation.words import DECISION_RULES, GUARDED, GUARDED_NON_BINARY, SIMPLE
from calib.errors import CalibError
from calib.uncertainty.coverage import coverage_factor
from tests.tolerances import about

TENTH = 0.1


def column(*values):
    return np.array(values, dtype=float)


def stated(value, u, rule, design=100.0, tolerance=TENTH):
    interval = about(column(design), column(tolerance))
    return conformity(column(value), column(u), interval, rule)[0]


def probability(value, u, lower=90.0, upper=110.0, dof=None):
    degrees = None if dof is None else column(dof)
    return probability_of_conformity(
        column(value), column(u), ToleranceIntervals(column(lower), column(upper)), degrees
    )[0]


@pytest.mark.parametrize(
    ("value", "distance"), [(100.0, 10.0), (92.0, 2.0), (108.0, 2.0), (90.0, 0.0), (89.0, -1.0), (111.5, -1.5)]
)
def test_the_margin_is_the_distance_to_the_nearer_limit(value, distance):
    assert margin(column(value), about(column(100.0), column(TENTH))) == pytest.approx([distance])


# Design 100, limits 90 and 110, U = 4: acceptance from 94 to 106, conditional fail down to 86 and up to 114.
STATEMENTS = [
    (100.0, "pass", "pass", "pass"),
    (94.0, "pass", "pass", "pass"),
    (106.0, "pass", "pass", "pass"),
    (93.99, "pass", "fail", "conditional pass"),
    (106.01, "pass", "fail", "conditional pass"),
    (90.0, "pass", "fail", "conditional pass"),
    (110.0, "pass", "fail", "conditional pass"),
    (89.99, "fail", "fail", "conditional fail"),
    (110.01, "fail", "fail", "conditional fail"),
    (86.0, "fail", "fail", "conditional fail"),
    (114.0, "fail", "fail", "conditional fail"),
    (85.99, "fail", "fail", "fail"),
    (114.01, "fail", "fail", "fail"),
]


@pytest.mark.parametrize(("value", "simple", "guarded", "non_binary"), STATEMENTS)
def test_each_rule_has_its_limits_and_a_limit_counts_as_inside(value, simple, guarded, non_binary):
    assert stated(value, 4.0, SIMPLE) == simple
    assert stated(value, 4.0, GUARDED) == guarded
    assert stated(value, 4.0, GUARDED_NON_BINARY) == non_binary


@pytest.mark.parametrize(
    ("design", "value", "u"),
    [(0.1, 0.096, 0.006), (0.1, 0.104, 0.006), (0.3, 0.28, 0.01), (0.7, 0.69, 0.06), (412.0, 380.8, 10.0)],
)
def test_binary_floats_do_not_decide_on_the_acceptance_limit(design, value, u):
    assert stated(value, u, GUARDED, design) == "pass"
    assert stated(value, u, GUARDED_NON_BINARY, design) == "pass"


@pytest.mark.parametrize(("design", "value"), [(0.1, 0.09), (0.1, 0.11), (0.3, 0.27), (0.7, 0.63), (1.1, 1.21)])
def test_binary_floats_do_not_decide_on_the_tolerance_limit(design, value):
    assert stated(value, 0.0, SIMPLE, design) == "pass"


BEYOND = [  # lower, upper, and what 1e-9 of the middle, or of the limits, is
    (90.0, 110.0, 1e-7),
    (-np.inf, 200.0, 2e-7),
    (200.0, np.inf, 2e-7),
    (-110.0, -90.0, 1e-7),
    (0.09, 0.11, 1e-10),
    (-5.0, 5.0, 5e-9),  # about 0 there is no middle: 1e-9 of the limits
    (-2e-7, 2e-7, 2e-16),
    (0.0, 0.0, 1e-9),  # nor any limit but 0: 1 in the unit of the value
]


@pytest.mark.parametrize(("lower", "upper", "grain"), BEYOND)
def test_a_value_counts_as_on_a_limit_up_to_half_a_grain_beyond_it(lower, upper, grain):
    """Computed and tried in binary floats, of which the last bit at 200 is 3e-14."""
    interval = ToleranceIntervals(column(lower), column(upper))
    limit, way = (upper, 1.0) if np.isfinite(upper) else (lower, -1.0)
    assert margin(column(limit + way * 0.4 * grain), interval) == pytest.approx([0.0], abs=1e-6 * grain)
    assert margin(column(limit + way * 0.6 * grain), interval) == pytest.approx([-grain], rel=1e-3, abs=0)


@pytest.mark.parametrize(
    ("limit", "rule", "on_it", "beyond"),
    [
        (90.0, SIMPLE, "pass", "fail"),
        (94.0, GUARDED, "pass", "fail"),
        (94.0, GUARDED_NON_BINARY, "pass", "conditional pass"),
        (90.0, GUARDED_NON_BINARY, "conditional pass", "conditional fail"),
        (86.0, GUARDED_NON_BINARY, "conditional fail", "fail"),
    ],
)
def test_a_whole_grain_beyond_a_limit_is_outside(limit, rule, on_it, beyond):
    """1e-7, of a design value of 100."""
    assert stated(limit - 0.4e-7, 4.0, rule) == on_it
    assert stated(limit - 1e-7, 4.0, rule) == beyond


def test_an_uncertainty_wider_than_the_tolerance_leaves_no_acceptance_interval():
    assert stated(100.0, 10.01, GUARDED) == "fail"
    assert stated(100.0, 10.01, GUARDED_NON_BINARY) == "conditional pass"


def test_each_result_is_judged_against_its_own_interval():
    interval = about(column(100.0, 50.0), column(0.1, 0.05))
    assert conformity(column(92.0, 92.0), column(1.0, 1.0), interval, GUARDED).tolist() == ["pass", "fail"]


def test_a_rule_that_is_not_known_is_refused():
    with pytest.raises((CalibError, ValueError, KeyError)):
        stated(100.0, 1.0, "guarded-nonbinary")


value = st.floats(50.0, 150.0)
uncertainty = st.floats(0.01, 30.0)


@given(value, uncertainty)
def test_what_passes_with_a_guard_band_passes_without_it(y, u):
    if stated(y, u, GUARDED) == "pass":
        assert stated(y, u, SIMPLE) == "pass"


@given(value, uncertainty)
def test_the_three_rules_agree_where_they_overlap(y, u):
    four = stated(y, u, GUARDED_NON_BINARY)
    assert (four == "pass") == (stated(y, u, GUARDED) == "pass")
    assert four.endswith("pass") == (stated(y, u, SIMPLE) == "pass")


@given(value, uncertainty, st.sampled_from(DECISION_RULES), st.sampled_from([1e-3, 2.0**-7, 3600.0]))
def test_the_unit_does_not_decide(y, u, rule, unit):
    # Values a little away from every limit: on it, the rounding to 1e-9 of the design value decides.
    y, u = round(y, 1) + 0.05, round(u, 1)
    assert stated(y * unit, u * unit, rule, 100.0 * unit) == stated(y, u, rule)


@pytest.mark.parametrize(("lower", "upper"), [(90.0, math.inf), (-math.inf, 90.0)])
def test_on_a_single_limit_the_probability_is_one_half(lower, upper):
    assert probability(90.0, 3.0, lower, upper) == pytest.approx(0.5)


@pytest.mark.parametrize("dof", [1.0, 5.0, 16.0, math.inf])
def test_a_result_its_expanded_uncertainty_inside_one_limit_has_the_promised_probability(dof):
    # k at p = 95.45 % leaves half of the rest, 2.275 %, beyond the one limit.
    u = 2.0
    found = probability(90.0 + float(coverage_factor(dof)) * u, u, 90.0, math.inf, dof)
    assert found == pytest.approx(1.0 - 0.5 * math.erfc(math.sqrt(2.0)), rel=1e-12)


@given(st.floats(91.0, 109.0), st.floats(0.5, 20.0), st.integers(1, 30))
def test_with_few_degrees_of_freedom_both_tails_are_those_of_students_t(y, u, nu):
    # P(|T| > t) = I_x(nu/2, 1/2) with x = nu/(nu + t^2): Abramowitz and Stegun 26.5.27, from memory.
    beyond = [0.5 * betainc(nu / 2, 0.5, nu / (nu + (limit / u) ** 2)) for limit in (y - 90.0, 110.0 - y)]
    assert probability(y, u, dof=float(nu)) == pytest.approx(1.0 - sum(beyond), rel=1e-12, abs=1e-12)


@given(value, uncertainty)
def test_without_degrees_of_freedom_both_tails_are_those_of_the_normal_distribution(y, u):
    tails = [0.5 * math.erfc(z / (u * math.sqrt(2.0))) for z in (y - 90.0, 110.0 - y)]
    assert probability(y, u) == pytest.approx(1.0 - sum(tails), abs=1e-12)
    assert probability(y, u, dof=math.inf) == probability(y, u)


@given(value, uncertainty, st.sampled_from([None, 3.0, math.inf]))
def test_the_probability_is_the_same_on_either_side_of_the_design_value(y, u, dof):
    assert probability(200.0 - y, u, dof=dof) == pytest.approx(probability(y, u, dof=dof), abs=1e-12)


@given(value, uncertainty, st.floats(0.0, 20.0))
def test_a_wider_tolerance_never_lowers_the_probability(y, u, wider):
    assert probability(y, u, 90.0 - wider, 110.0 + wider) >= probability(y, u) - 1e-15
