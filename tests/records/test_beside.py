"""What is made beside its place is put there whole or not at all, and a run that was killed leaves nothing that stays.

A process is killed by SIGKILL, which no program can answer. Source: common practice, no source; flock(2) and umask(2) of POSIX.
"""

import os
import shutil
import subprocess
import sys
import textwrap
from contextlib import contextmanager
from pathlib import Path

import pytest

from calib.errors import CalibError, RecordsError
from calib.faces.files import write_export, write_new
from calib.faces.write_over import write_whole
from calib.procedures.enter.export_records import ExportedFile
from calib.records import beside as module
from calib.records.backup import back_up
from calib.records.beside import beside, put_new
from calib.records.database import make
from tests.command import calib

ROOT = Path(__file__).parents[2]
posix = pytest.mark.skipif(os.name != "posix", reason="locks, masks and signals as POSIX has them")

# Begins to make a file beside its place, says so, and waits until it is killed.
BEGINS = textwrap.dedent("""
    import sys, time
    from pathlib import Path
    from calib.records.beside import beside

    with beside(Path(sys.argv[1])) as part:
        part.write_bytes(b"half")
        print("there", flush=True)
        time.sleep(600)
""")


@contextmanager
def begun(script, *words):
    """A process that has begun to write; it is killed with the block, if not before."""
    words = [sys.executable, "-c", script, *map(str, words)]
    with subprocess.Popen(words, cwd=ROOT, stdout=subprocess.PIPE, text=True) as process:
        try:
            assert process.stdout.readline() == "there\n"
            yield process
        finally:
            process.kill()


def names(folder):
    return sorted(each.name for each in folder.iterdir())


def test_what_is_made_beside_its_place_stays_there_when_it_was_put_there(tmp_path):
    with beside(tmp_path / "a") as part:
        part.write_bytes(b"whole")
        assert not (tmp_path / "a").exists()
        put_new(part, tmp_path / "a")
    assert names(tmp_path) == ["a"]
    assert (tmp_path / "a").read_bytes() == b"whole"


def test_what_was_not_put_there_is_gone(tmp_path):
    def stopped():
        with beside(tmp_path / "a") as part:
            part.write_bytes(b"half")
            raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        stopped()
    assert names(tmp_path) == []


@pytest.mark.parametrize("links", [True, False], ids=["with links", "on a disk without links"])
def test_nothing_that_came_meanwhile_is_overwritten(tmp_path, monkeypatch, links):
    def refuses(*_):
        raise PermissionError(1, "Operation not permitted")

    if not links:
        monkeypatch.setattr(Path, "hardlink_to", refuses)
    with beside(tmp_path / "a") as part:
        part.write_bytes(b"ours")
        (tmp_path / "a").write_bytes(b"another's")
        with pytest.raises(FileExistsError):
            put_new(part, tmp_path / "a")
        put_new(part, tmp_path / "b")
    assert [each.read_bytes() for each in sorted(tmp_path.iterdir())] == [b"another's", b"ours"]


@posix
def test_what_a_killed_run_left_is_taken_away_by_the_next_and_what_a_living_one_makes_is_not(tmp_path):
    with begun(BEGINS, tmp_path / "dead") as dead, begun(BEGINS, tmp_path / "living"):
        dead.kill()
        dead.wait()
        assert len(names(tmp_path)) == 2
        write_whole(tmp_path / "mine", b"whole")
        [left] = [each for each in tmp_path.iterdir() if each.name != "mine"]
        assert (left / "living").read_bytes() == b"half"
    write_whole(tmp_path / "mine", b"again")
    assert names(tmp_path) == ["mine"]


@posix
def test_what_another_run_of_this_very_process_makes_is_let_be(tmp_path):
    """Two threads of a server."""
    with beside(tmp_path / "a") as first, beside(tmp_path / "a") as second:
        first.write_bytes(b"1")
        second.write_bytes(b"2")
        assert (first.read_bytes(), second.read_bytes()) == (b"1", b"2")


@posix
@pytest.mark.parametrize("content", [None, {"notes.txt": b"mine"}], ids=["a file", "a folder with another's work"])
def test_what_only_has_such_a_name_stays(tmp_path, content):
    other = tmp_path / ".calib-notes"
    if content is None:
        other.write_bytes(b"mine")
    else:
        other.mkdir()
        (other / "notes.txt").write_bytes(b"mine")
    write_whole(tmp_path / "a", b"whole")
    assert names(tmp_path) == [".calib-notes", "a"]


@posix
def test_a_run_whose_folder_was_taken_for_a_left_one_makes_another(tmp_path, monkeypatch):
    """Between the making of a folder and its lock another run may come by."""
    locked = module._is_locked  # noqa: SLF001 (the moment cannot be had otherwise)
    taken = []

    def comes_by(lock, *, wait):
        if not taken:
            taken.append(Path(lock.name).parent)
            shutil.rmtree(taken[0])
        return locked(lock, wait=wait)

    monkeypatch.setattr(module, "_is_locked", comes_by)
    write_whole(tmp_path / "a", b"whole")
    assert taken
    assert names(tmp_path) == ["a"]


# --- each act that makes a file ---------------------------------------------------------------------------------------------------

# Begins the act of a command, and waits at the moment when its file would be put in its place.
WAITS = textwrap.dedent("""
    import sys, time
    from pathlib import Path
    from calib.faces.cli import main

    def wait(*_):
        print("there", flush=True)
        time.sleep(600)

    for name in ("calib.records.database", "calib.records.backup", "calib.faces.files"):
        __import__(name)
        sys.modules[name].put_new = wait
    Path.replace = wait
    Path.rename = wait
    main(sys.argv[1:])
""")
ACTS = {
    "init": ("init", "--records", "{folder}/new.sqlite"),
    "backup": ("backup", "{folder}/copy.sqlite", "--records", "{records}"),
    "export": ("export", "{folder}/all", "--records", "{records}"),
    "report": ("report", "J-1", "--format", "json", "--into", "{folder}", "--records", "{records}"),
    "due": ("due", "--on", "2026-03-05", "--ics", "{folder}/due.ics", "--records", "{records}"),
}


@pytest.fixture
def small_file(_small, tmp_path):
    """The small job of tests.folders in a file."""
    return shutil.copyfile(_small, tmp_path / "small.sqlite")


@posix
@pytest.mark.parametrize("act", ACTS)
def test_an_act_that_was_killed_is_done_by_running_it_again_and_leaves_nothing_else(small_file, tmp_path, act):
    folder = tmp_path / "out"
    folder.mkdir()
    words = [word.format(folder=folder, records=small_file) for word in ACTS[act]]
    with begun(WAITS, *words):
        pass
    [left] = names(folder)
    assert left.startswith(".calib-")
    ran = calib(*words)
    assert ran.status in (0, 1), ran.err
    [made] = names(folder)
    assert not made.startswith(".")


@posix
@pytest.mark.parametrize(("mask", "mode"), [(0o022, 0o644), (0o077, 0o600), (0o002, 0o664)])
@pytest.mark.parametrize("act", ACTS)
def test_what_is_made_has_the_permissions_that_the_mask_of_the_process_leaves(small_file, tmp_path, act, mask, mode):
    folder = tmp_path / "out"
    folder.mkdir()
    before = os.umask(mask)
    try:
        calib(*(word.format(folder=folder, records=small_file) for word in ACTS[act]))
    finally:
        os.umask(before)
    made = [each for each in folder.rglob("*") if each.is_file()]
    assert made
    assert {each.stat().st_mode & 0o777 for each in made} == {mode}


def test_records_are_not_made_beside_the_log_of_others(tmp_path):
    """SQLite would take its pages for those of the new file."""
    (tmp_path / "new.sqlite-wal").write_bytes(b"pages of a file that was moved")
    ran = calib("init", records=tmp_path / "new.sqlite")
    assert (ran.status, ran.err.count("\n")) == (2, 1)
    assert "beside it is the log of a file of that name: move it away" in ran.err
    assert names(tmp_path) == ["new.sqlite-wal"]


def test_records_that_another_made_meanwhile_are_not_overwritten(tmp_path, monkeypatch, by_migrations):
    from calib.records import database, migrations

    monkeypatch.setattr(database, "_migrate", by_migrations)
    real = migrations.upgrade

    def meanwhile(connection, revision):
        real(connection, revision)
        (tmp_path / "new.sqlite").write_bytes(b"another's")

    monkeypatch.setattr(migrations, "upgrade", meanwhile)
    with pytest.raises(RecordsError, match="is there already"):
        make(str(tmp_path / "new.sqlite"))
    assert (tmp_path / "new.sqlite").read_bytes() == b"another's"
    assert names(tmp_path) == ["new.sqlite"]


# --- a full disk -----------------------------------------------------------------------------------------------------------------

# Runs an act where no file may become longer than a few bytes: the system refuses the write in the midst of it.
LIMITED = textwrap.dedent("""
    import resource, sys
    from pathlib import Path
    sys.dont_write_bytecode = True  # else what is compiled here is cached cut short, and no later program can import it
    from calib.errors import CalibError
    from tests.records import test_beside
    resource.setrlimit(resource.RLIMIT_FSIZE, (1000, 1000))
    try:
        test_beside.WRITERS[sys.argv[1]](Path(sys.argv[2]), Path(sys.argv[3]))
    except (CalibError, OSError) as error:
        print(error)
""")
LONG = b"0123456789" * 1000
WRITERS = {
    "a report": lambda folder, _: write_whole(folder / "a", LONG),
    "a kept file": lambda folder, _: write_new(folder / "a", LONG),
    "an export": lambda folder, _: write_export(folder / "all", [ExportedFile("a.csv", LONG)]),
    "a backup": lambda folder, records: back_up(str(records), folder / "a"),
    "records": lambda folder, _: make(str(folder / "a")),
}


@posix
@pytest.mark.parametrize("what", WRITERS)
def test_a_full_disk_leaves_no_file_of_any_name(small_file, tmp_path, what):
    folder = tmp_path / "out"
    folder.mkdir()
    words = [sys.executable, "-c", LIMITED, what, str(folder), str(small_file)]
    ran = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=True)
    assert ran.stdout.count("\n") == 1, ran.stdout
    assert names(folder) == []


def test_a_full_disk_is_told_in_one_line(tmp_path, monkeypatch):
    def full(*_):
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(Path, "write_bytes", full)
    with pytest.raises(CalibError, match=r"cannot be written there \(No space left on device\)"):
        write_new(tmp_path / "a", b"1")
    assert names(tmp_path) == []
