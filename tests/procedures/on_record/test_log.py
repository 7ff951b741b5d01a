"""`calib log`: who recorded what, when, with which version of the program. Source: `calib help records`, which has the contract."""

from datetime import datetime, timedelta

import pytest

from calib import __version__
from calib.faces.answers.log import text
from calib.faces.plain_text import as_wide_as, fitted
from calib.procedures.enter.import_sheets import import_row
from calib.procedures.fleet.record_event import record_event
from calib.procedures.people.authorise import append
from calib.records import database, ledger
from calib.records.tables.custody import ClockStep
from tests.command import calib
from tests.folders import NOW

DAY = timedelta(days=1)


def signed(at, person="B. Person", action="suspension"):
    return ledger.Signature(person, at, action)


def suspended(records, tag, at):
    with database.writing(str(records)) as session:
        record_event(session, tag, "suspension", at, "dropped", signed(at))


@pytest.fixture
def records(small_records):
    """The small job; a day later VA-2 is suspended, and two days later another job is added."""
    suspended(small_records, "VA-2", NOW + DAY)
    with database.writing(str(small_records)) as session:
        job = {"job": "J-2", "title": "T", "site": "S", "client": "C", "decision_rule": "simple"}
        import_row(session, "jobs.csv", job, signed(NOW + 2 * DAY, action="job add"), NOW + 2 * DAY)
    return small_records


def log(records, *words):
    return calib("log", "--json", *words, records=records).document


def told(records, *words):
    """Tables and numbers of the records that are shown, the first one first."""
    return [(one["record_table"], one["record_id"]) for one in log(records, *words)["entries"]][::-1]


def of_tables(records, *words):
    return {table: sum(name == table for name, _ in told(records, *words)) for table in dict(told(records, *words))}


def test_the_newest_stands_first_with_person_time_action_version_and_what_it_is_of(records):
    newest, before, *_ = log(records)["entries"]
    assert newest == {
        "sequence": newest["sequence"], "time": "2026-03-08T09:00:00+00:00", "person": "B. Person", "action": "job add",
        "record_table": "job", "record_id": 2, "version": __version__, "instrument": None, "job": "J-2",
    }  # fmt: skip
    assert (before["record_table"], before["instrument"], before["time"][:10]) == ("event", "VA-2", "2026-03-07")
    assert newest["sequence"] == before["sequence"] + 1


def test_a_limit_says_how_many_more_there_are_and_where_they_begin(records):
    whole = log(records, "--limit", "1000")
    assert whole["more"] == 0
    first = log(records, "--limit", "10")
    assert (len(first["entries"]), first["more"]) == (10, len(whole["entries"]) - 10)
    last = first["entries"][-1]["sequence"]
    following = log(records, "--limit", "1000", "--before", last)
    assert first["entries"] + following["entries"] == whole["entries"]
    shown = calib("log", "--limit", "10", records=records).out
    assert shown.splitlines()[-1].startswith(f"{first['more']} more before entry {last}: --before {last} shows them")


def test_of_an_instrument_all_that_names_it_is_shown(records):
    # VA-2 was calibrated against RS-1 with five comparisons, took one reading, and was suspended.
    counts = of_tables(records, "--instrument", "VA-2")
    assert counts == {
        "instrument": 1, "calibration": 1, "comparison": 5, "correction_curve": 1, "reference_standard": 1, "acceptance": 1,
        "reading": 1, "event": 1,
    }  # fmt: skip


def test_a_reading_that_was_taken_back_is_of_its_job(records):
    from calib.records.tables.entries import Retraction

    with database.writing(str(records)) as session:
        row = Retraction(record_table="reading", record_id=1, reason="of another outlet")
        append(session, [row], signed(NOW + 3 * DAY))
    assert told(records, "--job", "J-1")[-1] == ("retraction", 1)
    assert told(records, "--instrument", "VA-1")[-1] == ("retraction", 1)
    assert ("retraction", 1) not in told(records, "--instrument", "PG-1")


def test_of_a_job_its_outlets_and_readings_are_shown(records):
    assert of_tables(records, "--job", "J-1") == {"job": 1, "outlet": 4, "reading": 4}
    assert told(records, "--job", "J-2") == [("job", 2)]


def test_of_a_person_what_that_one_recorded(records):
    assert told(records, "--person", "B. Person") == [("event", 1), ("job", 2)]
    assert calib("log", "--person", "N. Body", records=records).out == "nothing of it was recorded\n"


def test_of_a_day_what_was_recorded_on_it(records):
    assert told(records, "--on", "2026-03-07") == [("event", 1)]
    assert told(records, "--since", "2026-03-07") == [("event", 1), ("job", 2)]
    assert set(dict(told(records, "--until", "2026-03-06", "--limit", "1000"))) >= {"instrument", "reading"}
    assert ("event", 1) not in told(records, "--until", "2026-03-06", "--limit", "1000")
    assert told(records, "--on", "2026-03-07", "--instrument", "VA-1") == []


def test_a_day_is_that_of_the_zone_in_which_it_was_recorded(records):
    suspended(records, "PG-1", datetime.fromisoformat("2026-03-09T00:30+13:00"))  # on the 8th in UTC
    assert told(records, "--on", "2026-03-09") == [("event", 2)]
    assert told(records, "--on", "2026-03-08") == [("job", 2)]


def test_days_are_found_on_both_sides_of_a_step_of_the_clock(records):
    suspended(records, "PG-1", NOW + 400 * DAY)
    with database.writing(str(records)) as session:
        append(session, [ClockStep(reason="a year ahead")], signed(NOW + 3 * DAY))
    suspended(records, "RS-1", NOW + 4 * DAY)
    assert told(records, "--since", "2026-03-09", "--until", "2026-03-12") == [("clock_step", 1), ("event", 3)]
    assert told(records, "--since", "2027-01-01") == [("event", 2)]
    assert told(records, "--on", "2026-03-07") == [("event", 1)]


def test_entries_from_before_versions_were_kept_are_found_by_their_day_and_say_so(empty_records, monkeypatch):
    with monkeypatch.context() as older:
        older.setattr(ledger, "__version__", None)
        with database.writing(str(empty_records)) as session:
            append(session, [ClockStep(reason="first")], signed(NOW))
            append(session, [ClockStep(reason="second")], signed(NOW - 10 * DAY))
    with database.writing(str(empty_records)) as session:
        append(session, [ClockStep(reason="third")], signed(NOW + DAY))
    assert told(empty_records, "--on", "2026-02-24") == [("clock_step", 2)]
    assert told(empty_records, "--on", "2026-03-07") == [("clock_step", 3)]
    assert "version not kept" in calib("log", records=empty_records).out


@pytest.mark.parametrize("width", [60, 100])
def test_the_text_fits_the_terminal_and_puts_what_was_written_together_in_one_paragraph(records, width):
    with as_wide_as(width):
        lines = fitted(text(log(records, "--limit", "1000"))).splitlines()
    assert max(map(len, lines)) <= width
    assert lines[0].startswith("2026-03-08T09:00:00+00:00  B. Person: job add")
    told = " ".join(" ".join(lines).split())
    assert f"job 2 of J-2 (entry {log(records)['entries'][0]['sequence']})" in told
    assert (
        f"A. Person: import (calib {__version__}) instrument 1 to 4 of VA-1, VA-2, RS-1, PG-1 (entries 1 to 4)" in told
    )


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--instrument", "VA-9"), "no instrument 'VA-9' in the records"),
        (("--job", "J-9"), "no job 'J-9' in the records"),
        (("--on", "yesterday"), "--on: 'yesterday'"),
        (
            ("--since", "2026-03-07", "--until", "2026-03-06"),
            "--until: '2026-03-06'; expected a day not before 2026-03-07",
        ),
        (("--on", "2026-03-07", "--until", "2026-03-08"), "--on: '2026-03-07'"),
    ],
)
def test_what_cannot_be_asked_for_is_one_line(records, words, expected):
    ran = calib("log", *words, records=records)
    assert (ran.status, ran.out, len(ran.err.splitlines())) == (2, "", 1)
    assert expected in ran.err


def test_of_an_act_what_was_recorded_by_it_whatever_capitals_are_typed(records):
    assert told(records, "--action", "JOB") == [("job", 2)]
    assert told(records, "--action", "%") == []  # a sign, and no pattern


def test_of_a_kind_of_record_its_entries_alone(records):
    assert told(records, "--kind", "event") == [("event", 1)]
    assert of_tables(records, "--kind", "correction curve", "--limit", "1000") == {"correction_curve": 4}
    assert told(records, "--kind", "job", "--instrument", "VA-1") == []


def test_a_kind_of_record_that_there_is_none_of_is_told_with_those_there_are(records):
    refused = calib("log", "--kind", "elephant", records=records)
    assert (refused.status, "correction curve" in refused.err) == (2, True)
