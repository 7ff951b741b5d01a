"""What is asked next in a sitting, and what was typed means: no records, no clock, no face."""

from datetime import datetime, timedelta

import pytest

from calib.errors import BadInputError
from calib.procedures.enter.sitting import HalfTraversed, Sitting, outlet_meant, taken_up

AT = datetime.fromisoformat("2026-03-05T12:00:00+01:00")
SETUP = {"instrument": "VA-1", "unit": "m/s", "method": "sweep"}
OUTLETS = ("S-1", "S-2", "R-1")


def at(outlet="S-1", **cells):
    return Sitting("J-1", SETUP, outlet=outlet, **cells)


def half(passes=1, values=()):
    places = ((1, 1), (1, 2), (2, 1))
    return HalfTraversed("equal-area", 2, 2, passes, places, "2026-03-05T11:00:00+01:00", values)


@pytest.mark.parametrize(
    ("outlet", "measured", "skipped", "comes"),
    [
        (None, (), (), "S-1"),
        ("S-1", ("S-1",), (), "S-2"),
        ("R-1", ("R-1",), (), "S-1"),  # round again
        ("S-1", (), ("S-1",), "S-2"),
        ("S-2", ("S-2", "R-1"), ("S-1",), "S-1"),  # skipped ones come last
        ("R-1", OUTLETS, (), None),
    ],
)
def test_the_next_outlet_is_one_that_is_not_measured(outlet, measured, skipped, comes):
    assert at(outlet, skipped=frozenset(skipped)).next_outlet(OUTLETS, measured) == comes


def test_values_are_an_entry_with_the_set_up_and_its_time():
    entry = at(stage="before adjustment", remarks="dusty").with_values(["2.41", "2.38"], AT).entry
    assert entry.cells == SETUP | {
        "job": "J-1", "outlet": "S-1", "observed_at": "2026-03-05T12:00:00+01:00", "observations": "2.41;2.38",
        "stage": "before adjustment", "remarks": "dusty",
    }  # fmt: skip
    assert entry.points == {}


@pytest.mark.parametrize("column", ["instrument", "unit", "method"])
def test_nothing_is_typed_before_the_set_up_is_said(column):
    sitting = at().with_setup(column, "")
    with pytest.raises(BadInputError) as caught:
        sitting.with_values(["2.41"], AT)
    assert [each.column for each in caught.value.findings] == [column]


def test_two_readings_of_one_outlet_within_a_second_have_two_times():
    first = at().with_values(["2.41"], AT)
    second = first.after_entry().with_values(["2.42"], AT)
    later = second.after_entry().with_values(["2.43"], AT + timedelta(minutes=1))
    elsewhere = second.after_entry().at_outlet("S-2").with_values(["2.43"], AT)
    times = [each.entry.cells["observed_at"][11:19] for each in (first, second, later, elsewhere)]
    assert times == ["12:00:00", "12:00:01", "12:01:00", "12:00:00"]


def test_a_remark_is_of_one_reading_and_the_stage_of_all_that_follow():
    after = at(stage="before adjustment", remarks="dusty").with_values(["2.41"], AT).after_entry()
    assert (after.stage, after.remarks, after.entry) == ("before adjustment", None, None)


def test_points_of_a_traverse_become_an_entry_with_the_last_one():
    sitting = at(traverse=half(passes=2))
    for values in (["1.1", "1.2"], ["1.3"], ["2.1", "2.2"]):
        sitting = sitting.with_values(values, AT)
        assert sitting.entry is None
    assert sitting.traverse.wanted == (1, 2)
    entry = sitting.with_values(["2.3"], AT).entry
    assert entry.points == {(1, 1): "1.1;2.1", (1, 2): "1.2;2.2", (2, 1): "1.3;2.3"}
    assert entry.cells["observed_at"] == "2026-03-05T11:00:00+01:00"
    assert (entry.cells["traverse_rule"], entry.cells["traverse_lines"], entry.cells["traverse_points"]) == (
        "equal-area", "2", "2",
    )  # fmt: skip


@pytest.mark.parametrize("typed", [("1", "2", "3", "4"), ()])
def test_more_values_than_a_pass_has_points_are_refused(typed):
    full = ("1", "2", "3") if not typed else ()
    with pytest.raises(BadInputError):
        at(traverse=half(values=full)).with_values(typed or ["4"], AT)


def test_the_point_typed_last_is_taken_back():
    sitting = at(traverse=half(values=("1.1", "1.2"))).without_last_point()
    assert sitting.traverse.values == ("1.1",)
    assert sitting.without_last_point().without_last_point() is None
    assert at().without_last_point() is None


@pytest.mark.parametrize(
    "sitting",
    [
        at().with_values(["2.41", "2.38"], AT),
        at(traverse=half(values=("1.1",)), stage="repeat"),
        at(remarks="dusty ± ½", skipped=frozenset({"S-2"})),
        at(traverse=half(values=("1.1", "1.2"))).with_values(["1.3"], AT),
    ],
)
def test_what_is_put_down_is_taken_up_as_it_was(sitting):
    assert sitting.is_half_typed
    assert taken_up(sitting.put_down("A. Person")) == sitting


def test_where_nothing_is_half_typed_there_is_nothing_to_put_down():
    assert not at().is_half_typed
    assert not at().with_values(["2.41"], AT).after_entry().is_half_typed
    assert not at(traverse=half()).is_half_typed


@pytest.mark.parametrize("text", ["", "{}", "[]", '{"form": 2}', '{"form": 1, "person": "A"}', "null"])
def test_a_text_that_is_no_draft_is_none(text):
    with pytest.raises(ValueError, match=r"."):
        taken_up(text)


@pytest.mark.parametrize(
    ("typed", "meant"), [("S-1", "S-1"), ("s-1", "S-1"), ("S-10", "S-10 hall"), ("hall", "S-10 hall"), ("R", "R-1")]
)
def test_an_outlet_is_meant_by_its_name_or_what_it_alone_has(typed, meant):
    assert outlet_meant(typed, ["S-1", "S-10 hall", "R-1"]) == meant


@pytest.mark.parametrize(
    ("typed", "expected"),
    [
        ("S", "one of S-1, S-10 hall"),
        ("X-9", "an outlet of the job"),
        ("", "an outlet of the job"),
        ("S-1O hall", "did you mean S-10 hall"),
    ],
)
def test_what_may_be_several_outlets_or_none_is_named(typed, expected):
    with pytest.raises(BadInputError) as caught:
        outlet_meant(typed, ["S-1", "S-10 hall", "R-1"])
    assert expected in caught.value.findings[0].expected
