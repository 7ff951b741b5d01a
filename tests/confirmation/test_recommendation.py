"""The recommendation of a review: the spread by hand, the reliability by scipy's t, and what it says of known cases.

Source: ILAC-G24:2007 / OIML D 10 (from memory) for what a review looks at; the equations by hand.
"""

import math
from datetime import date

import numpy as np
import pytest
from scipy.stats import t

from calib.confirmation.history import Changes
from calib.confirmation.recommendation import (
    ACCEPT_CORRECTED,
    ADJUST,
    KEEP,
    LENGTHEN,
    SHORTEN,
    STEPS,
    Spread,
    percent_down,
    recommend,
    reliability,
    spread,
)

LIMIT = np.array([0.1, 0.2])


def changes(*rows, years=1.0):
    """Changes in shares of the limits, each after as many years."""
    return Changes(
        tuple(date(2020 + place, 1, 1) for place in range(len(rows))),
        np.full(len(rows), years),
        np.array(rows, dtype=float).reshape(len(rows), 2) * LIMIT,
    )


NONE = changes()


def test_the_spread_is_the_mean_square_of_the_changes_over_the_limits():
    known = spread(changes([0.3, 0.1], [-0.1, 0.2], [0.2, -0.2]), [], LIMIT)
    squares = [(0.09 + 0.01) / 2, (0.01 + 0.04) / 2, (0.04 + 0.04) / 2]
    assert known.per_interval == pytest.approx(math.sqrt(sum(squares) / 3))
    assert (known.mean_interval, known.own, known.family, known.degrees_of_freedom) == (1.0, 3, 0, 3.0)


def test_a_family_counts_as_ten_changes_at_most():
    """Own changes of 0.1, twenty others of 0.3: (2 · 0.01 + 10 · 0.09)/12."""
    known = spread(changes([0.1, 0.1], [0.1, 0.1]), [changes(*[[0.3, 0.3]] * 20)], LIMIT)
    assert known.per_interval == pytest.approx(math.sqrt((2 * 0.01 + 10 * 0.09) / 12))
    assert known.degrees_of_freedom == 12.0


def test_changes_over_longer_times_count_by_their_time():
    """0.2 in four years is what 0.1 is in one; the mean interval is 2.5 years."""
    known = spread(changes([0.1, 0.1], [0.1, 0.1]), [changes([0.2, 0.2], [0.2, 0.2], years=4.0)], LIMIT)
    assert known.mean_interval == 2.5
    assert known.per_interval == pytest.approx(0.1 * math.sqrt(2.5))


@pytest.mark.parametrize("count", [0, 1, 2])
def test_fewer_than_three_changes_say_nothing(count):
    assert spread(changes(*[[0.1, 0.1]] * count), [], LIMIT) is None
    assert spread(NONE, [changes(*[[0.1, 0.1]] * count)], LIMIT) is None


def test_an_indication_without_a_limit_is_left_out():
    known = spread(changes([0.3, 9.0], [0.3, 9.0], [0.3, 9.0]), [], np.array([0.1, np.nan]))
    assert known.per_interval == pytest.approx(0.3)


def test_the_spread_is_not_below_what_the_digits_hide():
    assert spread(changes(*[[0.0, 0.0]] * 3), [], LIMIT, 0.02).per_interval == 0.02


@pytest.mark.parametrize(("years", "grown"), [(0.25, 0.5), (1.0, 1.0), (2.0, 2.0)])
def test_a_change_grows_like_the_stability_of_a_flow(years, grown):
    assert Spread(0.3, 1.0, 5, 0).of_change(years) == pytest.approx(0.3 * grown)


@pytest.mark.parametrize("left", [0.0, 0.49, -0.8, 1.2])
@pytest.mark.parametrize("guarded", [1.0, 0.7])
def test_the_reliability_is_the_probability_between_the_limits(left, guarded):
    known = Spread(0.2, 1.0, 4, 3)
    expected = t(7).cdf((guarded - left) / 0.2) - t(7).cdf((-guarded - left) / 0.2)
    assert reliability(np.array([left]), np.array([guarded]), known, 1.0)[0] == pytest.approx(expected)


def test_where_u_is_as_wide_as_the_limit_nothing_passes():
    assert reliability(np.array([0.0]), np.array([0.0]), Spread(0.2, 1.0, 4, 0), 1.0)[0] == 0.0


def said(left, s, present=12, guarded=1.0, changes=12, **more):
    known = Spread(s, 1.0, changes, 0)
    return recommend(present, 0.95, np.array([left]), np.array([guarded]), known, **({"adjustable": True} | more))


def test_a_meter_at_half_of_its_limit_without_drift_is_not_calibrated_more_often():
    assert (said(0.49, 0.02).action, said(0.49, 0.02).months) == (LENGTHEN, 24)


@pytest.mark.parametrize(("adjustable", "action"), [(True, ADJUST), (False, ACCEPT_CORRECTED)])
def test_a_meter_that_errs_steadily_is_adjusted_or_accepted_on_its_corrected_value(adjustable, action):
    found = said(1.05, 0.02, adjustable=adjustable)
    assert (found.action, found.months) == (action, 12)
    assert found.at_present < 0.05
    assert found.reliability > 0.99
    assert "left with up to 105 % of its limit" in found.why


def test_one_that_wanders_is_calibrated_more_often_and_the_reason_is_told():
    """Student's t of 12 degrees of freedom: 2.179 u(tau) may be 1, so the square root of tau at most 1/(2.179 · 0.9)."""
    found = said(0.0, 0.9)
    assert (found.action, found.months) == (SHORTEN, 3)
    assert 0.95 <= found.reliability < 1
    assert found.reason_of_size == (
        "Shorter than half the present interval, since errors change by 90 % of their limits (one standard deviation) "
        "in 12 months."
    )


def test_half_of_the_present_interval_needs_no_further_reason():
    found = said(0.0, 0.6)
    assert (found.action, found.months, found.reason_of_size) == (SHORTEN, 6, None)


def test_what_reaches_the_target_now_and_not_at_the_next_step_is_kept():
    found = said(0.0, 0.42)
    assert (found.action, found.months) == (KEEP, 12)


def test_nothing_is_proposed_beyond_twice_the_present_interval():
    assert said(0.0, 0.001, present=6).months == 12
    assert said(0.0, 0.001, present=7).months == 12


def test_an_interval_beside_the_steps_may_be_kept():
    assert (said(0.0, 0.48, present=10).action, said(0.0, 0.48, present=10).months) == (KEEP, 10)


def test_u_counts_where_the_rule_has_it():
    """At 40 % of the limit and a spread of 0.25; with U of 30 % of the limit there is half the room."""
    assert said(0.4, 0.25).action == KEEP
    assert said(0.4, 0.25, guarded=0.7).action == ADJUST


def test_limits_narrower_than_anything_keeps_are_said_to_be():
    found = said(0.0, 9.0)
    assert found.months == STEPS[0]
    assert "not even 1 month would reach" in found.why


@pytest.mark.parametrize(("left", "action"), [(0.9, KEEP), (1.1, ADJUST)])
def test_with_too_few_changes_only_an_error_beyond_its_limit_says_something(left, action):
    found = recommend(12, 0.95, np.array([left]), np.array([1.0]), None, adjustable=True)
    assert (found.action, found.months, found.reliability) == (action, 12, None)


def test_without_limits_nothing_is_recommended():
    found = recommend(12, 0.95, np.array([np.nan]), np.array([np.nan]), None, adjustable=True)
    assert (found.action, found.why) == (KEEP, "no error of indication with a limit is on record")


def test_what_is_below_a_target_is_not_printed_as_the_target():
    assert percent_down(0.94999) == "94.9 %"
    assert percent_down(0.95) == "95 %"


@pytest.mark.parametrize(("own", "family", "months"), [(9, 0, 18), (10, 0, 24), (3, 6, 18), (3, 7, 24), (3, 40, 24)])
def test_fewer_than_ten_changes_lengthen_by_one_step_and_ten_may_double(own, family, months):
    """Nothing drifts, so that twice the interval is as sound as the next step."""
    said = recommend(12, 0.95, np.zeros(2), np.ones(2), Spread(0.01, 1.0, own, family), adjustable=False)
    assert (said.action, said.months) == (LENGTHEN, months)
    assert ("one step a review" in said.why) == (months == 18)
