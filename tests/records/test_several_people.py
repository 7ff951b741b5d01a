"""Several people who write at once, on a file and on a server: no entry is lost, the chain does not fork, nobody is left waiting.

Common practice, no source; that an advisory lock ends with its transaction is PostgreSQL's own documentation (13.3.5).
"""

import os
import sqlite3
import subprocess
import sys
import threading
from concurrent.futures import ThreadPoolExecutor
from contextlib import closing
from pathlib import Path

import pytest
from sqlalchemy import text
from sqlmodel import select

from calib.errors import RecordsError
from calib.records import database, ledger
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.methods import Method
from tests import postgres
from tests.command import calib
from tests.conftest import SERVER
from tests.folders import SIGNED, all_of, changed, imported, ledger_head, write
from tests.writers import PATIENCE, method, write_methods

ROOT = Path(__file__).parents[2]
WRITERS, EACH = 8, 12
WRITTEN = sum(1 + number % 3 for number in range(EACH))


def in_processes(location, count):
    """Each writer in a process of its own."""
    words = [sys.executable, "-m", "tests.writers", "--at-once", location, str(EACH), str(count)]
    ran = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr


def in_threads(location, count):
    """Each writer in a thread of its own."""
    names = [f"writer {number}" for number in range(count)]
    with ThreadPoolExecutor(count) as executor:
        list(executor.map(lambda name: write_methods(location, name, EACH), names))


def findings(records):
    with database.reading(str(records)) as session:
        return ledger.verify(session.connection())


@pytest.mark.parametrize(
    "how",
    [
        pytest.param(
            in_processes, marks=pytest.mark.skipif(os.name != "posix", reason="processes are forked as Unix does")
        ),
        in_threads,
    ],
)
def test_eight_writers_at_once_lose_no_entry_and_do_not_fork_the_chain(empty_records, how):
    how(str(empty_records), WRITERS)
    with database.reading(str(empty_records)) as session:
        entries = all_of_ledger(session)
        assert len({one.method for one in all_of(session, Method)}) == WRITERS * WRITTEN
    assert [one.sequence for one in entries] == list(range(1, WRITERS * WRITTEN + 1))
    assert [one.previous for one in entries] == [ledger.BEFORE_THE_FIRST, *(one.digest for one in entries[:-1])]
    assert findings(empty_records) == ()


def all_of_ledger(session):
    return list(session.exec(select(LedgerEntry).order_by(LedgerEntry.sequence)))


def test_what_one_transaction_writes_stands_together_in_the_chain(empty_records):
    in_threads(str(empty_records), 4)
    with database.reading(str(empty_records)) as session:
        order = {(one.record_table, one.record_id): one.sequence for one in all_of_ledger(session)}
        numbers = {one.method: order["method", one.id] for one in all_of(session, Method)}
    for writer in [f"writer {number}" for number in range(4)]:
        assert numbers[f"{writer}-2-2"] - numbers[f"{writer}-2-0"] == 2


def test_several_imports_at_once_are_each_written_whole(empty_records, tmp_path):
    """One register first; then four jobs of one company come in at the same time."""
    imported(empty_records, write(tmp_path / "register", changed()))
    folders = [write(tmp_path / f"in-{number}", job_named(f"K-{number}")) for number in range(4)]
    with ThreadPoolExecutor(4) as executor:
        counted = [one.records for one in executor.map(lambda folder: imported(empty_records, folder), folders)]
    assert counted == [counted[0]] * 4
    assert counted[0]["reading"] == 4
    assert findings(empty_records) == ()


def job_named(name):
    """The sheets of the small job with another name, without the register."""
    sheets = {file: rows for file, rows in changed().items() if file in ("jobs.csv", "outlets.csv", "readings.csv")}
    for rows in sheets.values():
        for row in rows:
            row["job"] = name
    return sheets


def test_of_two_who_import_the_same_one_writes_it_and_finds_nothing_new_with_the_other(empty_records, tmp_path):
    folder = write(tmp_path / "in", changed())

    def attempt(_):
        try:
            return imported(empty_records, folder).records.get("reading", 0)
        except Exception as error:  # noqa: BLE001 (which one it is, is asked below)
            return type(error).__name__

    with ThreadPoolExecutor(2) as executor:
        assert sorted(executor.map(attempt, range(2)), key=str) == [0, 4]
    assert findings(empty_records) == ()


def test_a_reader_sees_one_state_while_another_writes(empty_records):
    with database.reading(str(empty_records)) as session:
        assert ledger.ledger_head(session)[0] == 0
        with database.writing(str(empty_records)) as other:
            ledger.append_entries(other, [method("a")], SIGNED)
        assert ledger.ledger_head(session)[0] == 0
    assert ledger_head(empty_records)[0] == 1


def test_readers_do_not_wait_for_a_writer(small_records, monkeypatch):
    monkeypatch.setattr(database, "_WAIT_SECONDS", 0.2)
    with database.writing(str(small_records)) as session:
        ledger.append_entries(session, [method("a")], SIGNED)
        assert calib("reading", "list", "J-1", records=small_records).status == 0
        assert calib("verify", records=small_records).status == 0


def test_whoever_waits_longer_than_the_limit_is_told_in_one_line(small_records, monkeypatch):
    monkeypatch.setattr(database, "_WAIT_SECONDS", 0.3)
    before = ledger_head(small_records)
    with database.writing(str(small_records)) as session:
        ledger.append_entries(session, [method("a")], SIGNED)
        ran = calib("method", "add", "b", "--uncertainty", "1", "--basis", "test", records=small_records)
    assert (ran.status, ran.out, ran.err.count("\n")) == (2, "", 1)
    assert "in use by another writer for longer than 0.3 s" in ran.err
    assert "nothing was written" in ran.err
    assert ledger_head(small_records)[0] == before[0] + 1


def test_whoever_waits_less_than_the_limit_writes_after_the_other(empty_records):
    """The second reads the head that the first left: its entry continues the first's."""
    entered, order = threading.Event(), []

    def first():
        with database.writing(str(empty_records)) as session:
            assert ledger.ledger_head(session)[0] == 0
            entered.set()
            threading.Event().wait(0.3)
            ledger.append_entries(session, [method("first")], SIGNED)
            order.append("first")

    def second():
        assert entered.wait(PATIENCE)
        with database.writing(str(empty_records)) as session:
            assert ledger.ledger_head(session)[0] == 1
            order.append("second")
            ledger.append_entries(session, [method("second")], SIGNED)

    with ThreadPoolExecutor(2) as executor:
        for one in [executor.submit(first), executor.submit(second)]:
            one.result(PATIENCE)
    assert order == ["first", "second"]
    assert findings(empty_records) == ()


def test_a_chain_cannot_fork_even_past_the_lock(small_records, backend, postgres_server_or_none):
    """Somebody with another program continues an entry that was continued already: the database itself refuses."""
    statement = (
        "INSERT INTO ledger SELECT 999, time, person, action, record_table, 99, record_digest, previous, 'other', version "
        "FROM ledger WHERE sequence = 2"
    )
    if backend == SERVER:  # its guard is asked first, and then the key as everywhere
        with pytest.raises(Exception, match="ledger: entry 999 does not follow entry 45"):
            past_the_program(small_records, backend, postgres_server_or_none, statement)
        statement = f"ALTER TABLE ledger DISABLE TRIGGER ledger_goes_on; {statement}"
    with pytest.raises(Exception, match=r"UNIQUE constraint failed: ledger\.previous|ledger_previous_key"):
        past_the_program(small_records, backend, postgres_server_or_none, statement)
    assert findings(small_records) == ()


@pytest.fixture
def postgres_server_or_none(backend, request):
    return request.getfixturevalue("postgres_server") if backend == SERVER else None


def past_the_program(records, backend, server, statement):
    if backend == SERVER:
        server.sql(postgres.database_of(records), statement)
        return
    with closing(sqlite3.connect(records)) as file, file:
        file.execute(statement)


def test_a_block_that_raises_writes_nothing_and_lets_the_next_in(empty_records):
    def append_and_stop(session):
        ledger.append_entries(session, [Job(job="J-9", decision_rule="simple")], SIGNED)
        raise ZeroDivisionError

    with pytest.raises(ZeroDivisionError), database.writing(str(empty_records)) as session:
        append_and_stop(session)
    assert ledger_head(empty_records)[0] == 0
    with database.writing(str(empty_records)) as session:
        ledger.append_entries(session, [Job(job="J-9", decision_rule="simple")], SIGNED)
    assert ledger_head(empty_records)[0] == 1


def test_two_who_would_wait_for_each_other_are_told_and_not_left_waiting(small_there, postgres_server):
    """With another program in between, which takes no lock of ours: a deadlock that the server ends is one line."""
    engine = database.open_records(small_there)
    other = postgres_server.connection(postgres.database_of(small_there))
    other.autocommit = False
    other.execute("LOCK TABLE method IN ACCESS EXCLUSIVE MODE")
    with ThreadPoolExecutor(1) as executor, closing(other):

        def ours():
            with database.writing(small_there) as session:
                session.execute(text("SELECT count(*) FROM job"))
                session.execute(text("LOCK TABLE job IN SHARE ROW EXCLUSIVE MODE"))
                locked.set()
                ledger.append_entries(session, [method("a")], SIGNED)

        locked = threading.Event()
        answer = executor.submit(ours)
        assert locked.wait(PATIENCE)
        try:
            other.execute("LOCK TABLE job IN ACCESS EXCLUSIVE MODE")
        except Exception:  # noqa: BLE001 (the server chooses which of the two has to give way)
            other.rollback()
            answer.result(PATIENCE)
        else:
            other.rollback()
            with pytest.raises(
                RecordsError, match="another transaction came in between: run it again; nothing was written"
            ):
                answer.result(PATIENCE)
    engine.dispose()
    assert findings(small_there) == ()
