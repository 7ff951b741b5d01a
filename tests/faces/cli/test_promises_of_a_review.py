"""`calib review dispose`: what is to be measured again or withdrawn keeps its line open until it was.

Source: ISO/IEC 17025:2017, 7.10.1 (work is recalled or repeated), from memory; `calib help failures` says what ends each.
"""

import pytest

from tests.as_found import drifted, reviewed
from tests.command import calib
from tests.folders import small_job
from tests.procedures.impact.test_open_review import with_wide_standard

READING = ("--unit", "fpm", "--method", "sweep", "--observations", "800;812;806", "--by", "T. One")


@pytest.fixture
def records(drifted_records):
    return drifted_records


def dispose(records, *lines, decision):
    ran = calib(
        "review", "dispose", 1, *lines, "--decision", decision, "--reason", "the meter was off", records=records
    )
    assert ran.status == 0, ran.err
    return ran.err


def measured(records, outlet, at):
    ran = calib("reading", "add", "J-1", outlet, "--instrument", "VA-2", *READING, "--at", at, records=records)
    assert ran.status == 0, ran.err


def is_open(records, review=1):
    lines = calib("review", "show", review, "--json", records=records).document["items"]
    listed = calib("review", "list", "--open", "--json", records=records).document["reviews"]
    assert (review in [each["review"] for each in listed]) is any(line["open"] for line in lines)
    return [line["open"] for line in lines]


def test_a_reading_to_be_measured_again_is_open_until_a_later_one_there_stands(records):
    told = dispose(records, 1, 2, decision="measure again")
    assert told == "3 open lines left\na line disposed 'measure again' is open until that is done\n"
    assert "measure again, open" in calib("review", "show", 1, records=records).out
    assert "3 of 3 lines" in calib("due", "--on", "2026-03-06", records=records).out
    measured(records, "S-1", "2026-03-06T10:00+01:00")
    assert is_open(records) == [False, True, True]
    assert "2 of 3 lines" in calib("due", "--on", "2026-03-06", records=records).out
    shown = calib("instrument", "show", "VA-1", "--json", records=records).document["impact_reviews"]
    assert [(each["lines"], each["open_lines"]) for each in shown] == [(3, 2)]


def test_a_reading_taken_before_measures_nothing_again(records):
    dispose(records, 1, decision="measure again")
    measured(records, "S-1", "2026-03-05T08:00+01:00")
    assert is_open(records)[0]


def test_a_reading_on_record_before_it_was_decided_measures_nothing_again(records):
    measured(records, "S-1", "2026-03-06T10:00+01:00")
    dispose(records, 1, decision="measure again")
    assert is_open(records)[0]


def test_a_reading_by_the_same_instrument_that_becomes_a_line_measures_nothing_again(records):
    dispose(records, 1, decision="measure again")
    with_it = (
        "--instrument",
        "VA-1",
        "--unit",
        "m/s",
        "--method",
        "sweep",
        "--observations",
        "4.1;4.2",
        "--by",
        "T. One",
    )
    ran = calib("reading", "add", "J-1", "S-1", *with_it, "--at", "2026-03-06T10:00+01:00", records=records)
    assert ran.status == 0, ran.err
    assert is_open(records) == [True] * 4


def test_a_later_reading_that_was_withdrawn_measures_nothing_again(records):
    dispose(records, 1, decision="measure again")
    measured(records, "S-1", "2026-03-06T10:00+01:00")
    assert calib("reading", "withdraw", "J-1", 5, "--reason", "wrong outlet", records=records).status == 0
    assert is_open(records)[0]


def test_a_reading_to_be_withdrawn_is_open_until_it_was(records):
    dispose(records, 1, 2, 3, decision="withdraw")
    assert is_open(records) == [True] * 3
    ran = calib("reading", "withdraw", "J-1", 1, "--reason", "taken with VA-1", records=records)
    assert ran.status == 0, ran.err
    assert is_open(records) == [False, True, True]


def test_a_promise_that_is_not_kept_may_give_way_to_another_decision(records):
    dispose(records, 1, decision="withdraw")
    dispose(records, 1, decision="stands")
    assert not is_open(records)[0]


def test_a_calibration_to_be_made_again_is_open_until_a_later_one_is_accepted(tmp_path):
    records = reviewed(tmp_path, with_wide_standard(), drifted(with_wide_standard(), "RS-1"))
    lines = calib("review", "show", 1, "--json", records=records).document["items"]
    (place,) = [line["line"] for line in lines if line["table"] == "calibration"]
    for decision, done in {
        "measure again": ("calibration", "accept", "VA-2", "N-2", "--by", "Q. Person"),
        "withdraw": ("calibration", "withdraw", "VA-2", "C-102", "--reason", "made with RS-1"),
    }.items():
        dispose(records, place, decision=decision)
        if decision == "measure again":
            sheet = tmp_path / "comparisons.csv"
            rows = [row for row in small_job()["comparisons.csv"] if row["tag"] == "VA-2"][1:]  # those in order
            names = ("phase", "reference", "indication", "unit", "expanded_uncertainty", "coverage_factor")
            text = "\n".join(",".join(row[name] for name in names) for row in rows)
            sheet.write_text(",".join(names) + "\n" + text + "\n", encoding="utf-8")
            said = ("--laboratory", "L", "--calibrated-on", "2026-04-01", "--comparisons", str(sheet))
            ran = calib("calibration", "add", "VA-2", "N-2", *said, records=records)
            assert ran.status == 0, ran.err
        assert is_open(records)[place - 1]
        ran = calib(*done, records=records)
        assert ran.status == 0, ran.err
        assert not is_open(records)[place - 1]


def test_a_report_is_neither_measured_nor_withdrawn(tmp_path):
    records = reviewed(tmp_path / "other", small_job(), drifted(small_job(), "VA-1"))
    assert calib("report", "J-1", "--issue", "--into", tmp_path, records=records).status == 0
    assert (
        calib(
            "instrument", "suspend", "VA-2", "--at", "2026-03-01T10:00+01:00", "--reason", "dropped", records=records
        ).status
        == 0
    )
    for decision, expected in {
        "measure again": "a factor, a calibration or a check",
        "withdraw": "a calibration or a check",
    }.items():
        ran = calib("review", "dispose", 2, 1, "--decision", decision, "--reason", "why", records=records)
        assert (ran.status, ran.out) == (2, "")
        assert f"expected a reading, {expected}: only these can be" in ran.err
