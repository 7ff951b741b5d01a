"""A backup is made while others write, is read back before it counts, and can be worked on. Source: common practice, no source."""

import shutil
import sqlite3
import subprocess
import sys
import textwrap
from contextlib import closing
from pathlib import Path

import pytest
from sqlmodel import select

from calib.errors import RecordsError
from calib.records import database, ledger
from calib.records.backup import back_up
from calib.records.tables.evidence import EVERY_TABLE
from calib.records.tables.jobs import Job
from calib.records.tables.ledger import LedgerEntry
from tests.command import calib
from tests.folders import NOW, flows_of, ledger_head

ROOT = Path(__file__).parents[2]
SIGNED = ledger.Signature("A. Person", NOW, "test")
TABLES = [str(table.__tablename__) for table in EVERY_TABLE]


@pytest.fixture
def small_file(_small, tmp_path):
    """The small job of tests.folders in a file."""
    return shutil.copyfile(_small, tmp_path / "small.sqlite")


def rows_of(path):
    """Every row of every table."""
    with closing(sqlite3.connect(path)) as file:
        return {table: file.execute(f"SELECT * FROM {table} ORDER BY 1").fetchall() for table in TABLES}  # noqa: S608


def findings(path):
    with database.reading(str(path)) as session:
        return ledger.verify(session.connection())


def test_a_backup_holds_every_row_and_can_be_worked_on(small_records, tmp_path):
    """Of a file and of a server: the same rows, the same flows, the same head of the ledger."""
    target = tmp_path / "backup.sqlite"
    found = back_up(str(small_records), target)
    assert (found.entries, found.digest) == ledger_head(small_records) == ledger_head(target)
    assert found.findings == findings(target) == ()
    assert found.size == target.stat().st_size
    assert flows_of(target) == flows_of(small_records)
    with database.writing(str(target)) as session:
        ledger.append_entries(session, [Job(job="J-9", decision_rule="simple")], SIGNED)
    assert findings(target) == ()


def test_a_backup_of_a_file_has_the_rows_of_the_file(small_file, tmp_path):
    back_up(str(small_file), tmp_path / "backup.sqlite")
    assert rows_of(tmp_path / "backup.sqlite") == rows_of(small_file)


def test_nothing_else_is_left_beside_a_backup(small_file, tmp_path):
    folder = tmp_path / "kept"
    folder.mkdir()
    back_up(str(small_file), folder / "backup.sqlite")
    assert [one.name for one in folder.iterdir()] == ["backup.sqlite"]


def test_records_that_hold_nothing_have_a_backup_too(empty_records, tmp_path):
    assert back_up(str(empty_records), tmp_path / "backup.sqlite").entries == 0


def test_a_restored_backup_takes_the_place_of_the_records(small_file, tmp_path):
    before = rows_of(small_file)
    back_up(str(small_file), tmp_path / "backup.sqlite")
    small_file.write_bytes(b"lost")
    shutil.copyfile(tmp_path / "backup.sqlite", small_file)
    assert rows_of(small_file) == before
    assert calib("verify", records=small_file).status == 0


# Writes one job after the other until it is told to stop.
WRITER = textwrap.dedent("""
    import sys
    from pathlib import Path
    from calib.records import database, ledger
    from calib.records.tables.jobs import Job
    from tests.writers import NOW, PATIENCE

    database._WAIT_SECONDS = PATIENCE
    signed = ledger.Signature("W. Riter", NOW, "test")
    number = 0
    while not Path(sys.argv[2]).exists():
        number += 1
        with database.writing(sys.argv[1]) as session:
            ledger.append_entries(session, [Job(job=f"{sys.argv[3]}-{number}", decision_rule="simple")], signed)
        print(number, flush=True)
""")


def test_backups_are_whole_while_others_write(small_records, tmp_path):
    """Two writers without a pause; each backup is a state that the records were in, and no write is lost or held up."""
    stop = tmp_path / "stop"
    writers = [
        subprocess.Popen(
            [sys.executable, "-c", WRITER, str(small_records), str(stop), name],
            cwd=ROOT,
            stdout=subprocess.PIPE,
            text=True,
        )
        for name in "AB"
    ]
    try:
        for writer in writers:
            assert writer.stdout.readline().strip() == "1"
        made = [back_up(str(small_records), tmp_path / f"{number}.sqlite") for number in range(4)]
    finally:
        stop.touch()
        said = [writer.communicate()[0] for writer in writers]
    assert all(writer.returncode == 0 for writer in writers)
    chain = dict(entries_of(small_records))
    assert [one.digest for one in made] == [chain[one.entries] for one in made]
    assert len({one.entries for one in made}) > 1
    assert all(one.findings == findings(one.path) == () for one in made)
    assert findings(small_records) == ()
    last = [max(1, *map(int, text.split() or [1])) for text in said]
    with database.reading(str(small_records)) as session:
        jobs = {one.job for one in session.exec(select(Job))}
    assert {
        f"{name}-{number}" for name, count in zip("AB", last, strict=True) for number in range(1, count + 1)
    } <= jobs


def entries_of(records):
    with database.reading(str(records)) as session:
        return [(one.sequence, one.digest) for one in session.exec(select(LedgerEntry))]


def test_a_file_that_is_there_is_not_overwritten(small_file, tmp_path):
    target = tmp_path / "backup.sqlite"
    target.write_text("another's", encoding="utf-8")
    ran = calib("backup", target, records=small_file)
    assert ran.status == 2
    assert "is there already: name another file, a backup overwrites none" in ran.err
    assert target.read_text(encoding="utf-8") == "another's"


@pytest.mark.parametrize("ending", ["-wal", "-shm", "-journal"])
def test_a_name_that_sqlite_keeps_for_its_log_is_refused(small_file, tmp_path, ending):
    """The next command on the records would take the backup for their log, and throw it away."""
    target = tmp_path / f"{small_file.name}{ending}"
    with pytest.raises(RecordsError, match="SQLite takes a file of such a name for its own log: name another file"):
        back_up(str(small_file), target)
    with pytest.raises(RecordsError, match="SQLite takes a file of such a name for its own log: name another file"):
        database.make(str(target))
    assert not target.exists()


def test_a_backup_into_a_missing_folder_is_refused(small_file, tmp_path):
    ran = calib("backup", tmp_path / "nowhere" / "backup.sqlite", records=small_file)
    assert ran.status == 2
    assert "the folder" in ran.err
    assert "make it first" in ran.err


def test_a_name_that_is_too_long_is_refused_in_one_line(small_file, tmp_path):
    ran = calib("backup", tmp_path / ("x" * 300), records=small_file)
    assert ran.status == 2
    assert len(ran.err.strip().splitlines()) == 1


def test_missing_records_have_no_backup(tmp_path):
    ran = calib("backup", tmp_path / "backup.sqlite", records=tmp_path / "none.sqlite")
    assert ran.status == 2
    assert "no records at" in ran.err
    assert list(tmp_path.iterdir()) == []


def test_a_damaged_file_has_no_backup(small_file, tmp_path):
    content = bytearray(small_file.read_bytes())
    for start in range(40960, len(content), 4096):
        content[start : start + 64] = b"\x07" * 64
    small_file.write_bytes(content)
    ran = calib("backup", tmp_path / "backup.sqlite", records=small_file)
    assert ran.status == 2
    assert not (tmp_path / "backup.sqlite").exists()
    assert not list(tmp_path.glob(".calib-*"))


def test_tampered_records_are_copied_and_the_finding_is_told(small_file, tmp_path):
    with closing(sqlite3.connect(small_file)) as file, file:
        file.execute("INSERT INTO job (job, decision_rule) VALUES ('J-2', 'simple')")
    ran = calib("backup", tmp_path / "backup.sqlite", "--json", records=small_file)
    assert ran.status == 1
    assert ran.document["findings"] == [{"record": "job 2", "problem": "is in the records without a ledger entry"}]
    assert (tmp_path / "backup.sqlite").exists()


def test_a_disk_without_room_leaves_no_half_backup(small_file, tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr("calib.records.backup.put_new", full)
    with pytest.raises(RecordsError, match="No space left on device; no backup was made"):
        back_up(str(small_file), tmp_path / "backup.sqlite")
    assert {one.name for one in tmp_path.iterdir()} <= {
        small_file.name,
        f"{small_file.name}-wal",
        f"{small_file.name}-shm",
    }


def test_a_killed_backup_leaves_no_file_of_the_wanted_name_and_is_no_hindrance(small_file, tmp_path):
    """Killed while the copy is read back: nothing that could be taken for a backup; the next run takes away what is left."""
    script = (
        "import sys, time; from pathlib import Path; from calib.records import backup\n"
        "backup._read_back = lambda *_: (print('there', flush=True), time.sleep(60))\n"
        "backup.back_up(sys.argv[1], Path(sys.argv[2]))"
    )
    target = tmp_path / "backup.sqlite"
    with subprocess.Popen(
        [sys.executable, "-c", script, str(small_file), str(target)], cwd=ROOT, stdout=subprocess.PIPE, text=True
    ) as killed:
        assert killed.stdout.readline().strip() == "there"
        killed.kill()
    assert not target.exists()
    [left] = tmp_path.glob(".calib-*")
    assert (left / target.name).exists()
    assert back_up(str(small_file), target).findings == ()
    assert not left.exists()


def test_long_work_is_told_of(small_file, tmp_path, monkeypatch):
    monkeypatch.setattr("calib.records.backup._PAGES", 10)
    said = []
    back_up(str(small_file), tmp_path / "backup.sqlite", said.append)
    assert said[0].startswith("copied 0 of ")
    assert said[-1] == "reading the copy back"
    assert len(said) > 3


def test_a_backup_says_what_it_holds(small_file, tmp_path):
    sequence, digest = ledger_head(small_file)
    ran = calib("backup", tmp_path / "backup.sqlite", records=small_file)
    assert ran.status == 0
    assert f"read back: {sequence} ledger entries, 0 finding(s), digest {digest}" in ran.out
