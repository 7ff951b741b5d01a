"""Suspend, release, retire: each with reason and person, none of them undone. Source: ISO/IEC 17025:2017, 6.4.9 and 6.4.13 h."""

from dataclasses import replace
from datetime import datetime

import pytest

from calib.errors import BadInputError, NotInRecordsError
from calib.procedures.fleet.ready import ready
from calib.procedures.fleet.record_event import record_event
from calib.records import database
from calib.records.tables.events import Event
from calib.records.tables.ledger import LedgerEntry
from tests.folders import NOW, SIGNED, all_of, ledger_head


def at(typed):
    return datetime.fromisoformat(f"2026-{typed}+00:00")


def record(records, kind, when, reason="in a few words", tag="VA-1"):
    signed = replace(SIGNED, time=at(when)) if kind == "release" else SIGNED  # which holds from when it is recorded
    with database.writing(str(records)) as session:
        return record_event(session, tag, kind, at(when), reason, signed).record.model_dump()


def allowed(records, when):
    with database.reading(str(records)) as session:
        (answer,) = ready(session, ["VA-1"], at(when), NOW, None)
        return answer.decision.allowed


def refused(records, kind, when, reason="in a few words", tag="VA-1"):
    before = ledger_head(records)
    with pytest.raises(BadInputError) as caught:
        record(records, kind, when, reason, tag)
    assert ledger_head(records) == before
    (finding,) = caught.value.findings
    return finding


def test_an_event_is_kept_with_its_time_and_reason(small_records):
    record(small_records, "suspension", "03-05T08:00", "  dropped  ")
    with database.reading(str(small_records)) as session:
        (kept,) = all_of(session, Event)
        entry = session.get(LedgerEntry, ledger_head(small_records)[0])
    assert (kept.kind, kept.at, kept.reason) == ("suspension", "2026-03-05T08:00:00+00:00", "dropped")
    assert (entry.person, entry.record_table, entry.record_id) == ("A. Person", "event", 1)


def test_a_suspension_holds_until_the_release(small_records):
    record(small_records, "suspension", "03-03T08:00")
    record(small_records, "release", "03-04T08:00")
    days = ["03-03T07:59", "03-03T08:00", "03-04T07:59", "03-04T08:00"]
    assert [allowed(small_records, day) for day in days] == [True, False, False, True]


def test_an_instrument_may_be_suspended_again_after_its_release(small_records):
    for kind, when in (("suspension", "03-01T08:00"), ("release", "03-02T08:00"), ("suspension", "03-03T08:00")):
        record(small_records, kind, when)
    assert not allowed(small_records, "03-05T08:00")


def test_a_retired_instrument_stays_so(small_records):
    record(small_records, "retirement", "03-03T08:00")
    assert not allowed(small_records, "03-05T08:00")
    assert allowed(small_records, "03-02T08:00")
    for kind in ("suspension", "release", "retirement"):
        assert "this one is retired" in refused(small_records, kind, "03-04T08:00").expected


@pytest.mark.parametrize("reason", ["", " ", "\t\n"])
def test_a_reason_is_asked_for(small_records, reason):
    finding = refused(small_records, "suspension", "03-05T08:00", reason)
    assert (finding.column, finding.expected) == ("reason", "why, in a few words")


def test_a_time_to_come_is_refused(small_records):
    finding = refused(small_records, "suspension", "03-06T09:02")
    assert (finding.column, finding.value) == ("at", "2026-03-06T09:02:00+00:00")
    assert "not in the future" in finding.expected


def test_nothing_suspended_is_nothing_to_release(small_records):
    assert "not suspended at that time" in refused(small_records, "release", "03-05T08:00").expected


def test_a_release_before_the_suspension_is_refused(small_records):
    record(small_records, "suspension", "03-03T08:00")
    assert "not suspended at that time" in refused(small_records, "release", "03-02T08:00").expected


def test_a_second_suspension_is_refused(small_records):
    record(small_records, "suspension", "03-03T08:00")
    assert "not suspended already" in refused(small_records, "suspension", "03-04T08:00").expected


def test_a_suspension_may_be_recorded_late_for_an_earlier_time(small_records):
    record(small_records, "suspension", "02-01T08:00")
    assert not allowed(small_records, "02-10T08:00")


def test_an_unknown_tag_is_named(small_records):
    with pytest.raises(NotInRecordsError, match="no instrument 'VA-9'"):
        record(small_records, "suspension", "03-05T08:00", tag="VA-9")


def test_one_instrument_s_events_are_not_another_s(small_records):
    record(small_records, "suspension", "03-03T08:00", tag="VA-2")
    assert allowed(small_records, "03-05T08:00")
    assert "not suspended at that time" in refused(small_records, "release", "03-05T08:00").expected
