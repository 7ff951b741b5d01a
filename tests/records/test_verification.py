"""A long ledger is read in stretches, by several processes: what they find is what one process finds.

Changes are made as in tests/records/test_ledger.py: behind the program's back, past the guards.
"""

import shutil
import sqlite3
import tracemalloc
from contextlib import closing

import pytest

from calib.records import database, ledger, stretches, verification
from tests.records.test_ledger import change, entries, found

CHANGES = {
    "a changed cell": ("UPDATE comparison SET reference = '0.61' WHERE id = 2", {"comparison 2"}),
    "a deleted row": ("DELETE FROM reading WHERE id = 3", {"reading 3"}),
    "a changed entry": ("UPDATE ledger SET person = 'Somebody else' WHERE sequence = 8", {"ledger entry 8"}),
    "a gap": ("UPDATE ledger SET sequence = sequence + 1000000 WHERE sequence > 20", {"ledger entry 1000021"}),
    "numbers below zero": ("UPDATE ledger SET sequence = sequence - 9000000000000000000", None),
    "the largest number": ("UPDATE ledger SET sequence = 9223372036854775807 WHERE sequence = 9", None),
}


@pytest.fixture
def small_file(_small, tmp_path):
    """The small job of tests.folders in a file: a server is read by one process."""
    return shutil.copyfile(_small, tmp_path / "small.sqlite")


def in_stretches(monkeypatch, length, processors):
    """Have the ledger read in short stretches, as a long one is."""
    monkeypatch.setattr(verification, "_STRETCH", length)
    monkeypatch.setattr(stretches, "BATCH", 3)
    monkeypatch.setattr(verification, "_processors", lambda: processors)


@pytest.mark.parametrize("length", [1, 7, 1000])
def test_untouched_records_have_no_finding_however_they_are_cut(small_file, monkeypatch, length):
    in_stretches(monkeypatch, length, 1)
    assert found(small_file) == {}


@pytest.mark.parametrize("length", [1, 4, 5, 7])
@pytest.mark.parametrize(("statement", "records"), CHANGES.values(), ids=CHANGES)
def test_a_change_is_found_however_the_ledger_is_cut(small_file, monkeypatch, statement, records, length):
    change(small_file, statement)
    whole = found(small_file)
    assert records is None or records <= whole.keys()
    in_stretches(monkeypatch, length, 1)
    assert found(small_file) == whole
    assert whole


def test_several_processes_find_what_one_finds(small_file, monkeypatch):
    for statement in ("UPDATE reading SET unit = 'fpm' WHERE id = 1", "UPDATE job SET title = CAST(x'ff' AS TEXT)"):
        change(small_file, statement)
    whole = found(small_file)
    in_stretches(monkeypatch, 10, 2)
    assert found(small_file) == whole
    assert whole.keys() == {"reading 1", "job 1"}


def test_a_machine_that_starts_no_process_is_no_hindrance(small_file, monkeypatch):
    def refuses(*_, **__):
        raise OSError("no more processes")

    in_stretches(monkeypatch, 10, 2)
    monkeypatch.setattr("subprocess.Popen", refuses)
    change(small_file, "UPDATE reading SET unit = 'fpm' WHERE id = 1")
    assert found(small_file).keys() == {"reading 1"}


def test_a_process_that_does_not_answer_is_no_hindrance(small_file, monkeypatch):
    in_stretches(monkeypatch, 10, 2)
    monkeypatch.setattr("sys.executable", shutil.which("true"))
    change(small_file, "UPDATE reading SET unit = 'fpm' WHERE id = 1")
    assert found(small_file).keys() == {"reading 1"}


@pytest.mark.parametrize("name", ["with space.sqlite", "Prüf-Nr. 5 – α.sqlite", "a#b%20?.sqlite"])
def test_several_processes_read_a_file_of_any_name(small_file, monkeypatch, name):
    """None of the stretches is left to this process."""
    in_stretches(monkeypatch, 10, 2)
    monkeypatch.setattr(stretches, "problems", None)
    assert found(small_file.rename(small_file.with_name(name))) == {}


def test_progress_is_told_of_a_long_ledger_alone(small_file, monkeypatch):
    said = []
    with database.reading(str(small_file)) as session:
        ledger.verify(session.connection(), None, said.append)
        assert said == []
        in_stretches(monkeypatch, 20, 1)
        ledger.verify(session.connection(), None, said.append)
    assert len(said) == -(-len(entries(small_file)) // 20)


def test_memory_does_not_grow_with_the_files_that_are_kept(small_file):
    """Logged series hold whole files: each is read by itself. Here 40 of 1 MB, some 2 MB as the digits of their bytes."""
    with closing(sqlite3.connect(small_file)) as file, file:
        for number in range(1, 41):
            file.execute("INSERT INTO logged_series VALUES (?, 'x', zeroblob(1000000), 'x')", (number,))
            file.execute(
                "INSERT INTO ledger SELECT max(sequence) + 1, 't', 'p', 'a', 'logged_series', ?, 'x', ?, ?, NULL FROM ledger",
                (number, f"p{number}", f"d{number}"),
            )
    tracemalloc.start()
    findings = found(small_file)
    peak = tracemalloc.get_traced_memory()[1]
    tracemalloc.stop()
    assert len([one for one in findings if one.startswith("logged_series")]) == 40
    assert peak < 20e6


def test_an_entry_that_a_damaged_page_gives_as_text_is_a_finding(small_file):
    """The bytes are right and their type is not: seen with a bit turned over in the header of a row."""
    place = stretches.ENTRY_COLUMNS.index("sequence")
    with closing(sqlite3.connect(small_file)) as file:
        sound = stretches.fetch_from(file)

        def fetch(statement, asked):
            rows = sound(statement, asked)
            return [(*row[:place], "5", *row[place + 1 :]) if row[place:] and row[place] == 5 else row for row in rows]

        tables = {"instrument": stretches.Stored(["id"], holds_files=False)}
        told = stretches.problems(fetch, tables, stretches.Stretch(1, 10, stretches.ChainLink(0, "0" * 64)))
    assert ("ledger entry 6", "follows an entry whose number is none: '5'") in told
