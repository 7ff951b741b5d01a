"""What was nearly right on site is answered with the word or the name that may be meant.

Common practice, no source.
"""

import io
import time

import pytest
from openpyxl import load_workbook

from calib.procedures.on_record.by_name import not_there
from tests.command import calib

SETUP = ("--instrument", "VA-1", "--unit", "m/s", "--method", "sweep")


@pytest.mark.parametrize(
    ("typed", "near"),
    [
        (("ready", "VA1"), "no instrument 'VA1' in the records: there is PG-1, RS-1, VA-1, VA-2 (did you mean VA-1?)"),
        (("reading", "list", "J1"), "no job 'J1' in the records: there is J-1 (did you mean J-1?)"),
        (("outlet", "show", "J-1", "S2"), "no outlet 'S2' in job J-1: there is S-1, S-2, R-1, E-1 (did you mean S-2?)"),
        (("reading", "add", "J-1", "S-2", "3", "3.1", *SETUP[:4], "--method", "Swee"), "(did you mean sweep?)"),
        (("reading", "add", "J-1", "S2", "3", "3.1", *SETUP), "(did you mean S-2?)"),
    ],
)
def test_a_name_that_is_near_is_asked_about(small_records, typed, near):
    ran = calib(*typed, records=small_records)
    assert ran.status == 2
    assert near in " ".join(ran.err.split())


def test_of_many_names_those_beside_a_near_one_are_not_all_listed():
    names = [f"VA-{number}" for number in range(100, 300)]
    assert str(not_there("instrument 'VA123'", names, "VA123")).endswith("VA-119 and 180 more (did you mean VA-123?)")
    assert str(not_there("instrument 'X'", names, "X")).endswith("VA-299")


def test_a_value_below_zero_is_told_how_it_is_typed(small_records):
    ran = calib("reading", "add", "J-1", "S-2", "-3", "-4", *SETUP, records=small_records)
    assert ran.status == 2
    assert "-3: write -- before values below zero, behind the options: -- -3 -4" in ran.err
    ran = calib("reading", "add", "J-1", "S-2", "-2.2", "-,4", *SETUP, records=small_records)
    assert "Error: -2.2: write -- before values below zero, behind the options: -- -2.2 -,4\n" in ran.err
    ran = calib("reading", "add", "J-1", "S-2", *SETUP, "--records", small_records, "--", "-3", "-4")
    assert "velocity values of 0 or above" in ran.err


def test_the_name_of_an_outlet_alone_is_asked_about_in_a_sitting(small_records, monkeypatch):
    monkeypatch.setattr("sys.stdin", io.StringIO("S-2\n"))
    ran = calib("enter", "J-1", *SETUP, "--by", "T. One", records=small_records)
    assert "to S-2? (? tells the words)" in ran.out


def test_an_outlet_for_a_hood_alone_says_what_a_velocity_meter_needs(small_records):
    add = ("outlet", "add", "J-1", "S-9", "--system", "AH-1", "--service", "supply")
    ran = calib(*add, records=small_records)
    assert ran.status == 0
    for needed in ("a hood alone measures it", "--shape", "--dimension-limit", "--outlet-factor", "calib outlet amend"):
        assert needed in ran.err
    with_area = ("--effective-area", "0.05", "--effective-area-unit", "m2", "--outlet-factor-source", "maker",
                 "--effective-area-standard-uncertainty", "0.001")  # fmt: skip
    ran = calib(*add[:3], "S-8", *add[4:], *with_area, records=small_records)
    assert (ran.status, ran.err) == (0, "")


@pytest.mark.parametrize(("day", "zone"), [("2026-07-14", "+01:00"), ("2026-11-29", "+00:00")])
def test_the_times_of_a_field_workbook_are_those_of_the_day_that_it_is_for(
    small_records, tmp_path, monkeypatch, day, zone
):
    """London: common practice, no source; its summer time ends on the last Sunday of October."""
    monkeypatch.setenv("TZ", "Europe/London")
    time.tzset()
    try:
        sheet = tmp_path / "field.xlsx"
        job = calib("job", "add", "J-2", "--title", "Other", "--rule", "simple", records=small_records)
        assert job.status == 0, job.err
        outlet = ("outlet", "add", "J-2", "S-1", "--system", "AH-1", "--service", "supply")
        calib(*outlet, records=small_records)
        calib("plan", "J-2", "--on", day, "--sheet", sheet, records=small_records)
        headings = [cell.value for cell in load_workbook(sheet)["readings"][1]]
    finally:
        monkeypatch.undo()
        time.tzset()
    assert f"time [{zone}]" in headings


def test_an_outlet_that_was_read_already_is_told_with_that_reading(small_records):
    """S-2 has the second reading of the small job."""
    again = ("reading", "add", "J-1", "S-2", "3.08", "3.13", *SETUP)
    first = calib(*again, "--at", "2026-03-05T12:00+01:00", records=small_records)
    assert "  S-2 was read before, as reading 2: both are on record\n" in first.out
    second = calib(*again, "--at", "2026-03-05T12:10+01:00", "--json", records=small_records)
    assert second.document["reading_before"] == 5


def test_an_outlet_that_was_never_read_has_no_reading_before(small_records):
    add = ("outlet", "add", "J-1", "S-8", "--system", "AH-1", "--service", "supply", "--effective-area", "0.05",
           "--effective-area-unit", "m2", "--effective-area-standard-uncertainty", "0.001",
           "--outlet-factor-source", "maker")  # fmt: skip
    assert calib(*add, records=small_records).status == 0
    ran = calib(
        "reading", "add", "J-1", "S-8", "3.08", "3.13", *SETUP, "--at", "2026-03-05T12:00+01:00", records=small_records
    )
    assert ran.status == 0
    assert "was read before" not in ran.out
