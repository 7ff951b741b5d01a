"""What a reading proves at once. Expected figures are worked out by hand or asked of the conformity of another reading.

The acceptance interval shrinks by the relative guard band of the reading: L/(1 - w/q) and U/(1 + w/q) (guarded acceptance,
JCGM 106:2012, 8.3.2, recalled).
"""

import json

import pytest

from tests.command import calib
from tests.folders import changed, records_of

TYPED = ("--instrument", "VA-1", "--unit", "m/s", "--method", "sweep")


def entered(records, *values, minute=0):
    at = ("--at", f"2026-05-04T10:{minute:02}+01:00")
    ran = calib("reading", "add", "J-1", "S-1", *values, *TYPED, *at, "--json", records=records)
    assert ran.status == 0, ran.err
    return json.loads(ran.out)


def test_an_entered_reading_answers_with_its_flow_and_what_it_proves(small_records):
    told = entered(small_records, "4.05", "4.15", "4.10")

    assert told["outlet"] == "S-1"
    assert told["flow"]["unit"] == "m3/h"
    assert told["design"]["conformity"] in {"pass", "conditional pass", "conditional fail", "fail"}
    listed = json.loads(calib("reading", "list", "J-1", "--json", records=small_records).out)["readings"]
    assert next(each["flow"] for each in listed if each["reading"] == told["reading"]) == told["flow"]


@pytest.mark.parametrize("end", ["from", "to"])
def test_a_reading_just_within_the_passing_indications_passes_and_one_just_outside_does_not(small_records, end):
    passing = entered(small_records, "4.10")["passing_indications"]
    inward = 1.01 if end == "from" else 0.99

    within = entered(small_records, f"{passing[end] * inward:.4f}", minute=1)
    outside = entered(small_records, f"{passing[end] / inward:.4f}", minute=2)

    assert within["design"]["conformity"] == "pass"
    assert outside["design"]["conformity"] != "pass"


@pytest.mark.parametrize(("design", "passing"), [("3400", "from"), ("4800", None)])
def test_what_would_pass_beyond_what_the_instrument_is_calibrated_for_is_not_told(tmp_path, design, passing):
    """VA-1 is calibrated from 0.66 to 13.60 m/s, and 4.10 m/s at S-1 are some 990 m3/h: 13.60 m/s some 3,300."""
    records = records_of(tmp_path, changed(("outlets.csv", 2, "design_flow", design)))
    told = entered(records, "4.10", "4.12")
    assert told["design"]["conformity"] == "fail"
    if passing is None:
        assert told["passing_indications"] is None
    else:
        assert 10 < told["passing_indications"]["from"] < 13.6
        assert told["passing_indications"]["to"] is None


def test_a_conditional_statement_says_how_many_observations_would_settle_it_or_that_none_would(small_records):
    passing = entered(small_records, "4.10")["passing_indications"]
    told = entered(small_records, f"{passing['from'] * 0.98:.4f}", minute=1)

    assert told["design"]["conformity"] == "conditional pass"
    assert told["settled"] is False
    assert told["observations_to_settle"] is None or told["observations_to_settle"] > 1


def test_what_no_reading_stands_of_is_left(small_records):
    left = entered(small_records, "4.10")["outlets_left"]

    assert "S-1" not in left
    assert set(left) <= {"S-2", "R-1", "E-1"}


def test_values_as_words_and_as_an_option_are_too_many(small_records):
    ran = calib(
        "reading", "add", "J-1", "S-1", "4.1", "4.2", *TYPED, "--observations", "4.1;4.2", records=small_records
    )

    assert (ran.status, ran.out) == (2, "")
    assert "--observations: '4.1;4.2'; expected it as an option, or the values as words: not both" in ran.err


@pytest.mark.parametrize("command", [("add", "J-1", "S-1", *TYPED), ("correct", "J-1", "1", "--reason", "slip")])
def test_passes_that_a_shell_cut_at_their_semicolon_are_not_taken_for_one(small_records, command):
    """`--observations 4.1;4.2` reaches the program as 4.1: the shell takes the rest for another command."""
    ran = calib("reading", *command, "--observations", "4.1", records=small_records)

    assert (ran.status, ran.out) == (2, "")
    assert "--observations: '4.1'; expected several values in quotation marks" in ran.err


@pytest.mark.parametrize(
    ("values", "told"),
    [(("4.1",), "from the one indication 4.1 m/s"), (("4.1", "4.2", "4.15"), "from 4.1, 4.2, 4.15 m/s")],
)
def test_the_answer_says_which_values_it_is_from(small_records, values, told):
    ran = calib(
        "reading", "add", "J-1", "S-1", *values, *TYPED, "--at", "2026-05-04T10:00+01:00", records=small_records
    )

    assert f"  {told}" in ran.out.splitlines()


def test_a_refused_reading_gives_no_flow_and_its_reasons(small_records):
    ran = calib("reading", "add", "J-1", "S-1", "19.0", *TYPED, "--sure", "--json", records=small_records)

    assert ran.status == 3
    assert json.loads(ran.out)["refused"] is True
    assert "flow" not in json.loads(ran.out)
