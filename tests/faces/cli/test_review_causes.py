"""Reviews open from everything that shakes results already given, and `calib` says so where a person does it.

Source: ISO/IEC 17025:2017, 6.4.9 and 7.10.1 (examine the effect of a defect on earlier results), from memory.
"""

import re

import pytest

from tests.as_found import LATER, added
from tests.command import calib
from tests.folders import records_of, small_job

FAILED = ("--kind", "zero", "--value", "0.5", "--low", "0.00", "--high", "0.02", "--unit", "m/s")
PASSED = ("--kind", "zero", "--value", "0.01", "--low", "0.00", "--high", "0.02", "--unit", "m/s")


@pytest.fixture
def records(tmp_path):
    """VA-1 was used on 5 March; the present is a month later."""
    return records_of(tmp_path, small_job(), now=LATER)


def shown(records, number=1):
    return calib("review", "show", number, "--json", records=records).document


def check(records, *cells, at, tag="VA-1"):
    return calib("check", "add", tag, *cells, "--at", at, records=records)


def test_a_failed_check_opens_a_review_of_the_readings_since_the_calibration(records):
    ran = check(records, *FAILED, at="2026-03-06T08:00+01:00")
    assert ran.status == 1
    said = "VA-1, intermediate check (zero) failed on 2026-03-06: impact review, 3 lines: calib review show 1"
    assert said in ran.err
    document = shown(records)
    assert (document["cause"], document["tag"], document["certificate"]) == ("check", "VA-1", None)
    assert [line["id"] for line in document["items"]] == [1, 2, 4]


def test_the_history_of_an_instrument_lists_its_review_whatever_opened_it(records):
    check(records, *FAILED, at="2026-03-06T08:00+01:00")
    happened = "intermediate check (zero) failed on 2026-03-06"
    told = calib("instrument", "show", "VA-1", records=records).out
    assert f"impact review 1 open: VA-1, {happened}, 3 of 3 lines\n" in told
    (review,) = calib("instrument", "show", "VA-1", "--json", records=records).document["impact_reviews"]
    assert (review["review"], review["happened"], review["certificate"]) == (1, happened, None)


def test_what_a_passed_check_has_shown_to_be_right_is_no_line(records):
    readings = calib("reading", "list", "J-1", "--json", records=records).document["readings"]
    first, *later = sorted(one["observed_at"] for one in readings if one["instrument"] == "VA-1")
    assert first < later[0]
    check(records, *PASSED, at=later[0])
    check(records, *FAILED, at="2026-03-06T08:00+01:00")
    assert len(shown(records)["items"]) == len(later)


def test_nobody_knows_the_shift_so_each_line_is_judged_by_hand(records):
    check(records, *FAILED, at="2026-03-06T08:00+01:00")
    line = shown(records)["items"][0]
    assert line["before"]["value"] > 0
    assert (line["after"], line["shift"]) == (None, None)
    assert line["notes"] == ["by how much VA-1 was wrong then is not known: judge it by hand"]


def test_a_check_that_passed_opens_none(records):
    check(records, *PASSED, at="2026-03-06T08:00+01:00")
    assert calib("review", "list", records=records).out == "there is no impact review\n"


def test_a_reading_typed_later_for_that_time_becomes_a_line(records):
    check(records, *FAILED, at="2026-03-06T18:00+01:00")
    cells = {"instrument": "VA-1", "unit": "m/s", "method": "sweep", "observations": "3.1;3.2", "by": "T. One"}
    options = [word for name, cell in cells.items() for word in (f"--{name}", cell)]
    ran = calib("reading", "add", "J-1", "S-1", *options, "--at", "2026-03-06T09:10+01:00", records=records)
    assert "impact review of VA-1, intermediate check (zero) failed on 2026-03-06: 1 line more" in ran.err
    assert len(shown(records)["items"]) == 4


def test_a_withdrawn_certificate_opens_a_review_where_a_report_was_issued(records, tmp_path):
    calib("report", "J-1", "--issue", "--into", tmp_path / "issued", "--by", "E. Person", records=records)
    ran = calib("calibration", "withdraw", "VA-1", "C-101", "--reason", "typed wrong", records=records)
    assert ran.status == 0
    assert re.search(
        r"VA-1, certificate C-101 was withdrawn on \S+: impact review, 4 lines: calib review show 1", ran.err
    )
    document = shown(records)
    assert [line["record"] for line in document["items"]] == [
        "reading 1: S-1 of J-1", "reading 2: S-2 of J-1", "reading 4: E-1 of J-1", "report J-1 revision 1",
    ]  # fmt: skip
    assert document["items"][0]["reasons_after"]
    assert document["items"][3]["reissue"]


def test_a_withdrawn_certificate_that_nothing_was_given_with_opens_none(records):
    calib("calibration", "withdraw", "VA-1", "C-101", "--reason", "typed wrong", records=records)
    assert calib("review", "list", records=records).out == "there is no impact review\n"


def test_a_check_against_an_instrument_out_of_order_is_a_line(records):
    compared = ("--kind", "comparison", "--value", "2.5", "--other", "VA-1", "--other-value", "2.5", "--unit", "m/s")
    assert check(records, *compared, at="2026-03-05T18:00+01:00", tag="VA-2").status == 0
    check(records, *FAILED, at="2026-03-06T08:00+01:00")
    assert shown(records)["items"][-1]["record"] == "check 1 of VA-2"


def test_an_imported_event_of_damage_opens_a_review(records, tmp_path):
    event = {"tag": "VA-1", "kind": "damage", "at": "2026-03-07T08:00+01:00", "reason": "dropped", "value": ""}
    added(records, tmp_path / "events", {"events.csv": [event]})
    document = shown(records)
    assert (document["cause"], document["about"]) == ("damage", "VA-1, damaged on 2026-03-07: dropped")
    assert [line["id"] for line in document["items"]] == [1, 2, 4]
