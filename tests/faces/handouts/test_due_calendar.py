"""The due list as a calendar. Source: RFC 5545, 3.1 (folding), 3.3.11 (text), 3.6.1 (event), 3.6.6 (alarm), 3.8.4.7 (UID)."""

import os
from datetime import UTC, date, datetime, timedelta

import icalendar
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.confirmation.due import DueEntry
from calib.faces.handouts.due_calendar import as_calendar
from calib.procedures.fleet.recalibration_round import DueInstrument
from tests.command import calib

ON = date(2026, 10, 14)
DEMO = ("due", "--on", "2026-10-14", "--within", "400d")


def due(tag="VA-11", due_on=date(2027, 3, 18), certificate="C-1", location="van 1", reasons=()):
    days = None if due_on is None else (due_on - ON).days
    entry = DueEntry(tag, due_on, days, certificate, days is None or days < 0, tuple(reasons))
    return DueInstrument(entry, "vane Maker M1", "007", location)


def events(content):
    return icalendar.Calendar.from_ical(content).walk("VEVENT")


def written(records, folder, *more):
    ran = calib(*DEMO, "--ics", folder / "due.ics", *more, records=records)
    assert ran.status == 1  # an instrument is overdue
    return (folder / "due.ics").read_bytes()


def test_a_calendar_reads_back_what_was_written():
    (event,) = events(as_calendar([due()], ON, "records"))
    assert event["summary"] == "VA-11: calibration due (certificate C-1)"
    assert event.decoded("dtstart") == date(2027, 3, 18)
    assert event.decoded("dtend") == date(2027, 3, 19)
    assert event.decoded("dtstamp") == datetime(2026, 10, 14, tzinfo=UTC)
    assert event["dtstart"].params["VALUE"] == "DATE"
    assert event["location"] == "van 1"
    assert "serial number 007" in event["description"]


def test_each_event_reminds_a_month_and_a_week_before():
    (event,) = events(as_calendar([due()], ON, "records"))
    alarms = event.walk("VALARM")
    assert [one.decoded("trigger") for one in alarms] == [timedelta(days=-30), timedelta(days=-7)]
    assert {str(one["action"]) for one in alarms} == {"DISPLAY"}
    assert all(str(one["description"]) for one in alarms)


def test_what_rfc_5545_requires_is_there():
    content = as_calendar([due(), due("VA-12")], ON, "records")
    calendar = icalendar.Calendar.from_ical(content)
    assert (calendar["version"], str(calendar["prodid"]) != "") == ("2.0", True)
    uids = [str(one["uid"]) for one in calendar.walk("VEVENT")]
    assert len(set(uids)) == 2
    assert content.endswith(b"END:VCALENDAR\r\n")


def test_the_uid_stays_with_the_instrument_and_a_later_file_counts_as_newer():
    (before,) = events(as_calendar([due()], ON, "records"))
    (after,) = events(
        as_calendar([due(due_on=date(2028, 3, 20), certificate="C-2")], ON + timedelta(days=90), "records")
    )
    assert before["uid"] == after["uid"]
    assert after["sequence"] > before["sequence"]


def test_the_same_tag_in_other_records_has_another_uid():
    (one,), (other,) = (events(as_calendar([due()], ON, records)) for records in ("ours", "theirs"))
    assert one["uid"] != other["uid"]


def test_without_a_due_date_there_is_no_event():
    assert events(as_calendar([due(due_on=None, certificate=None)], ON, "records")) == []


def test_no_line_is_longer_than_75_octets():
    content = as_calendar([due("ÄÖ-" * 60, location="αβγ " * 90)], ON, "records")
    assert max(len(line) for line in content.split(b"\r\n")) <= 75


HOSTILE = st.text() | st.sampled_from(
    ["a\r\nBEGIN:VEVENT\r\nSUMMARY:x", "a;b,c\\n\\,d", "\x00\x1b[31m\x85\u2028", 'x"y:z', "END:VCALENDAR\n", "ä" * 200]
)


@given(HOSTILE, HOSTILE, HOSTILE, HOSTILE)
def test_no_text_breaks_out_of_its_property(tag, certificate, location, reason):
    """Signs that are not printed are replaced before; every other one comes back as it was."""
    content = as_calendar([due(tag, certificate=certificate, location=location, reasons=[reason])], ON, "records")
    (event,) = events(content)

    def shown(text):
        return "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in text)

    assert event["summary"] == f"{shown(tag)}: calibration due (certificate {shown(certificate)})"
    assert str(event.get("location", "")) == shown(location)
    assert str(event["description"]).split("\n")[-1] == shown(reason)
    assert len(event.walk("VALARM")) == 2
    for line in content.split(b"\r\n"):
        assert b"\r" not in line
        assert b"\n" not in line


def test_the_demo_has_an_event_for_each_line_in_use_with_a_due_date(demo_records, tmp_path):
    content = written(demo_records, tmp_path)
    listed = calib(*DEMO, "--json", records=demo_records).document["instruments"]
    found = {
        (str(one["summary"]).partition(":")[0], "check" in str(one["summary"])): str(one.decoded("dtstart"))
        for one in events(content)
    }
    assert found == {
        (one["tag"], one["what"] == "intermediate check"): one["due_on"]
        for one in listed
        if one["due_on"] is not None and not one["put_aside"]
    }
    assert {tag for tag, is_check in found if is_check} == {"TA-05"}
    assert len(found) > 8


def test_the_same_records_and_day_make_the_same_bytes(demo_records, tmp_path):
    (tmp_path / "again").mkdir()
    assert written(demo_records, tmp_path) == written(demo_records, tmp_path / "again")


def test_a_calendar_takes_the_place_of_an_earlier_one(demo_records, tmp_path):
    (tmp_path / "due.ics").write_bytes(b"BEGIN:VCALENDAR\r\nEND:VCALENDAR\r\n")
    assert events(written(demo_records, tmp_path))


def test_another_kind_of_file_is_left_alone(demo_records, tmp_path):
    before = demo_records.read_bytes()
    ran = calib(*DEMO, "--ics", demo_records, records=demo_records)
    assert ran.status == 2
    assert "is there already and is no calendar: name another file" in ran.err
    assert demo_records.read_bytes() == before
    assert {one.suffix for one in tmp_path.iterdir()} <= {".sqlite", ".sqlite-wal", ".sqlite-shm"}


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes and devices as Unix has them")
@pytest.mark.parametrize("device", ["/dev/full", "/dev/zero", "/dev/null", "pipe"])
def test_a_device_or_a_pipe_is_left_alone_and_not_waited_for(demo_records, tmp_path, device):
    """One gives bytes for ever, another none."""
    if device == "pipe":
        os.mkfifo(tmp_path / "pipe")
        device = tmp_path / "pipe"
    ran = calib(*DEMO, "--ics", device, records=demo_records)
    assert ran.status == 2
    assert "is there already and is no calendar" in ran.err


@pytest.mark.parametrize("name", ["nowhere/due.ics", "x" * 300])
def test_a_file_that_cannot_be_written_is_one_line(demo_records, tmp_path, name):
    ran = calib(*DEMO, "--ics", tmp_path / name, records=demo_records)
    assert ran.status == 2
    assert "the calendar cannot be written" in ran.err


def test_an_instrument_without_a_due_date_is_named(demo_records, tmp_path):
    added = ("--kind", "vane", "--maker", "M", "--model", "N", "--serial", "7", "--range-low", "0", "--range-high", "9")
    more = ("--unit", "m/s", "--resolution", "0.01", "--mpe-percent", "2", "--interval-months", "12")
    assert calib("instrument", "add", "NEW-1", *added, *more, records=demo_records).status == 0
    ran = calib(*DEMO, "--ics", tmp_path / "due.ics", records=demo_records)
    assert "without a due date, and so not in it: NEW-1" in ran.err
