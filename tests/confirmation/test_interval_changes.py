"""A changed calibration interval: a shorter one holds at once, a longer one from the next calibration accepted on.

Source: common practice, no source: a due date that was given is never put off afterwards.
"""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest

from calib.confirmation.interval import (
    CalibrationOnRecord,
    InstrumentOnRecord,
    IntervalChange,
    gate,
    interval_at,
    interval_of,
)


def at(day):
    return datetime.fromisoformat(f"{day}T12:00+00:00")


def vane(*changes, accepted_on="2025-01-20"):
    calibration = CalibrationOnRecord(
        1, "C-1", "Laboratory", date(2025, 1, 10), date.fromisoformat(accepted_on), None, 0.5, 20.0, "0.5 to 20 m/s"
    )
    changed = tuple(IntervalChange(at(day), months) for day, months in changes)
    return InstrumentOnRecord("VA-1", 12, None, (calibration,), interval_changes=changed)


def due(instrument, day="2025-10-01"):
    return str(gate({"VA-1": instrument}, "VA-1", at(day), datetime(2030, 1, 1, tzinfo=UTC)).due_on)


@pytest.mark.parametrize(
    ("changes", "due_on"),
    [
        ([], "2026-01-10"),
        ([("2025-06-01", 6)], "2025-07-10"),
        ([("2025-06-01", 24)], "2026-01-10"),  # in use already: not longer
        ([("2025-01-20", 24)], "2027-01-10"),  # on the day of the acceptance: it was accepted with it
        ([("2025-01-20", 9), ("2025-01-20", 24)], "2027-01-10"),
        ([("2025-01-15", 24), ("2025-03-01", 18)], "2026-07-10"),
        ([("2025-03-01", 6), ("2025-04-01", 12)], "2025-07-10"),  # the shortest since
        ([("2024-03-01", 6), ("2024-09-01", 9)], "2025-10-10"),  # the latest before
        ([("2025-12-01", 3)], "2026-01-10"),  # after the day asked about
    ],
)
def test_the_due_date_follows_the_interval_that_counts(changes, due_on):
    assert due(vane(*changes)) == due_on


@pytest.mark.parametrize(("day", "months"), [("2025-01-10", 6), ("2025-01-11", 6), ("2025-01-09", 9)])
def test_of_a_calibration_that_waits_for_its_acceptance_the_interval_counts_from_its_own_day(day, months):
    waiting = vane(("2025-01-09", 9), (day, months))
    (calibration,) = (replace(each, accepted_on=None) for each in waiting.calibrations)
    assert interval_of(waiting, calibration, at("2025-10-01")) == months


def test_a_shorter_interval_holds_from_its_time_on_only():
    instrument = vane(("2025-09-01", 6))
    assert (due(instrument, "2025-08-31"), due(instrument, "2025-09-01")) == ("2026-01-10", "2025-07-10")
    allowed = [
        gate({"VA-1": instrument}, "VA-1", at(day), at("2026-01-01")).allowed for day in ("2025-08-31", "2025-09-02")
    ]
    assert allowed == [True, False]


def test_an_interval_set_in_the_evening_holds_for_that_day_in_any_zone():
    evening = datetime.fromisoformat("2025-09-01T20:00-08:00")
    instrument = replace(vane(), interval_changes=(IntervalChange(evening, 6),))
    due_on = [gate({"VA-1": instrument}, "VA-1", day, day).due_on for day in (date(2025, 8, 31), date(2025, 9, 1))]
    assert due_on == [date(2026, 1, 10), date(2025, 7, 10)]


@pytest.mark.parametrize(("day", "months"), [("2025-02-28", 12), ("2025-03-01", 9), ("2025-08-01", 18)])
def test_the_interval_in_force_is_the_latest(day, months):
    assert interval_at(vane(("2025-03-01", 9), ("2025-07-01", 18)), date.fromisoformat(day)) == months


@pytest.mark.parametrize("order", [1, -1])
def test_the_latest_is_that_of_the_latest_time_however_they_were_recorded(order):
    changes = [("2025-03-01", 9), ("2025-07-01", 18), ("2025-09-01", 3)][::order]
    days = [date(2025, 2, 28), date(2025, 3, 1), date(2025, 7, 1), date(2025, 9, 1)]
    assert [interval_at(vane(*changes), day) for day in days] == [12, 9, 18, 3]


def test_of_two_changes_at_one_time_the_later_recorded_counts():
    assert interval_at(vane(("2025-03-01", 8), ("2025-03-01", 9)), date(2025, 4, 1)) == 9
    assert interval_at(vane(("2025-03-01", 9), ("2025-03-01", 8)), date(2025, 4, 1)) == 8
