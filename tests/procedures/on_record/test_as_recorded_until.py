"""The records as they were at a place in the ledger: what each act left is asked for at once, and again when all acts are done."""

from itertools import pairwise

import pytest
from sqlmodel import select

from calib.procedures.impact.trace import trace_up
from calib.procedures.on_record.as_recorded_until import as_recorded_until
from calib.procedures.on_record.register import load_register
from calib.procedures.on_record.what_counts import not_retracted, not_withdrawn
from calib.records import database, ledger
from calib.records.record import key
from calib.records.tables.calibrations import Calibration
from calib.records.tables.events import Event
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.readings import Reading
from tests.command import done
from tests.folders import NOW

BY = ("--reason", "as it was found", "--by", "A. Person")
ACTS = (
    ("instrument", "suspend", "RS-1", "--at", "2026-02-01T08:00+01:00", *BY),
    ("event", "withdraw", "RS-1", "1", *BY),
    ("reading", "withdraw", "J-1", "2", *BY),
    ("calibration", "withdraw", "VA-2", "C-102", *BY),
    ("instrument", "amend", "VA-1", "--set", "interval_months=24", "--always-wrong", *BY),
)


def state(session):
    """What the gate, a chain and lists read."""
    return (
        load_register(session),
        trace_up(session, ("job", "J-1"), NOW.date()).gaps,
        sorted(session.exec(select(Reading.id).where(not_retracted(Reading)))),
        sorted(session.exec(select(Calibration.id).where(not_withdrawn()))),
        [each.kind for each in session.exec(select(Event).where(not_retracted(Event)).order_by(Event.id))],
    )


@pytest.fixture
def states(small_records):
    """Places in the ledger, with the state there."""
    seen = []
    for act in ((), *ACTS):
        if act:
            done(small_records, *act)
        with database.reading(str(small_records)) as session:
            seen.append((ledger.ledger_head(session)[0], state(session)))
    return seen


def test_each_state_is_read_again_when_later_acts_are_recorded(small_records, states):
    assert all(before != after for (_, before), (_, after) in pairwise(states))  # every act changes what is read
    with database.reading(str(small_records)) as session:
        for place, before in states:
            with as_recorded_until(session, place):
                assert state(session) == before
        assert state(session) == states[-1][1]


def test_before_the_first_entry_there_is_nothing(small_records):
    with database.reading(str(small_records)) as session, as_recorded_until(session, 0):
        assert (load_register(session), session.exec(select(Reading)).all()) == ({}, [])


def test_every_record_has_its_own_place(small_records):
    with database.reading(str(small_records)) as session:
        entries = session.exec(select(LedgerEntry).where(LedgerEntry.record_table == "reading")).all()
        for entry in entries:
            with as_recorded_until(session, key(entry.sequence)):
                assert entry.record_id in session.exec(select(Reading.id)).all()
            with as_recorded_until(session, key(entry.sequence) - 1):
                assert entry.record_id not in session.exec(select(Reading.id)).all()
        assert len(entries) == 4
