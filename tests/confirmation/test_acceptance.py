"""Acceptance of comparisons against the maximum permissible error.

Source: JCGM 106:2012, 8.2 and 8.3.2 (rules), 7.4 (probability); the decimals here are exact, so that the limits are met exactly.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.confirmation.acceptance import ComparedErrors, judge_errors
from calib.errors import CalibError


def errors(error, u=0.01, k=2.0, limit=0.1):
    columns = np.broadcast_arrays(*(np.asarray(one, dtype=float) for one in (np.atleast_1d(error), u, k, limit)))
    return ComparedErrors(*columns)


def statements(rule, error, **others):
    return list(judge_errors(errors(error, **others), rule).statement)


@pytest.mark.parametrize(("error", "statement"), [(0.1, "pass"), (-0.1, "pass"), (0.1001, "fail"), (-0.1001, "fail")])
def test_an_error_on_its_limit_passes_simple_acceptance(error, statement):
    assert statements("simple", [error]) == [statement]


@pytest.mark.parametrize(("error", "statement"), [(0.08, "pass"), (-0.08, "pass"), (0.0801, "fail"), (-0.0801, "fail")])
def test_the_guard_band_is_the_expanded_uncertainty(error, statement):
    assert statements("guarded", [error]) == [statement]


@pytest.mark.parametrize(
    ("error", "statement"),
    [
        (0.08, "pass"),
        (0.09, "conditional pass"),
        (0.1, "conditional pass"),
        (0.12, "conditional fail"),
        (0.1201, "fail"),
    ],
)
def test_the_non_binary_rule_has_four_statements(error, statement):
    assert statements("guarded non-binary", [error]) == [statement]


def test_floats_do_not_turn_a_limit_into_a_failure():
    # 14.00 - 13.60 is a little more than 0.4 in binary.
    assert 14.00 - 13.60 > 0.4
    assert statements("simple", [14.00 - 13.60], limit=0.4) == ["pass"]


@pytest.mark.parametrize("limit", [2e-9, 3e-5, 0.7, 5e4])
def test_whatever_the_unit_an_error_on_its_limit_passes_and_a_millionth_more_fails(limit):
    assert statements("simple", [limit, -limit, 1.000001 * limit, -1.000001 * limit], limit=limit) == [
        *["pass"] * 2,
        *["fail"] * 2,
    ]


def test_a_conditional_pass_is_accepted_and_a_conditional_failure_is_not():
    assert judge_errors(errors([0.09]), "guarded non-binary").accepted
    assert not judge_errors(errors([0.11]), "guarded non-binary").accepted


def test_one_failure_of_many_refuses_the_whole():
    found = judge_errors(errors([0.0, 0.2, 0.0]), "simple")
    assert list(found.passes) == [True, False, True]
    assert not found.accepted


def test_no_comparison_at_all_is_no_acceptance():
    assert not judge_errors(errors([]), "simple").accepted


def test_a_limit_of_zero_is_passed_by_no_error_only():
    assert statements("simple", [0.0, 0.001], limit=0.0) == ["pass", "fail"]


def test_the_probability_of_conformity_is_that_of_the_normal_distribution():
    # E = 0.09, u = 0.01, limits +-0.1: Phi(1) - Phi(-19).
    found = judge_errors(errors([0.09]), "simple").probability[0]
    assert found == pytest.approx(0.5 * (1 + math.erf(1 / math.sqrt(2))), abs=1e-12)


def test_the_coverage_factor_of_the_certificate_makes_its_guard_band():
    assert statements("guarded", [0.075], k=2.0) == ["pass"]
    assert statements("guarded", [0.075], k=3.0) == ["fail"]


def test_a_rule_that_is_none_is_told():
    with pytest.raises(CalibError, match="no decision rule"):
        judge_errors(errors([0.0]), "lenient")


@given(st.floats(-0.3, 0.3), st.floats(0.001, 0.1))
def test_who_passes_guarded_passes_simple_and_the_sign_does_not_matter(error, u):
    guarded = judge_errors(errors([error], u=u), "guarded").accepted
    assert not guarded or judge_errors(errors([error], u=u), "simple").accepted
    assert judge_errors(errors([-error], u=u), "guarded").accepted == guarded
