"""When an instrument was last in order, and which certificates say so; days by hand."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from calib.confirmation.in_order import last_shown_in_order, later_calibrations, of_the_same_calibration
from tests.confirmation.test_interval import calibration, check, instrument, noon

FIRST, SECOND, THIRD = (date(year, 3, 4) for year in (2024, 2025, 2026))


def of_three_years():
    return instrument(calibration(1, FIRST), calibration(2, SECOND), calibration(3, THIRD))


def test_of_two_on_one_day_the_one_recorded_later_is_the_later_one():
    own = instrument(calibration(1, FIRST), calibration(2, FIRST))
    assert (later_calibrations(own, 1), later_calibrations(own, 2)) == ((2,), ())


@pytest.mark.parametrize(
    ("other", "is_the_same"),
    [
        ({}, True),
        ({"laboratory": "Another"}, False),
        ({"calibrated_on": date(2024, 3, 5)}, False),
        ({"accepted_on": None}, False),
    ],
    ids=["day and laboratory", "another laboratory", "another day", "not accepted"],
)
def test_a_certificate_of_the_same_calibration_is_another_one_of_its_day_and_laboratory(other, is_the_same):
    own = instrument(calibration(1, FIRST), replace(calibration(2, FIRST), **other))
    found = of_the_same_calibration(own, 1)
    assert (found is not None and found.record_id == 2) is is_the_same


def test_a_certificate_alone_is_of_the_same_calibration_as_no_other():
    assert of_the_same_calibration(of_three_years(), 3) is None


def test_it_was_shown_to_be_in_order_by_its_calibration_or_by_its_last_passed_check():
    at = noon(date(2026, 6, 1))
    checks = (
        check(date(2025, 5, 1), passed=True),
        check(date(2026, 4, 1), passed=True),
        check(date(2026, 5, 1), passed=False),
    )
    later = check(date(2026, 6, 1), passed=True)
    calibrations = of_three_years().calibrations
    assert last_shown_in_order(instrument(*calibrations), at) == datetime(2026, 3, 4, tzinfo=UTC)
    assert last_shown_in_order(instrument(*calibrations, checks=[*checks, later]), at) == noon(date(2026, 4, 1))


def test_a_check_at_the_first_moment_of_the_calibration_s_day_shows_no_more_than_that():
    midnight = datetime(2026, 3, 4, tzinfo=UTC)
    own = instrument(*of_three_years().calibrations, checks=[replace(check(THIRD, passed=True), at=midnight)])
    assert last_shown_in_order(own, noon(THIRD)) == midnight


def test_before_its_first_calibration_nothing_showed_it():
    assert last_shown_in_order(of_three_years(), noon(date(2024, 3, 3))) is None
