"""Due date and the gate (ISO/IEC 17025:2017, 6.4; ILAC-G24 / OIML D 10): each rule with its boundary."""

from dataclasses import replace
from datetime import UTC, date, datetime, time, timedelta, timezone

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.confirmation.due import due_list
from calib.confirmation.interval import (
    RELEASE,
    RETIREMENT,
    SUSPENSION,
    ZONES_DIFFER_BY,
    CalibrationOnRecord,
    CheckOnRecord,
    EventOnRecord,
    HeldCurve,
    InstrumentOnRecord,
    ReviewOnRecord,
    add_months,
    calibration_in_force,
    due_date,
    gate,
)

CALIBRATED = date(2025, 1, 31)
DUE = date(2026, 1, 31)
ONE_DAY = timedelta(days=1)


def noon(day):
    return datetime.combine(day, time(12), UTC)


def calibration(number=1, calibrated_on=CALIBRATED, **other):
    """Accepted on the day of the calibration, valid from 0.5 to 20 m/s, unless said otherwise."""
    given_or_usual = {"accepted_on": calibrated_on, "due_on": None, "low": 0.5, "high": 20.0} | other
    return CalibrationOnRecord(
        record_id=number,
        certificate=f"C-{number}",
        laboratory="Laboratory",
        calibrated_on=calibrated_on,
        measuring_interval="0.5 m/s to 20 m/s",
        **given_or_usual,
    )


def instrument(*calibrations, tag="VANE-1", months=12, check_days=None, events=(), checks=()):
    return InstrumentOnRecord(tag, months, check_days, calibrations, tuple(events), tuple(checks))


def register(*instruments):
    return {one.tag: one for one in instruments}


def event(kind, day):
    return EventOnRecord(kind, noon(day), "dropped")


def check(day, *, passed):
    return CheckOnRecord(noon(day), "zero", passed)


def decided(one, day, *standards, **asked):
    """The gate's answer at noon of a day, asked long afterwards."""
    return gate(register(one, *standards), one.tag, noon(day), noon(date(2040, 1, 1)), **asked)


# Months


@pytest.mark.parametrize(
    ("start", "months", "end"),
    [
        (date(2025, 1, 31), 1, date(2025, 2, 28)),
        (date(2024, 1, 31), 1, date(2024, 2, 29)),
        (date(2025, 1, 31), 3, date(2025, 4, 30)),
        (date(2024, 2, 29), 12, date(2025, 2, 28)),
        (date(2024, 2, 29), 48, date(2028, 2, 29)),
        (date(2025, 12, 15), 1, date(2026, 1, 15)),
        (date(2025, 11, 30), 13, date(2026, 12, 30)),
        (date(2025, 3, 31), 0, date(2025, 3, 31)),
    ],
)
def test_months_end_on_the_same_day_or_on_the_last_of_a_shorter_month(start, months, end):
    assert add_months(start, months) == end


@given(st.dates(date(1990, 1, 1), date(2090, 1, 1)), st.integers(1, 120))
def test_months_never_skip_a_month(start, months):
    end = add_months(start, months)
    assert (end.year - start.year) * 12 + end.month - start.month == months
    assert end.day == start.day or (end + ONE_DAY).day == 1


# Due date


@pytest.mark.parametrize(
    ("stated", "due"),
    [
        (None, DUE),
        (date(2025, 7, 1), date(2025, 7, 1)),
        (DUE, DUE),
        (date(2026, 2, 1), DUE),
        (date(2030, 1, 1), DUE),
    ],
)
def test_an_earlier_stated_due_date_counts_and_a_later_one_does_not(stated, due):
    assert due_date(CALIBRATED, 12, stated) == due
    one = instrument(calibration(due_on=stated))
    assert decided(one, due).allowed
    assert not decided(one, due + ONE_DAY).allowed


# Calibration


def test_an_instrument_that_was_never_calibrated_is_refused():
    decision = decided(instrument(), CALIBRATED)
    assert decision.calibration is None
    assert decision.due_on is None
    assert decision.reasons == (
        "VANE-1: no calibration accepted on or before 2025-01-31: have it calibrated and the certificate accepted",
    )


@pytest.mark.parametrize("accepted_on", [None, date(2025, 2, 10)])
def test_a_certificate_that_is_not_yet_accepted_is_named_with_the_next_step(accepted_on):
    (reason,) = decided(instrument(calibration(accepted_on=accepted_on)), date(2025, 2, 9)).reasons
    assert reason.endswith("on or before 2025-02-09: have certificate C-1 accepted")


def test_a_certificate_counts_from_the_day_it_is_accepted():
    assert decided(instrument(calibration(accepted_on=date(2025, 2, 10))), date(2025, 2, 10)).allowed


def test_the_due_day_itself_is_valid_to_its_last_moment():
    last = datetime.combine(DUE, time.max, UTC)
    assert gate(register(instrument(calibration())), "VANE-1", last, last).allowed


def test_the_day_after_the_due_day_is_not():
    decision = decided(instrument(calibration()), DUE + ONE_DAY)
    assert decision.due_on == DUE
    (reason,) = decision.reasons
    assert reason == (
        "VANE-1: calibration C-1 of 2025-01-31 was due on 2026-01-31, 1 day before 2026-02-01: "
        "have it recalibrated or use another instrument"
    )


def test_days_past_the_due_day_are_counted():
    (reason,) = decided(instrument(calibration()), date(2026, 3, 2)).reasons
    assert "30 days before 2026-03-02" in reason


def test_a_recalibration_opens_the_gate_again():
    one = instrument(calibration(), calibration(2, date(2026, 3, 1)))
    assert not decided(one, date(2026, 2, 28)).allowed
    assert decided(one, date(2026, 3, 1)).allowed


def test_of_several_calibrations_the_latest_accepted_one_is_in_force():
    first, second = calibration(1), calibration(2, date(2025, 6, 1))
    waiting = calibration(3, date(2025, 9, 1), accepted_on=None)
    later = calibration(4, date(2025, 10, 1), accepted_on=date(2025, 11, 1))
    one = instrument(later, second, waiting, first)
    days = [date(2025, 1, 30), CALIBRATED, date(2025, 5, 31), date(2025, 6, 1), date(2025, 10, 31), date(2025, 11, 1)]
    in_force = [calibration_in_force(one, day) for day in days]
    assert in_force == [None, first, first, second, second, later]


def test_of_two_certificates_of_one_day_the_later_record_is_in_force():
    one = instrument(calibration(2), calibration(1))
    assert calibration_in_force(one, CALIBRATED).record_id == 2


def test_an_instrument_that_is_not_in_the_register_is_an_error_of_the_call():
    with pytest.raises(KeyError):
        gate({}, "VANE-1", noon(DUE), noon(DUE))


# Suspension and retirement


SUSPENDED, RELEASED, RETIRED = date(2025, 3, 1), date(2025, 4, 1), date(2025, 5, 1)
ALL_EVENTS = [event(SUSPENSION, SUSPENDED), event(RELEASE, RELEASED), event(RETIREMENT, RETIRED)]


@pytest.mark.parametrize(
    ("day", "word"),
    [
        (SUSPENDED - ONE_DAY, None),
        (SUSPENDED, "suspended since 2025-03-01T12:00:00+00:00 (dropped)"),
        (RELEASED - ONE_DAY, "suspended"),
        (RELEASED, None),
        (RETIRED - ONE_DAY, None),
        (RETIRED, "retired since 2025-05-01T12:00:00+00:00 (dropped)"),
        (RETIRED + ONE_DAY, "retired"),
    ],
)
@pytest.mark.parametrize("order", [1, -1])
def test_suspension_release_and_retirement_count_from_their_moment(day, word, order):
    decision = decided(instrument(calibration(), events=ALL_EVENTS[::order]), day)
    assert decision.allowed is (word is None)
    assert all(word in reason for reason in decision.reasons)


def test_a_release_does_not_undo_a_retirement():
    one = instrument(calibration(), events=[event(RETIREMENT, SUSPENDED), event(RELEASE, RELEASED)])
    assert not decided(one, RETIRED).allowed


def test_a_second_suspension_closes_again():
    one = instrument(calibration(), events=[*ALL_EVENTS[:2], event(SUSPENSION, RETIRED)])
    assert decided(one, RETIRED - ONE_DAY).allowed
    assert not decided(one, RETIRED).allowed


def test_the_moment_before_a_suspension_is_free():
    one = register(instrument(calibration(), events=ALL_EVENTS[:1]))
    moment = noon(SUSPENDED)
    assert gate(one, "VANE-1", moment - timedelta(seconds=1), moment).allowed
    assert not gate(one, "VANE-1", moment, moment).allowed


# Intermediate checks


FAILED = date(2025, 6, 1)


@pytest.mark.parametrize(("day", "allowed"), [(FAILED - ONE_DAY, True), (FAILED, False), (DUE, False)])
def test_a_failed_check_closes_the_gate(day, allowed):
    decision = decided(instrument(calibration(), checks=[check(FAILED, passed=False)]), day)
    assert decision.allowed is allowed
    expected = () if allowed else ("VANE-1: intermediate check (zero) failed on 2025-06-01: have it recalibrated",)
    assert decision.reasons == expected


def test_a_check_passed_afterwards_does_not_open_it():
    checks = [check(FAILED, passed=False), check(FAILED + ONE_DAY, passed=True)]
    assert not decided(instrument(calibration(), checks=checks), FAILED + 2 * ONE_DAY).allowed


@pytest.mark.parametrize(("recalibrated", "allowed"), [(FAILED, False), (FAILED + ONE_DAY, True)])
def test_a_recalibration_after_the_failed_check_opens_it(recalibrated, allowed):
    # On the day of the failed check itself: the records keep no hour of a calibration, so the check counts.
    one = instrument(calibration(), calibration(2, recalibrated), checks=[check(FAILED, passed=False)])
    assert decided(one, FAILED + 2 * ONE_DAY).allowed is allowed


@pytest.mark.parametrize(
    ("checked", "last_day"),
    [
        ([], date(2025, 5, 1)),
        ([date(2025, 3, 1)], date(2025, 5, 30)),
        ([date(2025, 3, 1), date(2025, 4, 1)], date(2025, 6, 30)),
        ([date(2025, 1, 30)], date(2025, 5, 1)),
    ],
)
def test_a_check_is_due_a_number_of_days_after_the_last_passed_one_or_the_acceptance(checked, last_day):
    # 90 days: 31 January + 90 = 1 May; 1 March + 90 = 30 May; 1 April + 90 = 30 June.
    one = instrument(calibration(), check_days=90, checks=[check(day, passed=True) for day in checked])
    assert decided(one, last_day).allowed
    (reason,) = decided(one, last_day + ONE_DAY).reasons
    assert f"intermediate check was due on {last_day} (90 days after" in reason


def test_a_check_made_later_does_not_count_before_it_is_made():
    one = instrument(calibration(), check_days=90, checks=[check(date(2025, 5, 10), passed=True)])
    assert not decided(one, date(2025, 5, 9)).allowed
    assert decided(one, date(2025, 5, 10)).allowed


def test_without_a_check_interval_no_check_is_missed():
    assert decided(instrument(calibration()), DUE).allowed


# Measuring interval


@pytest.mark.parametrize(
    ("indication", "allowed"), [(0.5, True), (20.0, True), (7.0, True), (0.49, False), (20.1, False)]
)
def test_the_ends_of_the_measuring_interval_are_included(indication, allowed):
    assert decided(instrument(calibration()), DUE, indication=indication).allowed is allowed


def test_an_indication_is_no_reason_of_its_own_where_no_calibration_is_in_force():
    (reason,) = decided(instrument(), DUE, indication=7.0).reasons
    assert "no calibration accepted" in reason


def test_an_indication_outside_is_printed_as_it_was_typed():
    decision = decided(instrument(calibration()), DUE, indication=20.1, indication_text="3957 fpm")
    (reason,) = decision.reasons
    assert reason == (
        "VANE-1: indication 3957 fpm is outside the calibrated measuring interval 0.5 m/s to 20 m/s "
        "of certificate C-1: use an instrument calibrated there"
    )


# Reference standards of an in-house calibration


IN_HOUSE = date(2025, 8, 1)
BY_STANDARD = instrument(calibration(2, IN_HOUSE, standards=("REF-1",)))


@pytest.mark.parametrize(
    ("standard", "word"),
    [
        (instrument(calibration(calibrated_on=date(2024, 8, 1)), tag="REF-1"), None),
        (instrument(calibration(calibrated_on=date(2024, 7, 31)), tag="REF-1"), "was due on 2025-07-31"),
        (instrument(calibration(calibrated_on=date(2025, 8, 2)), tag="REF-1"), "no calibration accepted"),
        (instrument(calibration(accepted_on=None), tag="REF-1"), "have certificate C-1 accepted"),
        (instrument(calibration(), tag="REF-1", events=[event(SUSPENSION, IN_HOUSE)]), "suspended"),
        (instrument(calibration(), tag="REF-1", events=[event(SUSPENSION, IN_HOUSE + ONE_DAY)]), None),
        (instrument(calibration(), tag="REF-1", events=[event(RETIREMENT, IN_HOUSE)]), "retired"),
        (instrument(calibration(), tag="REF-1", checks=[check(IN_HOUSE, passed=False)]), "failed on 2025-08-01"),
        (instrument(calibration(), tag="REF-1", check_days=90), "check was due"),
        (instrument(tag="REF-1"), "no calibration accepted"),
    ],
)
def test_standards_must_have_been_in_order_on_the_day_of_the_calibration(standard, word):
    decision = decided(BY_STANDARD, date(2025, 12, 1), standard)
    assert decision.allowed is (word is None)
    assert all(
        reason.startswith("VANE-1: reference standard of certificate C-2: REF-1: ") and word in reason
        for reason in decision.reasons
    )


def listed_of(instruments, on, within):
    """The due list of instruments that are used by themselves."""
    return due_list(instruments, {tag: gate(instruments, tag, on, on) for tag in instruments}, on, within)


@pytest.mark.parametrize("hours", [-11, -8, 0, 1, 13])
def test_a_day_ends_where_the_calendar_of_whoever_recorded_it_turns(hours):
    """Suspended late in the evening, released early in the next morning, as the calendar on the wall says, in any zone."""
    zone = timezone(timedelta(hours=hours))
    evening = EventOnRecord(SUSPENSION, datetime.combine(IN_HOUSE, time(23, 30), zone), "dropped")
    morning = EventOnRecord(RELEASE, datetime.combine(IN_HOUSE + ONE_DAY, time(0, 30), zone), "checked")
    vane = instrument(calibration(calibrated_on=date(2025, 7, 1)), tag="REF-1", events=[evening, morning])
    listed = {
        day: [one.reasons for one in listed_of(register(vane), day, 0)]
        for day in (IN_HOUSE - ONE_DAY, IN_HOUSE, IN_HOUSE + ONE_DAY)
    }
    assert listed[IN_HOUSE - ONE_DAY] == listed[IN_HOUSE + ONE_DAY] == []
    assert "suspended since 2025-08-01T23:30:00" in listed[IN_HOUSE][0][0]
    assert "suspended" in decided(BY_STANDARD, date(2025, 12, 1), vane).reasons[0]


@pytest.mark.parametrize("kind", [SUSPENSION, RETIREMENT])
def test_what_would_help_a_standard_today_is_not_said_of_the_day_of_a_calibration(kind):
    standard = instrument(calibration(), tag="REF-1", events=[event(kind, IN_HOUSE)])
    (reason,) = decided(BY_STANDARD, date(2025, 12, 1), standard).reasons
    assert reason.endswith("(dropped): have VANE-1 calibrated again, against a standard in calibration")


def test_a_standard_that_fell_due_since_does_no_harm():
    standard = instrument(calibration(calibrated_on=date(2024, 8, 1)), tag="REF-1")
    assert not decided(standard, date(2025, 12, 1)).allowed
    assert decided(BY_STANDARD, date(2025, 12, 1), standard).allowed


def test_the_standard_of_a_standard_counts_on_the_day_of_the_standards_calibration():
    middle = instrument(calibration(3, date(2025, 7, 1), standards=("REF-2",)), tag="REF-1")
    decision = decided(BY_STANDARD, date(2025, 12, 1), middle, instrument(tag="REF-2"))
    (reason,) = decision.reasons
    assert reason == (
        "VANE-1: reference standard of certificate C-2: REF-1: reference standard of certificate C-3: "
        "REF-2: no calibration accepted on or before 2025-07-01: "
        "have it calibrated and the certificate accepted"
    )


@pytest.mark.parametrize("between", [(), ("REF-1",), ("REF-1", "REF-2")])
def test_a_circle_of_standards_is_found(between):
    tags = ["VANE-1", *between]
    circle = [
        instrument(calibration(number, IN_HOUSE, standards=(tags[(number + 1) % len(tags)],)), tag=tag)
        for number, tag in enumerate(tags)
    ]
    (reason,) = decided(circle[0], IN_HOUSE, *circle[1:]).reasons
    assert "VANE-1: certificate C-0 rests on itself" in reason


def test_a_standard_that_was_itself_calibrated_by_the_instrument_years_ago_is_no_circle():
    old = calibration(1, date(2024, 9, 1))
    standard = instrument(calibration(5, date(2025, 7, 1), standards=("VANE-1",)), tag="REF-1")
    one = instrument(old, calibration(2, IN_HOUSE, standards=("REF-1",)))
    assert decided(one, date(2025, 12, 1), standard).allowed


# Future, and all at once


def test_a_time_in_the_future_is_refused_but_the_present_is_not_nor_the_minute_by_which_clocks_differ():
    one = register(instrument(calibration()))
    now = noon(FAILED)
    assert gate(one, "VANE-1", now, now).allowed
    assert gate(one, "VANE-1", now + timedelta(seconds=60), now).allowed
    (reason,) = gate(one, "VANE-1", now + timedelta(seconds=61), now).reasons
    assert "is in the future" in reason


def test_every_reason_is_given_at_once():
    one = instrument(
        calibration(2, IN_HOUSE, standards=("REF-1",)),
        check_days=90,
        events=[event(SUSPENSION, date(2026, 1, 1))],
        checks=[check(date(2025, 9, 1), passed=False)],
    )
    at = noon(date(2026, 9, 1))
    found = gate(register(one, instrument(tag="REF-1")), "VANE-1", at, at - ONE_DAY, indication=30.0)
    words = [
        "future",
        "was due on 2026-08-01",
        "suspended",
        "failed",
        "check was due",
        "30 is outside",
        "reference standard",
    ]
    assert len(found.reasons) == len(words)
    assert all(word in reason for word, reason in zip(words, found.reasons, strict=True))


days = st.integers(0, 700)


@st.composite
def histories(draw):
    """An instrument with one calibration, and what happened to it up to its due date."""
    due = due_date(CALIBRATED, months := draw(st.integers(1, 24)), draw(st.none() | st.dates(CALIBRATED, DUE)))
    up_to_due = st.integers(0, (due - CALIBRATED).days).map(lambda n: CALIBRATED + n * ONE_DAY)
    checks = draw(st.lists(st.builds(check, up_to_due, passed=st.booleans()), max_size=3))
    events = draw(st.lists(st.builds(event, st.sampled_from([SUSPENSION, RELEASE]), up_to_due), max_size=3))
    check_days = draw(st.none() | st.integers(1, 400))
    stated = calibration(due_on=due)
    return instrument(stated, months=months, check_days=check_days, events=events, checks=checks), due


@given(histories(), st.integers(1, 500), st.integers(0, 500))
def test_past_the_due_date_the_decision_never_improves(history, past, further):
    one, due = history
    earlier = decided(one, due + past * ONE_DAY)
    later = decided(one, due + (past + further) * ONE_DAY)
    assert not earlier.allowed
    assert not later.allowed
    assert len(later.reasons) >= len(earlier.reasons)


@given(histories(), st.integers(0, 1000), st.floats(0.0, 40.0))
def test_asking_with_an_indication_never_removes_a_reason(history, after, indication):
    one, _ = history
    day = CALIBRATED + after * ONE_DAY
    assert set(decided(one, day).reasons) <= set(decided(one, day, indication=indication).reasons)


# Another curve in the place of a certificate's own


def held(key, since_day=None, since=None):
    return HeldCurve(key, since_day, since, 1.0, 15.0, "1 m/s to 15 m/s")


FROM_DAY, FROM_TIME = date(2025, 6, 1), noon(date(2025, 6, 1))


@pytest.mark.parametrize(
    ("since_day", "since", "at", "holds"),
    [
        (None, None, CALIBRATED, True),
        (FROM_DAY, None, FROM_DAY, True),
        (FROM_DAY, None, FROM_DAY - ONE_DAY, False),
        (FROM_DAY, None, FROM_TIME - ONE_DAY, False),
        (FROM_DAY, None, FROM_TIME, True),
        (None, FROM_TIME, FROM_TIME, True),
        (None, FROM_TIME, FROM_TIME - timedelta(seconds=1), False),
        (None, FROM_TIME, FROM_DAY, True),
        (None, FROM_TIME, FROM_DAY - ONE_DAY, False),
        (FROM_DAY + ONE_DAY, FROM_TIME, FROM_TIME, False),
        (FROM_DAY, FROM_TIME + ONE_DAY, FROM_TIME, False),
        (FROM_DAY, FROM_TIME, FROM_TIME, True),
    ],
)
def test_a_curve_holds_from_its_day_and_its_time_on(since_day, since, at, holds):
    assert held(-1, since_day, since).holds(at) is holds


def test_of_several_curves_the_last_that_holds_counts_and_the_certificate_keeps_its_key():
    one = calibration(7, held=(held(-1), held(-2, FROM_DAY), held(-3, DUE)))
    assert [one.as_held(day).record_id for day in (CALIBRATED, FROM_DAY, DUE)] == [-1, -2, -3]
    assert [one.on_file, one.as_held(CALIBRATED).on_file] == [7, 7]
    assert one.as_held(CALIBRATED).measuring_interval == "1 m/s to 15 m/s"
    assert [calibration(8).as_held(CALIBRATED).record_id, calibration(8).on_file] == [8, 8]


@pytest.mark.parametrize(
    ("curves", "for_a_part"),
    [
        ((), False),
        ((held(-1),), False),
        ((held(-1), held(-2, FROM_DAY)), True),
        ((held(-1, None, FROM_TIME),), True),
    ],
)
def test_a_curve_that_begins_later_holds_for_a_part_of_the_time(curves, for_a_part):
    assert calibration(held=curves).is_held_for_a_part is for_a_part


def test_a_certificate_reissued_with_the_same_values_is_that_of_either_key():
    one = calibration(7, same_as=frozenset({4, 5}))
    assert [key for key in range(3, 9) if one.is_that_of(key)] == [4, 5, 7]


def test_a_calibration_is_asked_for_by_its_key_or_by_that_of_a_curve_in_its_place():
    both = instrument(calibration(6, held=(held(-3),)), calibration(7, held=(held(-1), held(-2, FROM_DAY))))
    assert [both.calibration(key).record_id for key in (6, 7, -1, -2, -3)] == [6, 7, 7, 7, 6]


# What else is on record


@pytest.mark.parametrize(
    ("recorded", "told"),
    [(None, ""), (SUSPENDED, ""), (SUSPENDED - ONE_DAY, ""), (date(2026, 5, 1), ", recorded on 2026-05-01")],
)
def test_an_event_recorded_on_a_later_day_says_so(recorded, told):
    one = EventOnRecord(SUSPENSION, noon(SUSPENDED), "dropped", recorded)
    assert one.since() == f"{SUSPENDED}T12:00:00+00:00{told} (dropped)"


@pytest.mark.parametrize(
    ("keys", "since", "shaken"),
    [
        ({1, 2}, None, True),
        ({1}, FROM_DAY, True),
        ({1}, FROM_DAY + ONE_DAY, False),
        ({1}, FROM_DAY - ONE_DAY, True),
        ({2}, None, False),
        ({2}, FROM_DAY, False),
    ],
)
def test_a_review_shakes_what_relied_on_its_calibrations_from_its_day_on(keys, since, shaken):
    review = ReviewOnRecord(3, "found bent", FROM_TIME, True, False, False, frozenset(keys), since)
    assert review.shakes(calibration(1), FROM_DAY) is shaken


OPENED = date(2025, 6, 1)


@pytest.mark.parametrize(
    ("shaken", "is_own", "is_open", "closes_gate", "day", "refused", "told"),
    [
        (1, True, True, True, OPENED, True, False),
        (1, False, True, True, OPENED, True, False),
        (1, True, True, True, OPENED - ONE_DAY, False, False),
        (1, True, False, True, OPENED, False, False),
        (1, False, True, False, OPENED, False, True),
        (1, True, True, False, OPENED, False, True),
        (1, False, True, False, OPENED - ONE_DAY, False, False),
        (1, False, False, False, OPENED, False, False),
        (2, True, True, True, OPENED, False, True),  # another calibration is shaken: of the instrument all the same
        (2, False, True, True, OPENED, False, False),
        (2, False, True, False, OPENED, False, False),
        (2, True, False, False, OPENED, False, False),
    ],
)
def test_an_open_review_closes_the_gate_or_is_told(shaken, is_own, is_open, closes_gate, day, refused, told):
    review = ReviewOnRecord(3, "bent", noon(OPENED), is_open, closes_gate, is_own, frozenset({shaken}))
    decision = decided(replace(instrument(calibration()), reviews=(review,)), day)
    assert decision.reasons == (("VANE-1: bent: use another instrument until it is closed",) if refused else ())
    assert decision.notes == (("VANE-1: bent",) if told else ())


@pytest.mark.parametrize(("is_own", "notes"), [(True, ("VANE-1: bent",)), (False, ())])
def test_a_review_closes_nothing_where_no_calibration_is_in_force(is_own, notes):
    review = ReviewOnRecord(3, "bent", noon(OPENED), True, True, is_own, frozenset({1}))
    decision = decided(replace(instrument(), reviews=(review,)), OPENED)
    assert [decision.reasons, decision.notes] == [
        (f"VANE-1: no calibration accepted on or before {OPENED}: have it calibrated and the certificate accepted",),
        notes,
    ]


@pytest.mark.parametrize(
    ("said", "day", "told"),
    [
        ({}, CALIBRATED, ": have certificate C-1 accepted"),
        ({}, CALIBRATED - ONE_DAY, ": have it calibrated and the certificate accepted"),
        ({"withdrawn": True}, CALIBRATED, " (withdrawn: C-1): have it calibrated and the certificate accepted"),
        ({"superseded_by": "C-1a"}, CALIBRATED, ": have it calibrated and the certificate accepted"),
    ],
)
def test_what_to_do_where_no_calibration_is_accepted(said, day, told):
    decision = decided(instrument(calibration(accepted_on=None, **said)), day)
    assert decision.reasons == (f"VANE-1: no calibration accepted on or before {day}{told}",)


@pytest.mark.parametrize(
    ("kind", "happened", "asked", "told"),
    [
        ("repair", OPENED, OPENED, "repaired"),
        ("adjustment", OPENED, OPENED + ONE_DAY, "adjusted"),
        ("repair", OPENED, OPENED - ONE_DAY, None),
        ("repair", CALIBRATED + ONE_DAY, OPENED, "repaired"),
        ("repair", CALIBRATED, OPENED, None),  # the records keep no hour of a calibration
        ("repair", CALIBRATED - ONE_DAY, OPENED, None),
        ("move", OPENED, OPENED, None),
    ],
)
def test_an_instrument_repaired_since_its_calibration_is_calibrated_again(kind, happened, asked, told):
    decision = decided(instrument(calibration(), events=[event(kind, happened)]), asked)
    expected = (
        f"VANE-1: {told} at {happened}T12:00:00+00:00 (dropped), after its calibration C-1 of 2025-01-31: "
        "have it calibrated again"
    )
    assert decision.reasons == ((expected,) if told else ())


def test_a_repair_of_what_was_never_calibrated_is_no_reason_of_its_own():
    (reason,) = decided(instrument(events=[event("repair", OPENED)]), OPENED).reasons
    assert "no calibration accepted" in reason


@pytest.mark.parametrize(
    ("day", "said", "step"),
    [
        (OPENED + ONE_DAY, {"accepted_on": None}, "have certificate C-2 accepted"),
        (OPENED + ONE_DAY, {"accepted_on": OPENED + 9 * ONE_DAY}, "its certificate holds from 2025-06-10 on"),
        (OPENED, {"accepted_on": None}, None),
        (OPENED + ONE_DAY, {"accepted_on": None, "withdrawn": True}, None),
        (OPENED + ONE_DAY, {"accepted_on": None, "superseded_by": "C-2a"}, None),
        (OPENED + ONE_DAY, {"accepted_on": None, "adjusted": False}, None),
        (OPENED + ONE_DAY, {}, None),  # accepted on its own day
    ],
)
def test_after_an_adjustment_the_curve_before_it_counts_no_more(day, said, step):
    adjusted = calibration(2, OPENED, **{"adjusted": True} | said)
    decision = decided(instrument(calibration(adjusted=True), adjusted), day)
    expected = f"VANE-1: adjusted on {OPENED}, as certificate C-2 says, after its calibration C-1 of 2025-01-31: {step}"
    assert decision.reasons == ((expected,) if step else ())


def test_an_adjustment_is_no_reason_of_its_own_where_no_calibration_is_in_force():
    (reason,) = decided(instrument(calibration(accepted_on=None, adjusted=True)), OPENED).reasons
    assert "no calibration accepted" in reason


@pytest.mark.parametrize(
    ("at", "now"), [(CALIBRATED, noon(CALIBRATED - ONE_DAY)), (noon(CALIBRATED), CALIBRATED - ONE_DAY)]
)
def test_a_day_and_a_time_are_not_compared(at, now):
    assert gate(register(instrument(calibration())), "VANE-1", at, now).allowed


def test_the_days_of_one_moment_in_two_zones_are_a_day_apart_at_most():
    # Honolulu and Auckland, winter there.
    zones = [timezone(timedelta(hours=hours)) for hours in (-10, 12)]
    moments = [noon(CALIBRATED) + timedelta(hours=hour) for hour in range(24)]
    days = [[moment.astimezone(zone).date() for zone in zones] for moment in moments]
    assert max(east - west for west, east in days) == ZONES_DIFFER_BY


@pytest.mark.parametrize(
    ("check_days", "first_due_on"),
    [(None, DUE), (90, date(2025, 5, 1)), (366, DUE)],
)
def test_what_is_due_first_is_the_earlier_of_calibration_and_check(check_days, first_due_on):
    # Accepted on 31 January 2025: 90 days later is 1 May, 366 days later a day after the calibration is due.
    assert decided(instrument(calibration(), check_days=check_days), CALIBRATED).first_due_on == first_due_on


def test_nothing_is_due_of_an_instrument_that_was_never_calibrated():
    assert decided(instrument(check_days=90), CALIBRATED).first_due_on is None


# Due list


ON = date(2026, 1, 1)
FLEET = register(
    instrument(calibration(1, date(2025, 1, 20)), tag="SOON"),
    instrument(calibration(2, date(2025, 6, 1)), tag="LATER"),
    instrument(calibration(3, date(2024, 6, 1)), tag="LONG-OVERDUE"),
    instrument(calibration(4, date(2024, 12, 31)), tag="OVERDUE"),
    instrument(calibration(5, date(2025, 1, 1)), tag="TODAY"),
    instrument(tag="NEVER"),
    instrument(calibration(6, date(2025, 6, 1)), tag="SUSPENDED", events=[event(SUSPENSION, SUSPENDED)]),
    instrument(calibration(7, date(2024, 6, 1)), tag="RETIRED", events=[event(RETIREMENT, RETIRED)]),
    instrument(calibration(8, date(2025, 1, 1)), tag="ALSO-TODAY"),
)


def test_the_most_urgent_stands_first_and_what_is_retired_is_left_out():
    tags = [entry.tag for entry in listed_of(FLEET, ON, 30)]
    assert tags == ["NEVER", "LONG-OVERDUE", "OVERDUE", "ALSO-TODAY", "TODAY", "SOON", "SUSPENDED"]


def test_each_line_counts_the_days_to_its_due_date():
    lines = {entry.tag: (entry.days, entry.overdue, entry.certificate) for entry in listed_of(FLEET, ON, 30)}
    assert lines["NEVER"] == (None, True, None)
    assert lines["LONG-OVERDUE"] == (-214, True, "C-3")
    assert lines["OVERDUE"] == (-1, True, "C-4")
    assert lines["TODAY"] == (0, False, "C-5")
    assert lines["SOON"] == (19, False, "C-1")


def test_what_is_refused_for_another_reason_is_listed_with_it():
    (entry,) = [one for one in listed_of(FLEET, ON, 0) if one.tag == "SUSPENDED"]
    assert not entry.overdue
    assert "suspended" in entry.reasons[0]


@pytest.mark.parametrize(("within", "listed"), [(0, False), (18, False), (19, True), (30, True)])
def test_what_comes_due_within_the_days_asked_for_is_listed(within, listed):
    assert ("SOON" in [entry.tag for entry in listed_of(FLEET, ON, within)]) is listed


def test_an_instrument_retired_later_is_still_listed():
    assert "RETIRED" in [entry.tag for entry in listed_of(FLEET, RETIRED - ONE_DAY, 60)]
