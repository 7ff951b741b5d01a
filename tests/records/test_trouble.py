"""A full disk, a file that may only be read, a lock, a file that is none, a lost connection: one line, and nothing half written.

Source: common practice, no source; the result codes are SQLite's own documentation, SQLSTATE 57P01 is PostgreSQL's (appendix A).
"""

import gc
import os
import shutil
import sqlite3
import subprocess
import sys
import textwrap
from contextlib import closing, contextmanager
from pathlib import Path

import pytest
from sqlalchemy import event
from sqlalchemy.engine import Engine

from calib.errors import RecordsError
from calib.records import database, ledger
from calib.records.tables.jobs import Job
from calib.records.tables.readings import Reading
from tests.capabilities import permissions_hold
from tests.command import Ran, calib
from tests.every_way import every_way
from tests.folders import all_of, ledger_head, small_job, write
from tests.postgres import database_of

ROOT = Path(__file__).parents[2]
READERS = [
    ("due", "--on", "2026-03-05"),
    ("verify",),
    ("reading", "list", "J-1"),
    ("ready", "VA-1"),
    ("instrument", "list"),
]
WRITER = ("instrument", "suspend", "VA-1", "--reason", "dropped")
posix = pytest.mark.skipif(os.name != "posix", reason="permissions as Unix has them")


def findings(location):
    with database.reading(str(location)) as session:
        return ledger.verify(session.connection())


def in_one_line(ran):
    """What a command said of trouble: one line on stderr, behind its progress, and exit status 2."""
    *before, said = ran.err.splitlines()
    assert (ran.status, ran.out, said.startswith("error: ")) == (2, "", True), ran
    assert not [line for line in before if line.startswith(("error: ", "Traceback"))], ran
    return said


# Read only


@contextmanager
def read_only(*paths):
    """Permissions by which nobody writes to these, not even root."""
    modes = {path: path.stat().st_mode for path in paths}
    for path in paths:
        path.chmod(0o555 if path.is_dir() else 0o444)
    try:
        with permissions_hold():
            yield
    finally:
        for path, mode in modes.items():
            path.chmod(mode)


@pytest.fixture
def shelf(tmp_path, _small):
    """The small job's records in a folder of their own."""
    folder = tmp_path / "shelf"
    folder.mkdir()
    return shutil.copyfile(_small, folder / "records.sqlite")


SHUT = {"file": lambda path: [path], "folder": lambda path: [path.parent], "both": lambda path: [path, path.parent]}


@posix
@pytest.mark.parametrize("shut", SHUT)
@pytest.mark.parametrize("journal", ["wal", "delete"])
def test_what_may_only_be_read_is_read(shelf, shut, journal):
    sql(shelf, f"PRAGMA journal_mode={journal}")
    before = shelf.read_bytes()
    expected = [calib(*words, records=shelf) for words in READERS]
    with read_only(*SHUT[shut](shelf)):
        assert [calib(*words, records=shelf) for words in READERS] == expected
    assert shelf.read_bytes() == before
    assert expected[1].status == 0


@posix
@pytest.mark.parametrize("shut", SHUT)
@pytest.mark.parametrize("journal", ["wal", "delete"])
def test_writing_to_what_may_only_be_read_says_so(shelf, shut, journal):
    sql(shelf, f"PRAGMA journal_mode={journal}")
    before = shelf.read_bytes()
    with read_only(*SHUT[shut](shelf)):
        said = in_one_line(calib(*WRITER, records=shelf))
    assert "may only be read" in said or "look at the permissions" in said
    assert "nothing was written" in said
    assert shelf.read_bytes() == before
    assert findings(shelf) == ()


@posix
def test_a_report_is_made_from_what_may_only_be_read(shelf, tmp_path):
    with read_only(shelf, shelf.parent):
        ran = calib("report", "J-1", "--format", "json", "--into", tmp_path / "out", records=shelf)
    assert ran.status == 0, ran.err
    assert [one.name for one in shelf.parent.iterdir()] == [shelf.name]


@posix
def test_making_records_in_a_folder_that_may_only_be_read_says_so(shelf):
    with read_only(shelf.parent):
        in_one_line(calib("init", records=shelf.parent / "new.sqlite"))
    assert [one.name for one in shelf.parent.iterdir()] == [shelf.name]


KEPT_ELSEWHERE = [
    ("backup", "{}/copy.sqlite"),
    ("export", "{}/all"),
    ("label", "VA-1", "--on", "2026-03-05", "--into", "{}/labels.html"),
    ("due", "--on", "2026-03-05", "--ics", "{}/due.ics"),
    ("init", "--from", "{}/records.sqlite", "--records", "{}/new.sqlite"),
]


@posix
@pytest.mark.parametrize("words", KEPT_ELSEWHERE, ids=lambda words: words[0])
def test_what_is_to_be_kept_in_a_folder_that_may_only_be_read_says_so(shelf, words):
    named = () if words[0] == "init" else ("--records", shelf)
    with read_only(shelf.parent):
        said = in_one_line(calib(*(word.format(shelf.parent) for word in words), *named))
    assert str(shelf.parent) in said
    assert [one.name for one in shelf.parent.iterdir()] == [shelf.name]


@posix
def test_newest_entries_that_stand_in_the_log_of_a_folder_that_may_only_be_read_are_not_overlooked(shelf):
    """A program that wrote and was killed leaves its log behind; without the shared memory beside it nobody can read on."""
    with closing(sqlite3.connect(shelf)) as file, file:
        file.execute("PRAGMA journal_mode=wal")
        file.execute("PRAGMA wal_autocheckpoint=0")
        file.execute("INSERT INTO job (job, decision_rule) VALUES ('J-9', 'simple')")
        file.commit()
        copy = shelf.parent / "copy"
        copy.mkdir()
        for name in (shelf.name, f"{shelf.name}-wal"):
            shutil.copyfile(shelf.parent / name, copy / name)
    with read_only(copy / shelf.name, copy / f"{shelf.name}-wal", copy):
        said = in_one_line(calib("due", records=copy / shelf.name))
    assert "its newest entries stand in records.sqlite-wal" in said


@posix
def test_a_file_that_changes_while_it_is_read_without_a_lock_is_said(shelf):

    def read_while_it_changes():
        with database.reading(str(shelf)) as session:
            assert ledger.ledger_head(session)[0] > 0
            os.utime(shelf, (1, 1))

    with (
        read_only(shelf, shelf.parent),
        pytest.raises(RecordsError, match="was written to while it was read: run it again"),
    ):
        read_while_it_changes()


@posix
def test_a_file_that_may_not_even_be_read_says_so(shelf):
    shelf.chmod(0)
    with permissions_hold():
        assert "look at the permissions" in in_one_line(calib("due", records=shelf))


# A full disk


def sql(path, statement):
    """What a statement gives, past the program."""
    with closing(sqlite3.connect(path)) as file, file:
        return file.execute(statement).fetchall()


@pytest.fixture
def no_room():
    """A function: files of SQLite grow by so many pages more and no further, as on a full disk (SQLITE_FULL)."""
    listening = []

    def allow(path, pages):
        limit = sql(path, "PRAGMA page_count")[0][0] + pages

        def connected(connection, _):
            if isinstance(connection, sqlite3.Connection):
                connection.execute(f"PRAGMA max_page_count={limit}")

        event.listen(Engine, "connect", connected)
        listening.append(connected)

    yield allow
    for one in listening:
        event.remove(Engine, "connect", one)


@pytest.mark.parametrize("pages", [0, 1, 2])
def test_an_import_onto_a_full_disk_writes_nothing_and_says_so(empty_file, tmp_path, no_room, pages):
    folder = write(tmp_path / "in", every_way())
    no_room(empty_file, pages)
    said = in_one_line(calib("import", folder, records=empty_file))
    assert "database or disk is full: make room and run it again; nothing was written" in said
    assert ledger_head(empty_file)[0] == 0
    assert findings(empty_file) == ()


@pytest.fixture
def empty_file(tmp_path, _empty):
    return shutil.copyfile(_empty, tmp_path / "records.sqlite")


# Runs a command that may make no file longer than a number of bytes.
LIMITED = textwrap.dedent("""
    import resource, sys
    from calib.faces.cli import main
    sys.dont_write_bytecode = True  # else what is compiled under the limit is cached cut short
    limit = int(sys.argv[1])
    resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
    main(sys.argv[2:])
""")


def limited(limit, *words):
    return subprocess.run(
        [sys.executable, "-c", LIMITED, str(limit), *map(str, words)],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )


@posix
@pytest.mark.parametrize("room", [0, 30_000, 100_000])
def test_an_import_that_the_system_lets_write_no_further_leaves_nothing_half_written(empty_file, tmp_path, room):
    """The system itself refuses a write in the midst of it: of the log, of one page, of some pages."""
    folder = write(tmp_path / "in", small_job())
    before = ledger_head(empty_file)
    ran = limited(room, "import", folder, "--records", empty_file)
    assert "nothing was written" in in_one_line(Ran(ran.returncode, ran.stdout, ran.stderr))
    assert ledger_head(empty_file) == before
    assert findings(empty_file) == ()
    assert calib("import", folder, records=empty_file).status == 0


@posix
def test_records_that_cannot_be_made_for_want_of_room_leave_no_file_behind(tmp_path):
    ran = limited(20_000, "init", "--records", tmp_path / "new.sqlite")
    assert (ran.returncode, ran.stderr.count("\n")) == (2, 1), ran.stderr
    assert list(tmp_path.iterdir()) == []


# A locked file


@pytest.mark.parametrize("how", ["IMMEDIATE", "EXCLUSIVE"])
def test_a_file_that_another_program_holds_is_waited_for_and_then_said(small_records_file, monkeypatch, how):
    monkeypatch.setattr(database, "_WAIT_SECONDS", 0.2)
    before = ledger_head(small_records_file)
    with closing(sqlite3.connect(small_records_file)) as other:
        other.execute(f"BEGIN {how}")
        said = in_one_line(calib(*WRITER, records=small_records_file))
    assert "in use by another writer for longer than 0.2 s" in said
    assert ledger_head(small_records_file) == before


def test_a_file_that_another_program_keeps_for_itself_cannot_be_read_either(small_records_file, monkeypatch):
    monkeypatch.setattr(database, "_WAIT_SECONDS", 0.2)
    sql(small_records_file, "PRAGMA journal_mode=delete")
    with closing(sqlite3.connect(small_records_file)) as other:
        other.execute("BEGIN EXCLUSIVE")
        for words in READERS:
            assert "in use by another writer" in in_one_line(calib(*words, records=small_records_file))


@pytest.fixture
def small_records_file(tmp_path, _small):
    return shutil.copyfile(_small, tmp_path / "small.sqlite")


# No records file


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"\0",
        b"tag,kind\n",
        b"dear diary, " * 500,
        b"SQLite format 3\0" + bytes(5000),
        os.urandom(9000),
        b"%PDF-1.7\n" * 999,
    ],
    ids=["nothing", "one byte", "a sheet", "notes", "a head", "noise", "a document"],
)
@pytest.mark.parametrize("words", [*READERS, WRITER, ("upgrade",)])
def test_a_file_that_is_no_records_file_is_said_and_let_be(tmp_path, content, words):
    path = tmp_path / "other.sqlite"
    path.write_bytes(content)
    in_one_line(calib(*words, records=path))
    assert path.read_bytes() == content
    assert [one.name for one in tmp_path.iterdir()] == [path.name]


@pytest.mark.parametrize("share", [0.02, 0.1, 0.3, 0.5, 0.7, 0.9, 0.99])
def test_a_file_that_was_cut_short_is_said_or_its_loss_is_found(small_records_file, share):
    """Never a traceback, never an answer of `verify` that all is well."""
    content = small_records_file.read_bytes()
    small_records_file.write_bytes(content[: int(share * len(content))])
    for words in READERS:
        ran = calib(*words, records=small_records_file)
        assert ran.status in (0, 1, 2, 3)
        assert ran.status != 2 or "nothing was written" in ran.err or "holds no calibration records" in ran.err
    assert calib("verify", records=small_records_file).status in (1, 2)
    in_one_line(calib(*WRITER, records=small_records_file))


@pytest.mark.parametrize("place", range(1, 12))
def test_a_page_that_was_overwritten_is_said_or_found(small_records_file, place):
    content = bytearray(small_records_file.read_bytes())
    start = place * len(content) // 12 // 4096 * 4096
    content[start : start + 4096] = os.urandom(4096)
    small_records_file.write_bytes(content)
    with closing(sqlite3.connect(small_records_file)) as file:
        try:
            sound = file.execute("PRAGMA integrity_check").fetchall() == [("ok",)]
        except sqlite3.DatabaseError:
            sound = False
    assert sound or calib("verify", records=small_records_file).status in (0, 1, 2)
    for words in READERS:
        assert calib(*words, records=small_records_file).status in (0, 1, 2, 3)


def test_text_that_is_no_text_is_said(small_records):
    ran = calib("instrument", "suspend", "VA-1", "--reason", os.fsdecode(b"dropp\xe9d"), records=small_records)
    assert "is no text in UTF-8; nothing was written" in in_one_line(ran)
    assert findings(small_records) == ()


# A lost connection


@contextmanager
def at_statement(number, act):
    """Do something just before a statement of a number is sent to a server."""
    seen = []

    def before(connection, _cursor, statement, *_):
        if connection.dialect.name == "postgresql":
            seen.append(statement)
            if len(seen) == number:
                act()

    event.listen(Engine, "before_cursor_execute", before)
    try:
        yield seen
    finally:
        event.remove(Engine, "before_cursor_execute", before)


@pytest.fixture
def cut_off(postgres_server):
    """A function: the server ends every connection to a database, as an administrator would."""
    ask = "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname = %s"
    return lambda location: postgres_server.sql("postgres", ask, database_of(location))


@pytest.mark.parametrize("number", [1, 2, 4, 6, 8, 12, 20, 30, 40])
def test_a_connection_lost_in_the_midst_of_an_import_writes_nothing_and_says_so(empty_there, tmp_path, cut_off, number):
    folder = write(tmp_path / "in", small_job())
    with at_statement(number, lambda: cut_off(empty_there)) as seen:
        said = in_one_line(calib("import", folder, records=empty_there))
    assert len(seen) >= number
    assert "the connection was lost" in said
    assert "nothing was written" in said
    assert ledger_head(empty_there)[0] == 0
    assert calib("import", folder, records=empty_there).status == 0
    assert findings(empty_there) == ()


@pytest.mark.parametrize("number", [1, 3, 5, 7])
def test_a_connection_lost_while_reading_is_one_line(small_there, cut_off, number):
    with at_statement(number, lambda: cut_off(small_there)) as seen:
        assert "the connection was lost" in in_one_line(calib("verify", records=small_there))
    assert len(seen) >= number


# The driver warns of a cursor that was open when its connection was lost: nobody can close it any more.
@pytest.mark.filterwarnings("ignore:.*was deleted while still open", "ignore::pytest.PytestUnraisableExceptionWarning")
@pytest.mark.parametrize(
    "words", [("backup", "copy.sqlite"), ("export", "all"), ("init", "--from")], ids=lambda words: words[0]
)
def test_a_connection_lost_while_records_are_copied_leaves_no_half_copy(
    small_there, tmp_path, monkeypatch, cut_off, words
):
    monkeypatch.chdir(tmp_path)
    named = ("--records", small_there) if words[0] != "init" else (small_there, "--records", "new.sqlite")
    with at_statement(6, lambda: cut_off(small_there)) as seen:
        assert "the connection was lost" in in_one_line(calib(*words, *named))
    assert len(seen) >= 6
    assert [one.name for one in tmp_path.iterdir() if not one.name.startswith("new.sqlite")] == []
    gc.collect()  # so that it is here that the driver warns


def test_a_connection_lost_while_it_is_confirmed_does_not_say_that_nothing_was_written(empty_there, postgres_server):
    """A trigger at the very end of the transaction ends its own connection: the answer to the commit never comes."""
    body = "$$ BEGIN PERFORM pg_terminate_backend(pg_backend_pid()); RETURN NULL; END $$"
    function = f"CREATE FUNCTION leave() RETURNS trigger LANGUAGE plpgsql AS {body}"
    at_its_end = "AFTER INSERT ON method DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION leave()"
    for statement in (function, f"CREATE CONSTRAINT TRIGGER leaves {at_its_end}"):
        postgres_server.sql(database_of(empty_there), statement)
    said = in_one_line(calib("method", "add", "m", "--uncertainty", "1", "--basis", "b", records=empty_there))
    assert "may have written all of it or nothing: look before you run it again" in said
    assert "nothing was written" not in said


def test_a_server_that_is_stopped_in_the_midst_of_an_import_writes_nothing(tmp_path):
    from tests import postgres

    folder = write(tmp_path / "in", small_job())
    with postgres.running() as server:
        location = server.url(server.new_database())
        database.make(location)
        with at_statement(15, server.stop):
            said = in_one_line(calib("import", folder, records=location))
        assert "the connection was lost" in said
        assert "onnect" in in_one_line(calib("due", records=location))
        server.start()
        assert ledger_head(location)[0] == 0
        assert calib("import", folder, records=location).status == 0
        assert findings(location) == ()


def test_an_import_that_one_breaks_off_writes_nothing(empty_records, tmp_path):
    """Ctrl-C in the midst of it, when some of it was sent: the command ends with its own status and says nothing more."""

    def interrupted(_connection, _cursor, statement, *_):
        if statement.startswith("INSERT INTO reading"):
            raise KeyboardInterrupt

    folder = write(tmp_path / "in", small_job())
    event.listen(Engine, "before_cursor_execute", interrupted)
    try:
        assert calib("import", folder, records=empty_records).status not in (0, 1, 2, 3)
    finally:
        event.remove(Engine, "before_cursor_execute", interrupted)
    with database.reading(str(empty_records)) as session:
        assert all_of(session, Job) == all_of(session, Reading) == []
        assert ledger.ledger_head(session)[0] == 0
