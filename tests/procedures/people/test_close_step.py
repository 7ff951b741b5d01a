"""No time of the ledger runs back, and a clock that had been ahead is closed with a reason.

Source: `calib help records` and `calib help people`, which keep the contract; that clocks of machines differ by up to a minute is
common practice, no source.
"""

import shutil
from datetime import timedelta

import pytest
from sqlmodel import select

from calib import __version__
from calib.errors import BadInputError, RecordsError
from calib.procedures.people.authorise import append
from calib.procedures.people.close_step import close_step
from calib.procedures.people.house_rules import set_rule
from calib.procedures.people.persons_and_roles import ChangeWanted, PersonWanted, add_person, change_role
from calib.procedures.verify.whole_state import verify_state
from calib.records import database, ledger
from calib.records.tables.custody import ClockStep
from calib.records.tables.events import Event
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry
from tests.command import calib
from tests.folders import NOW, all_of
from tests.postgres import OWNER

MINUTE = timedelta(minutes=1)
YEAR = timedelta(days=365)


@pytest.fixture(autouse=True)
def _of_a_minute(monkeypatch):
    """Elsewhere tests write at any time."""
    monkeypatch.setattr(ledger, "_BACK_AT_MOST", MINUTE)


@pytest.fixture
def small_file(_small, tmp_path):
    """The small job in a file: what is asked here is the same on a server."""
    return shutil.copyfile(_small, tmp_path / "small.sqlite")


def at(time, who="Quinn"):
    return ledger.Signature(who, time, "test")


def job(records, name, time):
    with database.writing(str(records)) as session:
        append(session, [Job(job=name, decision_rule="simple")], at(time))


def stepped(records, time, reason="the laptop was a year ahead", who="Quinn"):
    with database.writing(str(records)) as session:
        return close_step(session, reason, at(time, who))


def verified(records):
    """Findings and remarks of the ledger's entries, by record."""
    with database.reading(str(records)) as session:
        state = verify_state(session)
    return [
        {each.record: each.problem for each in told if each.record.startswith("ledger")}
        for told in (state.findings, state.remarks)
    ]


def entries(records):
    with database.reading(str(records)) as session:
        return list(
            session.execute(select(LedgerEntry.record_table, LedgerEntry.version).order_by(LedgerEntry.sequence))
        )


def test_each_entry_names_the_version_that_wrote_it_and_verifies(empty_records):
    job(empty_records, "J-1", NOW)
    assert entries(empty_records) == [("job", __version__)]
    assert verified(empty_records) == [{}, {}]


def test_clocks_may_differ_by_a_minute_and_a_time_before_that_is_refused(empty_records):
    job(empty_records, "J-1", NOW)
    job(empty_records, "J-2", NOW - MINUTE)
    with pytest.raises(RecordsError) as refused:
        job(empty_records, "J-3", NOW - 2 * MINUTE - timedelta(seconds=1))
    assert "clock set back: this machine's clock says 2026-03-06T08:57:59+00:00" in str(refused.value)
    assert "ledger entry 2 is of 2026-03-06T08:59:00+00:00; nothing was written" in str(refused.value)
    assert len(entries(empty_records)) == 2
    assert verified(empty_records) == [{}, {}]


def test_after_a_step_was_closed_times_go_on_from_there_and_verify_says_nothing_of_it(empty_records):
    job(empty_records, "J-1", NOW + YEAR)
    with pytest.raises(RecordsError):
        job(empty_records, "J-2", NOW)
    ahead = stepped(empty_records, NOW)
    assert (ahead.sequence, ahead.time) == (1, "2027-03-06T09:00:00+00:00")
    job(empty_records, "J-2", NOW + MINUTE)
    assert [table for table, _ in entries(empty_records)] == ["job", "clock_step", "job"]
    assert verified(empty_records) == [{}, {}]


def test_who_was_qa_while_the_clock_was_ahead_closes_the_step_and_is_qa_from_there_on(empty_records):
    with database.writing(str(empty_records)) as session:
        login = OWNER if session.get_bind().dialect.name == "postgresql" else "quinn"
        add_person(session, PersonWanted("Quinn", login, ["QA", "technician"]), at(NOW + YEAR))
    stepped(empty_records, NOW)
    job(empty_records, "J-1", NOW + MINUTE)
    assert verified(empty_records) == [{}, {}]


def test_nobody_but_qa_closes_a_step(small_file):
    with database.writing(str(small_file)) as session:
        add_person(session, PersonWanted("Quinn", None, ["QA"]), at(NOW + YEAR))
        add_person(session, PersonWanted("Tom", None, ["technician"]), at(NOW + YEAR))
    with pytest.raises(BadInputError, match="a person who may close a step of the clock"):
        stepped(small_file, NOW, who="Tom")


def test_a_step_is_closed_where_there_is_one_and_with_a_reason(small_file):
    with pytest.raises(BadInputError) as refused:
        stepped(small_file, NOW, reason=" ")
    without_reason, without_step = refused.value.findings
    assert without_reason.column == "reason"
    assert without_step.expected.startswith(
        "a last entry that is ahead of this machine's clock (2026-03-06T09:00:00+00:00)"
    )
    with database.reading(str(small_file)) as session:
        assert all_of(session, ClockStep) == []


def test_the_command_line_says_how_a_step_is_closed_and_closes_it(small_file):
    job(small_file, "J-9", NOW + 100 * YEAR)
    ran = calib("instrument", "suspend", "VA-1", "--reason", "dropped", records=small_file)
    assert (ran.status, len(ran.err.splitlines())) == (2, 1)
    assert "clock set back" in ran.err
    assert "`calib ledger step --reason ...`" in ran.err
    assert calib("ledger", "step", "--reason", "a slip of the year", records=small_file).status == 0
    assert calib("instrument", "suspend", "VA-1", "--reason", "dropped", records=small_file).status == 0
    with database.reading(str(small_file)) as session:
        assert [event.kind for event in all_of(session, Event)][-1] == "suspension"


def test_a_time_that_runs_back_past_the_program_is_found_and_before_versions_were_kept_remarked(
    empty_records, monkeypatch
):
    with monkeypatch.context() as older:
        older.setattr(ledger, "__version__", None)
        job(empty_records, "J-1", NOW)
        job(empty_records, "J-2", NOW - YEAR)
    findings, remarks = verified(empty_records)
    assert findings == {}
    assert remarks == {
        "ledger entry 2": "is of 2025-03-06T09:00:00+00:00, before the entry before it (2026-03-06T09:00:00+00:00)"
    }
    job(empty_records, "J-3", NOW)
    with monkeypatch.context() as past_the_program:
        past_the_program.setattr(ledger, "runs_back", lambda *_: False)
        job(empty_records, "J-4", NOW - YEAR)
        past_the_program.setattr(ledger, "__version__", None)
        job(empty_records, "J-5", NOW - YEAR)
    findings, remarks = verified(empty_records)
    assert list(remarks) == ["ledger entry 2"]
    assert findings == {
        "ledger entry 4": "is of 2025-03-06T09:00:00+00:00, before the entry before it (2026-03-06T09:00:00+00:00)",
        "ledger entry 5": "names no version of the program, and the entry before it does",
    }


def test_a_qa_whose_role_was_withdrawn_does_not_act_again_with_the_clock_a_day_earlier(empty_records):
    with database.writing(str(empty_records)) as session:
        login = OWNER if session.get_bind().dialect.name == "postgresql" else "quinn"
        add_person(session, PersonWanted("Quinn", login, ["QA"]), at(NOW))
        add_person(session, PersonWanted("Ada", None, ["QA"]), at(NOW))
    with database.writing(str(empty_records)) as session:
        change_role(session, ChangeWanted("Ada", "QA", "withdrawn", "left the company"), at(NOW + 2 * MINUTE * 60))
    for who in ("Ada", "Quinn"):
        with database.writing(str(empty_records)) as session, pytest.raises((BadInputError, RecordsError)):
            ruled(session, at(NOW + MINUTE, who))
    assert verified(empty_records) == [{}, {}]


def ruled(session, signature):
    set_rule(session, "one person may accept", "yes", "so", signature)
