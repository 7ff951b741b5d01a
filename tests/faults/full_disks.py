"""Commands that write while there is no room, at any size: each is done, or says in one line why not, and nothing is half written.

A command runs in a fork of this process that may make no file longer than a limit (RLIMIT_FSIZE, setrlimit(2): a write beyond it
fails with EFBIG, and one that begins before it is cut short). The limits go from none to more than the command needs. Where it may
mount one, every second command runs in a small file system of its own instead (tmpfs: ENOSPC). Afterwards the records
verify, their ledger ends where it ended or, of a command that was done, where it does with room enough; no file is there that the
whole command does not make, or that is shorter; and what was not done is done when there is room.

Long run: python -m tests.faults.full_disks 2000
"""

import os
import random
import resource
import shutil
import subprocess
import sys
import tempfile
from collections import Counter
from contextlib import contextmanager
from pathlib import Path

from PIL import Image

from calib.faces.cli import main
from calib.records import database, ledger
from tests.folders import ledger_head, records_of, small_job, write

_BY = ("--by", "A. Person")
# Name -> the words of a command; {new} and {in} are a folder for what it makes and one with what it reads.
COMMANDS = {
    "job add": ("job", "add", "J-2", "--rule", "simple", *_BY),
    "suspend": ("instrument", "suspend", "VA-1", "--reason", "dropped", *_BY),
    "import": ("import", "{in}/more", *_BY),
    "reading add": ("reading", "add", "J-1", "S-2", "3.10", "3.11", "--instrument", "VA-1", "--unit", "m/s", "--method",
                    "sweep", "--at", "2026-03-05T10:00+01:00", "--sure", *_BY),
    "reading correct": ("reading", "correct", "J-1", "1", "--indication", "4.21", "--reason", "a digit", "--sure", *_BY),
    "reading withdraw": ("reading", "withdraw", "J-1", "1", "--reason", "of S-2", *_BY),
    "outlet attach": ("outlet", "attach", "J-1", "S-1", "{in}/photograph.png", *_BY),
    "report": ("report", "J-1", "--format", "json,csv,html,xlsx", "--into", "{new}"),
    "issue": ("report", "J-1", "--issue", "--format", "json,csv,xlsx", "--into", "{new}", *_BY),
    "export": ("export", "{new}/export"),
    "backup": ("backup", "{new}/backup.sqlite", *_BY),
    "template": ("template", "{new}/readings.xlsx"),
    "anchor": ("verify", "--anchor", "{new}/anchors.txt"),
    "init": ("init", "--records", "{new}/new.sqlite"),
}  # fmt: skip


def words_of(command, folder):
    """The words of a command in a folder."""
    words = [word.format(new=folder / "new", **{"in": folder / "in"}) for word in COMMANDS[command]]
    return words if "--records" in words else [*words, "--records", str(folder / "records.sqlite")]


def prepared(folder):
    """A folder with records, what commands read, and room for what they make."""
    records_of(folder, small_job())
    shutil.rmtree(folder / "import")
    method = {"relative_standard_uncertainty_percent": "2", "basis": "b" * 99}
    write(folder / "in" / "more", {"methods.csv": [{"method": f"sweep {place}"} | method for place in range(300)]})
    Image.effect_noise((300, 200), 80).save(folder / "in" / "photograph.png")
    (folder / "new").mkdir()
    return folder


def _files(folder):
    """Sizes of the files beside the records [bytes]."""
    return {
        str(path.relative_to(folder)): path.stat().st_size
        for path in sorted(folder.rglob("*"))
        if path.is_file() and not path.name.startswith("records.sqlite")
    }


def ran(words, limit=None):
    """Exit status, what was said on stdout and on stderr, of a command in a fork with a limit of bytes for each file."""
    out, err = os.pipe(), os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.dup2(out[1], 1)
            os.dup2(err[1], 2)
            sys.stdout, sys.stderr = os.fdopen(1, "w"), os.fdopen(2, "w")
            sys.dont_write_bytecode = True  # else what is compiled under the limit is cached cut short
            if limit is not None:
                resource.setrlimit(resource.RLIMIT_FSIZE, (limit, limit))
            status = 0
            try:
                main(words)
            except SystemExit as end:
                status = end.code or 0
            sys.stdout.flush()
            sys.stderr.flush()
            os._exit(status)
        finally:
            os._exit(99)
    said = []
    for heard, told in (out, err):
        os.close(told)
        with os.fdopen(heard, "rb") as pipe:
            said.append(pipe.read().decode())
    return os.waitstatus_to_exitcode(os.waitpid(child, 0)[1]), *said


@contextmanager
def in_small_file_system(source, room):
    """A copy of a folder in a file system of its own with so many bytes left; None where this process may mount none."""
    with tempfile.TemporaryDirectory() as place:
        used = sum(-(-path.stat().st_size // 4096) * 4096 + 4096 for path in source.rglob("*")) + 8192
        mounting = ["mount", "-t", "tmpfs", "-o", f"size={used + room}", "tmpfs", place]
        if subprocess.run(mounting, capture_output=True, check=False).returncode:
            yield None
            return
        try:
            shutil.copytree(source, Path(place) / "all")
            yield Path(place) / "all"
        finally:
            subprocess.run(["umount", "-l", place], check=True)  # noqa: S607 (as it is found)


@contextmanager
def _copied(source):
    with tempfile.TemporaryDirectory() as place:
        yield Path(shutil.copytree(source, Path(place) / "all"))


def _must_be_whole(command, folder, before, whole):
    """Records and files after a command that had too little room; `whole` is how it ends with room enough."""
    records = folder / "records.sqlite"
    with database.reading(str(records)) as session:
        assert ledger.verify(session.connection()) == (), command
    head = ledger_head(records)
    assert head[0] in (before[0], whole[0]), (command, head, before, whole)
    made = _files(folder)
    # A time of day in them makes one and the same workbook a few bytes longer when it is compressed.
    cut = [name for name, size in made.items() if size < 0.98 * whole[1].get(name, size + 99)]
    assert cut == [], (command, made)
    return head[0]


def full_disks(count, seed, commands=tuple(COMMANDS)):
    """How so many commands ended, by their name and exit status; raises AssertionError."""
    chance, outcomes = random.Random(seed), Counter()  # noqa: S311 (nothing is secret)
    with tempfile.TemporaryDirectory() as place:
        source = prepared(Path(place) / "source")
        before = ledger_head(source / "records.sqlite")
        whole, needs = {}, {}
        for command in commands:
            with _copied(source) as folder:
                status, _, err = ran(words_of(command, folder))
                assert status == 0, (command, err)
                whole[command] = ledger_head(folder / "records.sqlite")[0], _files(folder)
                needs[command] = sum(whole[command][1].values()) + 400_000
        for number in range(count):
            command = commands[number % len(commands)]
            outcomes[_once(chance, number, command, source, before, whole[command], needs[command])] += 1
    return outcomes


def _once(chance, number, command, source, before, whole, needs):
    room = int(needs * chance.random() ** 3)  # most of them small
    if (number + number // len(COMMANDS)) % 2:
        with in_small_file_system(source, room) as folder:
            if folder is not None:
                status = _judged(command, folder, ran(words_of(command, folder)), before, whole)
                return command, "small file system", status
    with _copied(source) as folder:
        status = _judged(command, folder, ran(words_of(command, folder), room), before, whole)
        if status != 0 and ledger_head(folder / "records.sqlite") == before:
            again = ran(words_of(command, folder))
            assert again[0] == 0, (command, again)
        return command, "limited files", status


def _judged(command, folder, ended, before, whole):
    status, _, err = ended
    assert "Traceback" not in err, (command, err)
    head = _must_be_whole(command, folder, before, whole)
    if status == 0:
        assert head == whole[0], (command, err)
        return status
    assert status == 2, (command, status, err)
    assert len([line for line in err.splitlines() if line.startswith("error: ")]) == 1, (command, err)
    assert err.splitlines()[-1].startswith("error: "), (command, err)
    assert head == before[0] or "is issued as revision" in err, (command, err)
    return status


if __name__ == "__main__":
    for (command, kind, status), times in sorted(full_disks(int(sys.argv[1]), seed=20261129).items()):
        print(f"{times:6,}  {command}, {kind}: exit status {status}")
