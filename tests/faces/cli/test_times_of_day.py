"""A time of day alone means today, in the zone of the job. Common practice, no source."""

import json
import sqlite3
import time
from contextlib import closing
from datetime import datetime, timedelta, timezone

import pytest

from tests.command import calib

PLACES = ("calib.faces.cli.options.clock", "calib.faces.cli.frame.clock", "calib.faces.cli.reading.clock",
          "calib.faces.cli.conditions.clock")  # fmt: skip


@pytest.fixture
def at_noon(monkeypatch):
    """A machine in Berlin on 6 March 2026, 12:00."""
    monkeypatch.setenv("TZ", "Europe/Berlin")
    time.tzset()
    now = datetime(2026, 3, 6, 12, tzinfo=timezone(timedelta(hours=1)))
    for place in PLACES:
        monkeypatch.setattr(place, lambda: now)
    yield
    monkeypatch.undo()
    time.tzset()


def added(records, at, outlet="S-2"):
    ran = calib("reading", "add", "J-1", outlet, "3.08", "3.13", "3.09", "--instrument", "VA-1", "--unit", "m/s", "--method",
                "sweep", "--at", at, "--json", records=records)  # fmt: skip
    assert ran.status == 0, ran.err
    shown = calib("reading", "show", str(json.loads(ran.out)["reading"]), "--json", records=records)
    return json.loads(shown.out)["observed_at"]


@pytest.mark.usefixtures("at_noon")
@pytest.mark.parametrize(("typed", "meant"), [("11:30", "2026-03-06T11:30+01:00"), ("9:05", "2026-03-06T09:05+01:00")])
def test_it_is_today_in_the_zone_of_this_machine_where_the_job_was_read_in_it(small_records, typed, meant):
    assert added(small_records, typed) == meant


@pytest.mark.usefixtures("at_noon")
def test_it_is_in_the_zone_of_the_job_where_that_is_another(small_records):
    """The last reading of the job was observed at -05:00: it is 06:00 there now, and 05:45 has been."""
    assert added(small_records, "2026-03-06T05:00-05:00") == "2026-03-06T05:00-05:00"
    assert added(small_records, "05:45", "S-1") == "2026-03-06T05:45-05:00"
    calib("conditions", "add", "J-1", "hall", "--temperature", "20 degC", "--temperature-uncertainty", "1", "--pressure", "100 kPa",
          "--pressure-uncertainty", "1", "--humidity", "40 %", "--humidity-uncertainty", "5", "--source", "estimated",
          "--at", "5:50", records=small_records)  # fmt: skip
    with closing(sqlite3.connect(small_records)) as file:
        times = file.execute("SELECT DISTINCT observed_at FROM condition").fetchall()
    assert times == [("2026-03-06T05:50-05:00",)]


@pytest.mark.usefixtures("at_noon")
def test_a_time_of_day_that_is_to_come_is_named(small_records):
    ran = calib("reading", "add", "J-1", "S-2", "3.08", "3.13", "--instrument", "VA-1", "--unit", "m/s", "--method", "sweep",
                "--at", "14:30", records=small_records)  # fmt: skip
    assert ran.status == 2
    assert "--at: '2026-03-06T14:30+01:00'; expected a time that is not in the future" in ran.err


@pytest.mark.usefixtures("at_noon")
def test_it_is_taken_wherever_a_time_is(small_records):
    ran = calib("instrument", "suspend", "VA-1", "--reason", "fell", "--at", "11:30", "--json", records=small_records)
    assert "2026-03-06T11:30:00+01:00" in ran.out
    for words in (("budget", "1", "--at", "11:00"), ("report", "J-1", "--format", "json", "--at", "11:00")):
        if "--at" in calib(words[0], "--help").out:
            assert calib(*words, records=small_records).status in (0, 3)
    wrong = calib("instrument", "suspend", "VA-1", "--reason", "fell", "--at", "25:30", records=small_records)
    assert "--at: '25:30'; expected a date and time as YYYY-MM-DDTHH:MM+HH:MM, or 14:30 for today" in wrong.err
