"""The due list: which lines it has, what is overdue in it and in which order; days counted by hand.

Source: ISO/IEC 17025:2017, 6.4.8 and 6.4.10, for what falls due; that what is put aside makes nothing overdue is common practice.
"""

from dataclasses import replace
from datetime import date, timedelta

import pytest

from calib.confirmation.due import CALIBRATION, CHECK, DueEntry, due_list
from calib.confirmation.interval import RETIREMENT, SUSPENSION, Decision
from tests.confirmation.test_interval import calibration, event, instrument, register

ON = date(2026, 3, 10)
BEFORE = date(2026, 1, 5)


def after(days):
    return None if days is None else ON + timedelta(days=days)


def decision(tag, days, *reasons, check=None, late=None):
    """The gate's answer: its calibration is due in some days (None: there is none), its check in some."""
    known = None if days is None else calibration(7)
    told = reasons if late is None else (*reasons, late)
    return Decision(tag, known, after(days), told, after(check), late)


def listed(*decisions, within=30, events=()):
    fleet = register(*(instrument(tag=each.tag, events=dict(events).get(each.tag, ())) for each in decisions))
    return due_list(fleet, {each.tag: each for each in decisions}, ON, within)


def places(found):
    return [(entry.tag, entry.what) for entry in found]


@pytest.mark.parametrize(("days", "is_listed"), [(31, False), (30, True), (29, True), (0, True), (-1, True)])
def test_a_calibration_is_listed_up_to_the_last_day_asked_about(days, is_listed):
    assert (len(listed(decision("A", days))) == 1) is is_listed


@pytest.mark.parametrize(("days", "overdue"), [(1, False), (0, False), (-1, True), (None, True)])
def test_a_calibration_is_overdue_from_the_day_after_and_where_there_is_none(days, overdue):
    certificate = None if days is None else "C-7"
    assert listed(decision("A", days)) == (DueEntry("A", after(days), days, certificate, overdue, (), CALIBRATION),)


def test_what_is_refused_is_listed_whenever_it_comes_due():
    assert listed(decision("A", 200, "dropped")) == (
        DueEntry("A", after(200), 200, "C-7", overdue=False, reasons=("dropped",)),
    )


@pytest.mark.parametrize(("left", "is_listed"), [(31, False), (30, True), (0, True)])
def test_a_check_has_a_line_of_its_own_up_to_the_last_day_asked_about(left, is_listed):
    expected = (DueEntry("A", after(left), left, "C-7", overdue=False, reasons=(), what=CHECK),) if is_listed else ()
    assert listed(decision("A", 200, check=left)) == expected


def test_a_check_that_is_overdue_says_so_on_its_own_line_and_on_no_other():
    late = "intermediate check was due"
    assert listed(decision("A", 200, check=-1, late=late)) == (
        DueEntry("A", after(-1), -1, "C-7", overdue=True, reasons=(late,), what=CHECK),
    )
    both = listed(decision("A", 200, "dropped", check=-1, late=late))
    assert [(entry.what, entry.reasons) for entry in both] == [(CHECK, (late,)), (CALIBRATION, ("dropped",))]


def test_the_most_urgent_stand_first_and_what_has_no_day_before_all():
    found = listed(decision("D", 3), decision("C", None), decision("B", -40), decision("A", 4), decision("E", None))
    assert places(found) == [(tag, CALIBRATION) for tag in "CEBDA"]


@pytest.mark.parametrize(("first", "then"), [(0, 1), (-1, 0), (-2, 1)])
def test_of_two_the_earlier_stands_first_and_of_one_day_the_first_by_name(first, then):
    assert places(listed(decision("A", then), decision("B", first))) == [("B", CALIBRATION), ("A", CALIBRATION)]
    assert places(listed(decision("B", then), decision("A", then))) == [("A", CALIBRATION), ("B", CALIBRATION)]


def test_what_is_put_aside_stands_last_and_makes_nothing_overdue():
    aside = decision("A", -40, "suspended", check=-30)
    found = listed(
        aside,
        decision("B", 20),
        decision("C", None),
        events={"A": [event(SUSPENSION, BEFORE)], "C": [event(SUSPENSION, BEFORE)]},
    )
    assert places(found) == [("B", CALIBRATION), ("C", CALIBRATION), ("A", CALIBRATION), ("A", CHECK)]
    assert [(entry.put_aside, entry.overdue) for entry in found] == [
        (False, False),
        (True, False),
        (True, False),
        (True, False),
    ]


def test_what_is_retired_is_left_out():
    assert places(listed(decision("A", -40), decision("B", 20), events={"A": [event(RETIREMENT, BEFORE)]})) == [
        ("B", CALIBRATION)
    ]


def test_a_line_is_of_a_calibration_in_use_where_it_says_nothing_else():
    plain = DueEntry("A", None, None, None, overdue=True, reasons=())
    assert replace(plain, what=CALIBRATION, put_aside=False) == plain
