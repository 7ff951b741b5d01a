"""Proposals for an interval: each method's number and why, by hand from its rule (ILAC-G24 / OIML D 10, from memory)."""

import math

import pytest

from calib.confirmation import proposals
from calib.confirmation.reliability import FoundInterval

PRESENT = 12


def found(passed, failed, months=12.0):
    return [FoundInterval("VA-1", f"C-{number}", months, number < passed) for number in range(passed + failed)]


@pytest.mark.parametrize(
    ("share", "months"),
    [(0.0, 15), (0.8, 15), (0.801, 12), (1.0, 12), (1.0001, 6), (5.0, 6)],
)
def test_the_staircase_goes_up_kept_or_down(share, months):
    assert proposals.by_simple_response(PRESENT, 12.0, share).months == months


@pytest.mark.parametrize(("present", "longer", "shorter"), [(1, 2, 1), (3, 4, 1), (24, 30, 12)])
def test_the_staircase_moves_by_whole_months(present, longer, shorter):
    assert proposals.by_simple_response(present, present, 0.1).months == longer
    assert proposals.by_simple_response(present, present, 2.0).months == shorter


@pytest.mark.parametrize(
    ("ended", "share", "months"),
    [
        (12.0, 0.1, None),  # a good year says nothing for 30 months
        (12.0, 0.9, 12),  # near the limit after a year: no longer than that
        (12.0, 1.2, 6),
        (19.2, 0.1, 30),  # a fifth shorter is as long as
        (19.1, 0.1, None),
        (30.0, 0.1, 30),  # recalibrated late: from the present one
    ],
)
def test_the_staircase_takes_no_step_up_from_an_interval_that_nobody_has_lived_through(ended, share, months):
    assert proposals.by_simple_response(24, ended, share).months == months


def test_without_comparisons_as_found_there_is_no_staircase():
    assert proposals.by_simple_response(PRESENT, 0.0, None).months is None


@pytest.mark.parametrize(
    ("years", "months"),
    [
        ([(1.0, "1 m/s"), (0.8, "2 m/s"), (None, "3 m/s")], 9),  # 9.6 months, rounded down
        ([(0.01, "1 m/s")], 1),
        ([(7.0, "1 m/s")], 24),
        ([(None, "1 m/s")], 24),
        ([(0.75, "1 m/s")], 9),
        ([], None),
    ],
)
def test_drift_proposes_the_whole_months_until_the_first_indication_reaches_the_limit(years, months):
    assert proposals.by_drift("drift", PRESENT, years).months == months


def test_drift_names_the_indication():
    assert (
        "9.6 months after the last calibration, at 2 m/s"
        in proposals.by_drift("", 12, [(1.0, "1 m/s"), (0.8, "2 m/s")]).why
    )


@pytest.mark.parametrize(
    ("passed", "failed", "months"),
    [
        (80, 0, 12),  # low limit 95.5 %
        (4, 0, 12),  # nothing can be told from four
        (10, 10, math.floor(12 * math.log(0.95) / math.log(0.5)) or 1),
        (40, 10, math.floor(12 * math.log(0.95) / math.log(0.8))),
        (0, 9, 1),
    ],
)
def test_a_family_that_misses_its_target_is_shortened(passed, failed, months):
    found_by, seen = proposals.by_proportion(PRESENT, found(passed, failed), 0.95)
    assert found_by.months == months
    assert (seen.passed, seen.count) == (passed, passed + failed)


def test_only_intervals_about_as_long_as_the_present_one_count_as_a_proportion():
    seen = [*found(3, 0, 9.59), *found(2, 1, 9.61), *found(1, 0, 14.4), *found(5, 0, 14.41)]
    assert proposals.by_proportion(PRESENT, seen, 0.95)[1].count == 4


def test_no_interval_of_that_length_gives_no_proportion():
    assert proposals.by_proportion(PRESENT, found(3, 0, 24.0), 0.95) == (
        proposals.Proposal(
            "reliability of the family (binomial)", None, "no interval within 20 % of the present one has ended"
        ),
        None,
    )


def test_the_exponential_model_gives_the_interval_for_the_target():
    """19 of 20 in tolerance after 12 months: exp(-12 lambda) = 0.95, so 12 months for 95 % and 24.6 for 90 %."""
    seen = found(19, 1)
    assert proposals.by_rate(PRESENT, seen, 0.949)[0].months == 12
    assert proposals.by_rate(PRESENT, seen, 0.951)[0].months == 11
    assert proposals.by_rate(PRESENT, seen, 0.90)[0].months == 24


def test_without_a_failure_the_interval_is_kept():
    found_by, rate = proposals.by_rate(PRESENT, found(30, 0), 0.95)
    assert found_by.months == PRESENT
    assert rate.estimate == 0.0


def test_the_shortest_proposal_is_that_of_the_fewest_months():
    three = [proposals.Proposal("a", None, ""), proposals.Proposal("b", 9, ""), proposals.Proposal("c", 7, "")]
    assert proposals.shortest(three).method == "c"
    assert proposals.shortest(three[:1]) is None
