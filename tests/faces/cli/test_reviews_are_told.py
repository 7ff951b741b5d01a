"""What an open review concerns is told wherever somebody asks whether an instrument may be used, or what a result rests on.

Source: ISO/IEC 17025:2017, 7.10.1 (actions for nonconforming work) and 6.4.9 (taken out of service until it is in order), from
memory.
"""

import re

import pytest

from tests.as_found import drifted, reviewed
from tests.command import calib, copied
from tests.folders import small_job

STANDARD = "VA-2: calibrated in house with RS-1, found at "


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    """RS-1, which VA-2 was calibrated with, was found 4 % high when it was calibrated on 20 March."""
    return reviewed(tmp_path_factory.mktemp("small"), small_job(), drifted(small_job(), "RS-1"))


@pytest.fixture
def records(made, tmp_path):
    return copied(made, tmp_path / "records.sqlite")


def close(records):
    lines = calib("review", "show", 1, "--json", records=records).document["items"]
    for line in lines:
        ran = calib(
            "review", "dispose", 1, line["line"], "--decision", "stands", "--reason", "looked at", records=records
        )
        assert ran.status == 0


AFTER = ("--on", "2026-04-10")


def test_ready_says_that_the_standard_of_a_calibration_was_found_out_of_order(records):
    ran = calib("ready", "VA-2", *AFTER, records=records)
    assert ran.status == 0
    (line,) = [one for one in ran.out.splitlines() if "RS-1" in one]
    assert line.startswith("  but calibrated in house with RS-1, found at ")
    assert line.endswith(" times its limit on 2026-03-20; review 1 open")
    (own,) = calib("ready", "VA-2", *AFTER, "--json", records=records).document["instruments"]
    assert own["notes"][0].startswith(STANDARD)


def test_ready_says_nothing_of_a_review_that_is_closed(records):
    close(records)
    assert "RS-1" not in calib("ready", "VA-2", *AFTER, records=records).out


def test_the_history_of_an_instrument_lists_the_review_of_its_standard(records):
    told = calib("instrument", "show", "VA-2", records=records).out
    assert re.search(
        r"^impact review 1 open: RS-1, found at .* times its limit on 2026-03-20, \d+ of \d+ lines$", told, re.MULTILINE
    )
    (review,) = calib("instrument", "show", "VA-2", "--json", records=records).document["impact_reviews"]
    assert (review["review"], review["instrument"], review["certificate"]) == (1, "RS-1", "D-1")


def test_trace_up_says_so_and_is_not_complete(records):
    for words in (("VA-2",), ("reading", "3")):
        ran = calib("trace", "up", *words, records=records)
        assert "every branch ends" not in ran.out
        assert f"gap: {STANDARD}" in ran.out
    assert not calib("trace", "up", "reading", "3", "--json", records=records).document["complete"]


def test_a_closed_review_stays_visible_in_trace_up(records):
    calib("review", "decide", 1, "--curve", "as before", "--reason", "the laboratory erred", records=records)
    close(records)
    ran = calib("trace", "up", "reading", "3", records=records)
    assert "gap: VA-2: calibrated" not in ran.out
    (line,) = [one for one in ran.out.splitlines() if one.startswith(f"review: {STANDARD}")]
    assert line.endswith("review 1 closed, decided: as before")


def test_a_meter_found_beyond_its_limits_is_traced_with_its_review(tmp_path):
    records = reviewed(tmp_path, small_job(), drifted(small_job(), "VA-1"))
    ran = calib("trace", "up", "reading", "1", records=records)
    assert "every branch ends" not in ran.out
    assert "gap: VA-1: found at 2.95 times its limit on 2026-03-20; review 1 open" in ran.out


def read(records, tag, at):
    cells = {"instrument": tag, "unit": "fpm", "method": "sweep", "observations": "620;630", "by": "T. One"}
    options = [word for name, cell in cells.items() for word in (f"--{name}", cell)]
    return calib("reading", "add", "J-1", "S-1", *options, "--at", at, records=records)


def test_a_reading_taken_meanwhile_says_so(records):
    ran = read(records, "VA-2", "2026-04-10T09:00+02:00")
    assert ran.status == 0
    assert STANDARD in ran.out + ran.err


def test_the_plan_of_a_job_says_so(records):
    out = calib("plan", "J-1", *AFTER, "--json", records=records).document
    flags = [
        flag
        for outlet in out["outlets"]
        for each in outlet["candidates"]
        if each["instrument"] == "VA-2"
        for flag in each["flags"]
    ]
    assert any(flag.startswith(STANDARD) for flag in flags)


def test_a_house_rule_closes_the_gate_while_the_review_is_open(records):
    rule = ("rule", "set", "open review closes the gate", "--holds", "yes", "--reason", "the company's manual, 4.2")
    assert calib(*rule, records=records).status == 0
    ran = calib("ready", "VA-2", *AFTER, records=records)
    assert ran.status == 3
    assert "review 1 open: use another instrument until it is closed" in ran.out
    assert read(records, "VA-2", "2026-04-10T09:00+02:00").status == 3
    close(records)
    assert calib("ready", "VA-2", *AFTER, records=records).status == 0


def test_a_house_rule_leaves_readings_alone_that_were_taken_before(records):
    rule = ("rule", "set", "open review closes the gate", "--holds", "yes", "--reason", "the company's manual, 4.2")
    before = calib("reading", "list", "J-1", "--json", records=records).document
    calib(*rule, records=records)
    assert calib("reading", "list", "J-1", "--json", records=records).document["readings"] == before["readings"]
