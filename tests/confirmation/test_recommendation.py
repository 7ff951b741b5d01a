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


# --- the equations, number by number ---------------------------------------------------------------------------------------------

# At four indications, of which the third has no limit and the last one of 0: own changes and their family's, after unequal times.
LIMITS = np.array([0.1, 0.2, np.nan, 0.0])
OWN = Changes(
    (date(2021, 1, 1), date(2022, 7, 1), date(2023, 1, 1)),
    np.array([1.5, 0.8, 1.1]),
    np.array([[0.03, np.nan, 9.0, 9.0], [-0.02, 0.05, 9.0, 9.0], [np.nan, np.nan, 9.0, 9.0]]),
)
FAMILY = [
    Changes((date(2021, 1, 1),), np.array([2.5]), np.array([[0.07, -0.06, 9.0, 9.0]])),
    Changes(
        (date(2021, 1, 1), date(2022, 1, 1)), np.array([0.9, 1.3]), np.array([[0.01, 0.03, 9.0, 9.0], [np.nan, 0.08, 9.0, 9.0]])
    ),
]  # fmt: skip


def test_the_spread_weighs_own_changes_with_the_mean_of_the_family_s():
    """Shares of the limits squared over the years; of the third own change nothing is known where there is a limit."""
    own = [0.3**2 / 1.5, (0.2**2 + 0.25**2) / 2 / 0.8]
    family = [(0.7**2 + 0.3**2) / 2 / 2.5, (0.1**2 + 0.15**2) / 2 / 0.9, 0.4**2 / 1.3]
    mean_interval = (1.5 + 0.8 + 2.5 + 0.9 + 1.3) / 5
    known = spread(OWN, FAMILY, LIMITS)
    per_year = (sum(own) + 3 * sum(family) / 3) / (2 + 3)
    assert known.per_interval == pytest.approx(math.sqrt(per_year * mean_interval), rel=1e-12)
    assert (known.mean_interval, known.own, known.family) == (pytest.approx(mean_interval, rel=1e-14), 2, 3)
    many = spread(OWN, FAMILY * 4, LIMITS)
    mean_interval = (1.5 + 0.8 + 4 * (2.5 + 0.9 + 1.3)) / 14
    per_year = (sum(own) + 10 * sum(family) / 3) / (2 + 10)
    assert many.per_interval == pytest.approx(math.sqrt(per_year * mean_interval), rel=1e-12)
    assert (many.family, many.degrees_of_freedom) == (12, 12.0)


@pytest.mark.parametrize(
    ("own", "family", "is_known"), [(1, 1, False), (1, 2, True), (2, 1, True), (2, 0, False), (0, 3, True)]
)
def test_three_changes_tell_a_spread_whoever_they_are_of(own, family, is_known):
    known = spread(changes(*[[0.1, 0.1]] * own), [changes(*[[0.1, 0.1]] * family)], LIMIT)
    assert (known is not None) is is_known


def test_a_change_grows_by_its_time_over_the_mean_interval():
    """Up to the mean interval of 2.5 years by the square root, then with the time."""
    known = Spread(0.3, 2.5, 4, 7)
    assert known.of_change(0.9) == pytest.approx(0.3 * math.sqrt(0.9 / 2.5), rel=1e-14)
    assert known.of_change(4.0) == pytest.approx(0.3 * 4.0 / 2.5, rel=1e-14)


def test_the_reliability_of_several_indications_is_that_of_student_s_t():
    known, left, guarded = (
        Spread(0.3, 2.5, 4, 7),
        [0.2, -0.5, 0.9, 0.1, math.nan, 0.4],
        [0.8, 0.6, 0.7, -0.2, 0.9, math.nan],
    )
    u = 0.3 * math.sqrt(1.5 / 2.5)
    inside = [t(11).cdf((g - e) / u) - t(11).cdf((-g - e) / u) for e, g in zip(left[:3], guarded[:3], strict=True)]
    found = reliability(np.array(left), np.array(guarded), known, 1.5)
    assert found == pytest.approx([*inside, 0.0, math.nan, math.nan], rel=1e-11, nan_ok=True)


def test_what_never_changes_is_as_it_was_left_and_on_its_limit_is_inside():
    left, guarded = [0.6, -0.6, 0.7, -0.7, math.nan, 0.1, 1e-9], [0.6, 0.6, 0.6, 0.6, 0.5, math.nan, 0.0]
    found = reliability(np.array(left), np.array(guarded), Spread(0.0, 1.0, 3, 0), 2.0)
    assert found == pytest.approx([1.0, 1.0, 0.0, 0.0, math.nan, math.nan, 1.0], nan_ok=True)


# --- what is recommended, and why ------------------------------------------------------------------------------------------------


def least(left, guarded, known, months):
    """The least probability of the indications with a limit, by scipy's t."""
    u, dof = (
        known.per_interval * max(math.sqrt(months / 12 / known.mean_interval), months / 12 / known.mean_interval),
        known.degrees_of_freedom,
    )
    return min(
        t(dof).cdf((g - e) / u) - t(dof).cdf((-g - e) / u)
        for e, g in zip(left, guarded, strict=True)
        if not math.isnan(e + g)
    )


def test_the_worst_indication_with_a_limit_decides():
    left, guarded, known = [0.1, -0.35, math.nan, 0.2], [1.0, 0.9, 1.0, math.nan], Spread(0.25, 1.3, 8, 5)
    found = recommend(18, 0.9, np.array(left), np.array(guarded), known, adjustable=True)
    assert found.at_present == pytest.approx(least(left, guarded, known, 18), rel=1e-11)
    steps = [months for months in (1, 2, 3, 4, 6, 9, 12, 18, 24, 36) if least(left, guarded, known, months) >= 0.9]
    assert (found.action, found.months) == (LENGTHEN, max(steps))
    assert found.reliability == pytest.approx(least(left, guarded, known, found.months), rel=1e-11)
    told = f"{percent_down(found.at_present)} in tolerance after 18 months, as it was left (wanted: 90 %)"
    assert found.why == f"{told}, {percent_down(found.reliability)} after {found.months} months"
    assert found.reason_of_size is None


def test_what_reaches_its_target_to_the_bit_reaches_it():
    """Without its error of 60 % of the limit twice the interval would do."""
    left, known = np.array([0.6]), Spread(0.2, 1.0, 12, 0)
    target = float(reliability(left, np.ones(1), known, 1.0)[0])
    assert recommend(12, target, left, np.ones(1), known, adjustable=True).action == KEEP
    above = math.nextafter(target, 1.0)
    assert recommend(12, above, left, np.ones(1), known, adjustable=True).action == ADJUST


def test_the_error_has_to_go_where_the_interval_is_longer_without_it():
    """As left no interval would do, without the error a shorter one than the present: that goes with the remedy."""
    found = said(1.05, 0.6)
    assert (found.action, found.months) == (ADJUST, 6)
    assert found.reliability == pytest.approx(least([0.0], [1.0], Spread(0.6, 1.0, 12, 0), 6), rel=1e-11)
    assert found.at_present == pytest.approx(least([1.05], [1.0], Spread(0.6, 1.0, 12, 0), 12), rel=1e-11)
    assert found.reason_of_size is None
    assert said(1.05, 1.4).months == 1
    assert (
        "errors change by 140 % of their limits (one standard deviation) in 12 months" in said(1.05, 1.4).reason_of_size
    )


def test_an_error_without_which_the_interval_would_be_no_longer_stays():
    found = said(0.01, 0.9)
    assert (found.action, found.months) == (SHORTEN, 3)


def test_what_keeps_its_interval_says_so_without_a_further_step():
    found = said(0.0, 0.42)
    assert found.why == f"{percent_down(found.at_present)} in tolerance after 12 months, as it was left (wanted: 95 %)"


@pytest.mark.parametrize(("s", "action"), [(0.37, KEEP), (0.6, SHORTEN)])
def test_few_changes_are_named_for_what_is_lengthened_alone(s, action):
    found = said(0.0, s, changes=6)
    assert found.action == action
    assert "one step a review" not in found.why


def test_an_interval_of_one_month_that_does_not_do_is_kept_and_its_limits_are_named():
    found = said(0.0, 9.0, present=1)
    assert (found.action, found.months, found.reason_of_size) == (KEEP, 1, None)
    assert found.why.endswith("; not even 1 month would reach that: its limits are narrower than it keeps")


def test_the_spread_that_is_told_is_that_after_the_present_interval():
    """Of one year 90 % of the limit, of two years 180 %."""
    found = said(0.0, 0.9, present=24)
    assert (found.action, found.months) == (SHORTEN, 3)
    assert "errors change by 180 % of their limits (one standard deviation) in 24 months" in found.reason_of_size


def test_a_third_of_the_present_interval_needs_a_reason():
    assert said(0.0, 0.75).months == 4
    assert said(0.0, 0.75).reason_of_size is not None


@pytest.mark.parametrize(
    ("present", "following"),
    [(1, 2), (2, 3), (3, 4), (4, 6), (6, 9), (9, 12), (12, 18), (18, 24), (24, 36), (36, 48), (48, 60), (60, 84), (84, 120)],
)  # fmt: skip
def test_a_review_with_few_changes_goes_to_the_next_of_the_usual_intervals(present, following):
    found = recommend(present, 0.95, np.zeros(1), np.ones(1), Spread(0.001, 1.0, 4, 0), adjustable=False)
    assert (found.action, found.months) == (LENGTHEN, following)
    assert found.why.endswith("one step a review, since 4 changes are known, fewer than 10")


def test_beyond_the_longest_of_the_usual_intervals_nothing_is_lengthened():
    found = recommend(130, 0.95, np.zeros(1), np.ones(1), Spread(0.001, 1.0, 4, 0), adjustable=False)
    assert (found.action, found.months) == (KEEP, 130)


@pytest.mark.parametrize(("left", "guarded"), [(0.2, math.nan), (math.nan, 0.9)])
def test_an_error_without_a_limit_and_a_limit_without_an_error_say_nothing(left, guarded):
    found = recommend(12, 0.95, np.array([left]), np.array([guarded]), Spread(0.1, 1.0, 5, 0), adjustable=True)
    assert (found.action, found.reliability) == (KEEP, None)


def test_an_error_on_its_limit_passes_where_too_few_changes_are_known():
    found = recommend(12, 0.95, np.array([0.2, 1e-9, -0.9]), np.array([1.0, 0.0, 0.9]), None, adjustable=False)
    assert (found.action, found.months) == (KEEP, 12)
    beyond = recommend(12, 0.95, np.array([0.2, -0.91]), np.array([1.0, 0.9]), None, adjustable=False)
    assert (beyond.action, beyond.months, beyond.at_present) == (ACCEPT_CORRECTED, 12, None)
