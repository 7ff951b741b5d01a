"""What is due: calibrations and intermediate checks, of what is in use and apart of what is put aside; and one answer for pairs.

Source: ISO/IEC 17025:2017, 6.4.8 (the label shows until when an instrument is valid), 6.4.10 (intermediate checks); the days
by hand. That gear put aside makes nothing overdue is common practice, no source.
"""

from datetime import UTC, datetime, timedelta

import icalendar
import pytest

from calib.procedures.fleet.pair_instruments import change_pair
from calib.procedures.fleet.record_event import record_event
from calib.procedures.on_record.probe_pairs import PAIRED
from calib.records import database
from tests.command import calib
from tests.every_way import every_way
from tests.folders import SIGNED, imported, only, small_job, write

# VA-1 was accepted on 2026-01-19 and is checked every 60 days: by 2026-03-20. Its calibration is due on 2027-01-12.
ON = ("--on", "2026-03-05")


@pytest.fixture
def checked(empty_records, tmp_path):
    """The small job in which VA-1 needs a check every 60 days."""
    sheets = small_job()
    sheets["instruments.csv"] = [
        row | {"check_interval_days": "60" if row["tag"] == "VA-1" else ""} for row in sheets["instruments.csv"]
    ]
    imported(empty_records, write(tmp_path / "in", sheets))
    return empty_records


def lines(records, *more, tag="VA-1"):
    listed = calib("due", *more, "--json", records=records).document["instruments"]
    return [(one["what"], one["due_on"], one["days"], one["overdue"]) for one in listed if one["tag"] == tag]


def suspend(records, tag, day=1):
    with database.writing(str(records)) as session:
        record_event(session, tag, "suspension", datetime(2026, 3, day, 8, tzinfo=UTC), "spare", SIGNED)


def test_a_check_that_comes_due_is_listed_with_its_own_day(checked):
    assert lines(checked, *ON, "--within", "14d") == []
    assert lines(checked, *ON, "--within", "15d") == [("intermediate check", "2026-03-20", 15, False)]
    told = calib("due", *ON, "--within", "15d", records=checked)
    assert "VA-1" in told.out
    assert "intermediate check" in told.out


def test_a_check_that_is_overdue_is_a_finding_and_has_one_line(checked):
    assert lines(checked, "--on", "2026-03-21") == [("intermediate check", "2026-03-20", -1, True)]
    told = calib("due", "--on", "2026-03-21", records=checked)
    assert told.status == 1
    assert told.out.count("intermediate check was due on 2026-03-20 (60 days after 2026-01-19)") == 1


def test_a_check_made_in_time_moves_the_day(checked):
    made = ("check", "add", "VA-1", "--kind", "zero", "--value", "0", "--low=-0.02", "--high", "0.02", "--unit", "m/s")
    assert calib(*made, "--at", "2026-03-04T08:00+00:00", "--by", "A. Person", records=checked).status == 0
    assert lines(checked, *ON, "--within", "60d") == [("intermediate check", "2026-05-03", 59, False)]


def test_calibration_and_check_may_both_come_due(checked):
    assert {what for what, *_ in lines(checked, *ON, "--within", "400d")} == {"calibration", "intermediate check"}


def test_the_calendar_has_an_event_for_the_check(checked, tmp_path):
    calib("due", *ON, "--within", "400d", "--ics", tmp_path / "due.ics", records=checked)
    events = icalendar.Calendar.from_ical((tmp_path / "due.ics").read_bytes()).walk("VEVENT")
    of_meter = {str(one["summary"]): (str(one.decoded("dtstart")), str(one["uid"])) for one in events}
    check, calibration = of_meter["VA-1: intermediate check due"], of_meter["VA-1: calibration due (certificate C-101)"]
    assert (check[0], calibration[0]) == ("2026-03-20", "2027-01-12")
    assert check[1] != calibration[1]


def test_the_label_says_the_earlier_of_both_days(checked, tmp_path):
    told = calib("label", "VA-1", *ON, "--into", tmp_path / "labels.html", "--json", records=checked).document
    (label,) = told["labels"]
    assert (label["due_on"], label["check_due_on"], label["calibration_due_on"]) == (
        "2026-03-20",
        "2026-03-20",
        "2027-01-12",
    )
    assert label["code"].endswith("due 2026-03-20")
    page = (tmp_path / "labels.html").read_text()
    assert page.index("check due") < page.index("2026-03-20") < page.index("calibration due") < page.index("2027-01-12")


def test_a_label_of_what_needs_no_check_says_the_calibration_s_day(checked, tmp_path):
    told = calib("label", "VA-2", *ON, "--into", tmp_path / "labels.html", "--json", records=checked).document
    assert told["labels"][0]["check_due_on"] is None
    assert "check due" not in (tmp_path / "labels.html").read_text()


def test_the_round_names_the_checks_of_what_stays(checked):
    planned = calib("due", "--round", "30d", *ON, records=checked)
    assert "intermediate checks due on what stays here\n  VA-1: due on 2026-03-20" in planned.out


def test_ready_says_until_when_the_check_holds(checked):
    told = calib("ready", "VA-1", *ON, "--json", records=checked).document["instruments"][0]
    assert (told["due_on"], told["check_due_on"]) == ("2027-01-12", "2026-03-20")
    assert "intermediate check due 2026-03-20" in calib("ready", "VA-1", *ON, records=checked).out


def test_the_list_of_what_is_due_has_what_must_be_checked(checked):
    listed = calib("instrument", "list", "--state", "due", *ON, "--within", "20d", "--json", records=checked).document
    assert [(one["tag"], one["check_due_on"]) for one in listed["instruments"]] == [("VA-1", "2026-03-20")]


def test_gear_put_aside_stands_apart_and_makes_nothing_overdue(checked, tmp_path):
    suspend(checked, "VA-1")
    told = calib("due", "--on", "2027-02-01", records=checked)
    in_use, _, aside = told.out.partition("put aside:\n")
    assert "VA-1" not in in_use
    assert "VA-1" in aside
    overdue = {one[3] for one in lines(checked, "--on", "2027-02-01")}
    assert overdue == {False}
    wrote = calib("due", "--on", "2027-02-01", "--ics", tmp_path / "due.ics", records=checked)
    assert "put aside, and so not in it: VA-1" in wrote.err
    assert b"VA-1:" not in (tmp_path / "due.ics").read_bytes()


def test_only_gear_in_use_makes_the_exit_status(checked):
    for tag in ("VA-1", "VA-2", "PG-1", "RS-1"):
        suspend(checked, tag)
    assert calib("due", "--on", "2030-01-01", records=checked).status == 0


def test_a_round_holds_gear_put_aside_apart(checked):
    suspend(checked, "VA-1")
    planned = calib("due", "--round", "60d", "--on", "2027-01-10", "--json", records=checked).document
    sent = {one["tag"] for parcel in planned["parcels"] for one in parcel["travellers"]}
    assert "VA-1" not in sent
    assert [one["tag"] for one in planned["put_aside"]] == ["VA-1"]
    assert "put aside, and sent only if it is wanted back\n  VA-1: comes due, due on 2027-01-12" in (
        calib("due", "--round", "60d", "--on", "2027-01-10", records=checked).out
    )


# --- pairs -----------------------------------------------------------------------------------------------------------------------

MORNING = datetime.fromisoformat("2026-03-04T08:00+01:00")


@pytest.fixture
def paired(empty_records, tmp_path):
    """DM-1 with its pitot-static tube PT-1; PM-1, a meter that was calibrated as one with its probe PP-1."""
    sheets = only(every_way(), "instruments.csv", "calibrations.csv", "comparisons.csv", "methods.csv")
    for tag, like in (("PM-1", "VF-1"), ("PP-1", "PT-1")):
        for file in ("instruments.csv", "calibrations.csv", "comparisons.csv"):
            if tag == "PP-1" and file != "instruments.csv":
                continue
            copies = [row | {"tag": tag} for row in sheets[file] if row["tag"] == like]
            sheets[file] += [
                row | ({"certificate": "E-PM"} if "certificate" in row else {"density_effect": "velocity pressure"})
                if tag == "PM-1"
                else row
                for row in copies
            ]
    imported(empty_records, write(tmp_path / "in", sheets))
    with database.writing(str(empty_records)) as session:
        for tags in (("PT-1", "DM-1"), ("PP-1", "PM-1")):
            change_pair(session, tags, PAIRED, MORNING, "used together", SIGNED)
    return empty_records


def refused_by(records, command):
    """Reasons by tag, as two commands give them."""
    return {one["tag"]: one["reasons"] for one in calib(*command, "--json", records=records).document["instruments"]}


def agreed(records, on="2026-03-05"):
    """What `ready`, `due` and the list say of each instrument of the pairs; they say the same."""
    tags = ("PT-1", "DM-1", "PP-1", "PM-1")
    ready = refused_by(records, ("ready", *tags, "--on", on))
    due = refused_by(records, ("due", "--on", on, "--within", "0d"))
    listed = refused_by(records, ("instrument", "list", "--on", on))
    assert {tag: due.get(tag, []) for tag in tags} == ready
    assert {tag: listed[tag] for tag in tags} == ready
    return ready


def test_a_pair_in_order_is_ready_and_not_due(paired):
    assert agreed(paired) == {"PT-1": [], "DM-1": [], "PP-1": [], "PM-1": []}


@pytest.mark.parametrize(("gone", "left"), [("PT-1", "DM-1"), ("DM-1", "PT-1"), ("PP-1", "PM-1"), ("PM-1", "PP-1")])
def test_while_one_is_refused_the_other_is_in_ready_due_and_list_alike(paired, gone, left):
    with database.writing(str(paired)) as session:
        record_event(session, gone, "suspension", MORNING + timedelta(hours=1), "bent", SIGNED)
    (reason,) = agreed(paired)[left]
    assert reason.startswith(f"{left}: it belongs with {gone}: suspended since")


def test_a_pair_calibrated_as_one_comes_due_together(paired):
    """PM-1 was calibrated on 2026-01-13 for 12 months; PP-1 has no certificate of its own."""
    listed = calib("due", *ON, "--within", "400d", "--json", records=paired).document["instruments"]
    due = {one["tag"]: (one["due_on"], one["certificate"]) for one in listed}
    assert due["PP-1"] == due["PM-1"] == ("2027-01-13", "E-PM")
    reasons = agreed(paired, "2027-02-01")
    assert len(reasons["PP-1"]) == 1  # what both would say of the one calibration is said once


def test_a_probe_calibrated_with_its_meter_may_be_asked_with_an_indication(paired):
    told = calib("ready", "PP-1", "PM-1", *ON, "--at", "5 m/s", records=paired)
    assert told.out.count("may be used") == 2
    assert told.out.count("an indication of 5 m/s means") == 1
