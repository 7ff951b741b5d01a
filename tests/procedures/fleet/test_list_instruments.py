"""Lists of the register: what fits a wish, in an order. Source: `calib help` (commands); common practice, no source."""

from datetime import date, datetime

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import BadInputError
from calib.procedures.fleet.list_instruments import SORTS, InstrumentWish, list_instruments, ordered, states_of
from calib.procedures.fleet.pair_instruments import change_pair
from calib.procedures.fleet.record_event import record_event
from calib.procedures.on_record.instruments import InstrumentStatus
from calib.procedures.on_record.probe_pairs import PAIRED
from calib.records import database
from calib.records.ledger import append_entries
from calib.records.tables.events import Event
from tests.folders import NOW, SIGNED


def tags(records, sort="tag", at=NOW, **wish):
    with database.reading(str(records)) as session:
        return [one.cells["tag"] for one in list_instruments(session, InstrumentWish(**wish), sort, at)]


def event(records, tag, kind):
    with database.writing(str(records)) as session:
        record_event(session, tag, kind, NOW, "why", SIGNED)


def test_without_a_wish_all_are_listed_by_tag(small_records):
    assert tags(small_records) == ["PG-1", "RS-1", "VA-1", "VA-2"]


@pytest.mark.parametrize(
    ("wish", "expected"),
    [
        ({"kind": "VAN"}, ["VA-1", "VA-2"]),
        ({"quantity": "pressure"}, ["PG-1"]),
        ({"location": "bench"}, ["RS-1"]),
        ({"location": "van", "kind": "gauge"}, ["PG-1"]),
        ({"text": "m2"}, ["VA-2"]),
        ({"text": "c-103"}, ["RS-1"]),
        ({"custodian": "anyone"}, []),
    ],
)
def test_wishes_are_met_together_without_regard_to_capitals(small_records, wish, expected):
    assert tags(small_records, **wish) == expected


def test_states_follow_the_gate(small_records):
    event(small_records, "VA-1", "suspension")
    event(small_records, "PG-1", "retirement")
    assert tags(small_records, state="refused") == ["VA-1"]
    assert tags(small_records, state="retired") == ["PG-1"]
    assert tags(small_records, state="usable") == ["RS-1", "VA-2"]


def test_what_comes_due_is_due_within_the_days_asked_about(small_records):
    # Due 2027-01-12 (VA-1), 2027-01-14 (RS-1), 2027-01-15 (PG-1), 2027-02-02 (VA-2).
    at = datetime.fromisoformat("2027-01-01T12:00+00:00")
    assert tags(small_records, "due", at, state="due", within_days=13) == ["VA-1", "RS-1"]
    assert tags(small_records, "due", at, state="due", within_days=32) == ["VA-1", "RS-1", "PG-1", "VA-2"]


def test_an_overdue_instrument_is_due_and_refused(small_records):
    at = datetime.fromisoformat("2027-01-13T12:00+00:00")
    assert "VA-1" in tags(small_records, at=at, state="due", within_days=0)
    assert "VA-1" in tags(small_records, at=at, state="refused")


@pytest.mark.parametrize(
    ("sort", "expected"),
    [
        ("due", ["VA-1", "RS-1", "PG-1", "VA-2"]),
        ("kind", ["PG-1", "RS-1", "VA-1", "VA-2"]),
        ("location", ["RS-1", "PG-1", "VA-1", "VA-2"]),
        ("certificate", ["VA-1", "VA-2", "RS-1", "PG-1"]),
        ("custodian", ["PG-1", "RS-1", "VA-1", "VA-2"]),  # none has one: by tag
    ],
)
def test_the_order_is_the_one_asked_for(small_records, sort, expected):
    assert tags(small_records, sort) == expected


@pytest.mark.parametrize(("call", "option"), [({"state": "lost"}, "state"), ({"sort": "colour"}, "sort")])
def test_a_word_that_is_none_is_told(small_records, call, option):
    with pytest.raises(BadInputError) as caught:
        tags(small_records, **call)
    assert [one.column for one in caught.value.findings] == [option]


def test_an_instrument_stands_where_it_was_last_moved_to(small_records):
    moves = [
        ("2026-03-01T09:00+00:00", "van 7"),
        ("2026-02-20T09:00+00:00", "van 6"),
        ("2026-03-08T09:00+00:00", "van 8"),
    ]
    with database.writing(str(small_records)) as session:
        events = [Event(instrument_id=1, kind="move", at=at, reason="why", value=value) for at, value in moves]
        append_entries(session, events, SIGNED)
    assert tags(small_records, location="van 7") == ["VA-1"]
    assert tags(small_records, location="van 1") == ["PG-1"]


def test_a_probe_and_its_meter_name_one_another(small_records):
    with database.writing(str(small_records)) as session:
        change_pair(session, ("VA-2", "PG-1"), PAIRED, NOW, "why", SIGNED)
    with database.reading(str(small_records)) as session:
        found = {one.cells["tag"]: one.paired_with for one in list_instruments(session, InstrumentWish(), "tag", NOW)}
    assert found == {"PG-1": ("VA-2",), "RS-1": (), "VA-1": (), "VA-2": ("PG-1",)}


def status(tag, due_on, reasons=(), retired=False):
    return InstrumentStatus(
        {"tag": tag, **dict.fromkeys(("kind", "quantity", "location"), tag)}, None, due_on, reasons, retired, ()
    )


@given(st.lists(st.tuples(st.text(min_size=1), st.none() | st.dates().map(str)), unique_by=lambda one: one[0]))
def test_what_has_no_due_date_stands_last_and_nothing_is_lost(drawn):
    found = ordered([status(tag, due) for tag, due in drawn], "due")
    dates = [one.due_on for one in found]
    known = [one for one in dates if one is not None]
    assert dates == sorted(known) + [None] * (len(dates) - len(known))
    assert sorted(one.cells["tag"] for one in found) == sorted(tag for tag, _ in drawn)


def test_a_retired_instrument_is_nothing_else():
    assert states_of(status("A", "2020-01-01", ("A: retired",), retired=True), date(2026, 1, 1), 60) == {"retired"}


def test_every_order_is_named_in_the_help():
    from tests.command import calib

    help_text = calib("instrument", "list", "--help").out
    assert [sort for sort in SORTS if sort not in help_text] == []
