"""A broken place of the ledger is closed by its owner and stays visible. Source: `calib help server`, which keeps the contract."""

import sqlite3
from contextlib import closing

import pytest

from calib.errors import BadInputError
from calib.procedures.people.close_ledger import close_ledger
from calib.procedures.people.persons_and_roles import PersonWanted, add_person
from calib.records import database, ledger
from calib.records.tables.custody import LedgerBreak
from tests.command import calib
from tests.conftest import FILE, SERVER
from tests.folders import NOW, all_of
from tests.postgres import OWNER, database_of

REASON = "a row was repaired by hand on 2 March, see the log of the machine"


def by(person):
    return ledger.Signature(person, NOW, "test")


@pytest.fixture
def broken(backend, small_records, request):
    """Records in which the person of entry 5 was changed behind the program's back; a QA is on record."""
    changed = "UPDATE ledger SET person = 'x' WHERE sequence = 5"
    with database.writing(str(small_records)) as session:
        add_person(session, PersonWanted("Quinn", "quinn" if backend == FILE else OWNER, ["QA"]), by("Quinn"))
    if backend == SERVER:
        server = request.getfixturevalue("postgres_server")
        for statement in ("DISABLE TRIGGER USER", None, *(f"ENABLE ALWAYS TRIGGER {one}" for one in GUARDS)):
            name = database_of(small_records)
            server.sql(name, changed if statement is None else f"ALTER TABLE ledger {statement}")
    else:
        with closing(sqlite3.connect(small_records)) as file:
            (guard,) = file.execute("SELECT sql FROM sqlite_master WHERE name = 'ledger_no_update'").fetchone()
            file.executescript(f"DROP TRIGGER ledger_no_update; {changed}; {guard}")
    return str(small_records)


GUARDS = ("ledger_no_update", "ledger_no_delete", "ledger_no_truncate", "ledger_goes_on")


def closed(records, sequence=5, reason=REASON, who="Quinn"):
    with database.writing(records) as session:
        close_ledger(session, sequence, reason, by(who))


def findings(records):
    with database.reading(records) as session:
        return [one.record for one in ledger.verify(session.connection())]


def test_a_break_is_closed_with_its_reason_and_the_digest_that_is_there(broken):
    assert findings(broken) == ["ledger entry 5"]
    closed(broken)
    with database.reading(broken) as session:
        (record,) = all_of(session, LedgerBreak)
        there = session.get(ledger.LedgerEntry, 5)
    assert (record.sequence, record.digest, record.reason) == (5, there.digest, REASON)
    assert there.person == "x"
    assert findings(broken) == ["ledger entry 5"]  # nothing is hidden


@pytest.mark.parametrize(
    ("sequence", "reason", "said"),
    [
        (6, REASON, "SEQUENCE: '6'; expected an entry of the ledger that does not verify: there is 5"),
        (5, " ", "expected what was found"),
    ],
)
def test_only_a_broken_entry_is_closed_and_with_a_reason(broken, sequence, reason, said):
    with pytest.raises(BadInputError, match=said):
        closed(broken, sequence, reason)


def test_a_break_is_closed_once(broken):
    closed(broken)
    with pytest.raises(BadInputError, match="a break that is not closed yet; this one is: a row was repaired"):
        closed(broken)


def test_a_whole_ledger_has_nothing_to_close(small_records):
    with pytest.raises(BadInputError, match="there is none"):
        closed(str(small_records))


def test_by_command_it_is_a_qa_s_act(small_records):
    for name, role in (("Quinn", "QA"), ("Tom", "technician")):
        assert calib("person", "add", name, "--role", role, "--by", "Quinn", *(
            ("--login", OWNER) if name == "Quinn" else ()
        ), records=small_records).status == 0  # fmt: skip
    refused = calib("ledger", "close", "5", "--reason", REASON, "--by", "Tom", records=small_records)
    assert (refused.status, refused.out, refused.err.count("\n")) == (2, "", 1)
    ran = calib("ledger", "close", "5", "--reason", REASON, "--by", "Quinn", records=small_records)
    assert (ran.status, "an entry of the ledger that does not verify: there is none" in ran.err) == (2, True)
