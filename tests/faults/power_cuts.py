"""The power cut while a writer is at work, simulated many times: what it acknowledged is there, what is there verifies.

A kill leaves to the system what a program wrote; a power cut does not. So a writer is watched once (`strace`: what it writes, cuts
to a length, removes, and when it has a file synced), and its files are then laid out as they may stand after a cut at any of these
moments. What was synced before is there. Of what was written since, each sector of 512 bytes is there or not, a length and a
removal likewise, each by chance: writes are dropped, put in another order, and torn. The records are opened and verified as after
the machine's next start. Source: SQLite, "Atomic Commit In SQLite", 2 and 3.1: what is written before a sync may reach the disk in
any order, or not at all.

Of a PostgreSQL server its own log answers for this; the client has nothing that could be torn.

Long run: python -m tests.faults.power_cuts 10000
"""

import os
import random
import re
import shutil
import subprocess
import sys
import tempfile
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

from sqlalchemy import func
from sqlmodel import select

from calib.records import database, ledger
from calib.records.pages import page_findings
from calib.records.tables.jobs import Job
from tests.folders import SIGNED
from tests.missing import missing

SECTOR = 512  # bytes that a disk writes whole
_LARGEST_TRANSACTION = 60
_WATCHED = "pwrite64,write,fdatasync,fsync,ftruncate,unlink"
_CALL = re.compile(r"(\w+)\((?:\d+<([^>]*)>|\"([^\"]*)\")(?:, \"([^\"]*)\")?(?:, (\d+))?(?:, (\d+))?\)")


@dataclass(frozen=True)
class Done:
    """What the writer did to a file: content written from a place on, a length, a removal, a sync; or what it acknowledged."""

    to: str  # name of the file
    written: bytes | None = None
    place: int = 0
    length: int | None = None
    removed: bool = False
    synced: bool = False
    acknowledged: int | None = None


def write(records, transactions, seed):
    """Append jobs in transactions of random size, and close the records now and then; say how many are acknowledged."""
    chance, there = random.Random(seed), 0  # noqa: S311 (no secret)
    engine = database.open_records(records)
    for _ in range(transactions):
        added = chance.choice((1, 1, 2, _LARGEST_TRANSACTION))
        with database.writing(engine) as session:
            jobs = [Job(job=f"J-{there + number}", decision_rule="simple") for number in range(added)]
            ledger.append_entries(session, jobs, SIGNED)
        there += added
        os.write(sys.stdout.fileno(), f"{there}\n".encode())
        if chance.random() < 0.2:
            engine.dispose()  # the last connection takes the log into the file


def program():
    """Path of the program that watches what another writes; where there is none, the test is skipped and says why."""
    return shutil.which("strace") or missing(
        "needs a program that watches what another writes: Debian's package strace"
    )


def watched(records, transactions, seed):
    """What a writer did, in its order."""
    log = records.with_name("watched")
    subprocess.run(
        [
            program(), "-y", "-xx", "-s", "1000000", "-e", f"trace={_WATCHED}", "-o", str(log),
            sys.executable, "-m", "tests.faults.power_cuts", "--write", str(records), str(transactions), str(seed),
        ],
        check=True, stdout=subprocess.PIPE,
    )  # fmt: skip
    done = [_done(line, records.name) for line in log.read_text().splitlines()]
    return [each for each in done if each is not None]


def _done(line, name):
    """One line of the log, if it is about the records or says what was acknowledged."""
    call = _CALL.match(line)
    if call is None:
        return None
    what, opened, path, content, first, second = call.groups()
    content = b"" if content is None else bytes.fromhex(content.replace("\\x", ""))
    if what == "write":
        return Done("", acknowledged=int(content)) if content.strip().isdigit() else None
    to = Path(bytes.fromhex((opened or path).replace("\\x", "")).decode()).name
    if not to.startswith(name) or to.endswith("-shm"):
        return None  # the index of the log is made anew at the next start
    if what == "pwrite64":
        return Done(to, written=content, place=int(second))
    if what == "ftruncate":
        return Done(to, length=int(first))
    return Done(to, removed=True) if what == "unlink" else Done(to, synced=True)


def left_by(done, before, chance):
    """Files as they may stand when the power is cut after what was done; and how many records were acknowledged."""
    synced, pending, acknowledged = dict(before), defaultdict(list), 0
    for each in done:
        if each.acknowledged is not None:
            acknowledged = each.acknowledged
        elif each.synced:
            synced[each.to] = _after(synced.get(each.to), pending.pop(each.to, []), lambda: True)
        else:
            pending[each.to].append(each)
    for name, since in pending.items():
        synced[name] = _after(synced.get(name), since, lambda: chance.random() < 0.5)
    return {name: content for name, content in synced.items() if content is not None}, acknowledged


def _after(content, since, happens):
    """A file after what was done to it since its last sync, where each sector, length and removal happens or not."""
    for each in since:
        if each.removed:
            content = None if happens() else content
        elif each.length is not None:
            content = content[: each.length] if content is not None and happens() else content
        else:
            content = _written(bytearray(content or b""), each, happens)
    return content


def _written(content, each, happens):
    """The sectors of one write that reach the disk; what lies between the end of a file and a later sector is zeros."""
    start = each.place
    while start < each.place + len(each.written):
        end = min(start - start % SECTOR + SECTOR, each.place + len(each.written))
        if happens():
            content.extend(bytes(max(0, end - len(content))))
            content[start:end] = each.written[start - each.place : end - each.place]
        start = end
    return bytes(content)


def cuts(count, seed, transactions=40):
    """After how many cuts more was there than was acknowledged, of how many; raises AssertionError."""
    chance, more = random.Random(seed), 0  # noqa: S311 (no secret)
    with tempfile.TemporaryDirectory() as folder:
        records = Path(folder) / "records.sqlite"
        database.make(str(records))
        before = {records.name: records.read_bytes()}
        done = watched(records, transactions, seed)
        moments = [place for place, each in enumerate(done) if each.acknowledged is None]
        for _ in range(count):
            moment = chance.choice(moments)
            files, acknowledged = left_by(done[: moment + 1], before, chance)
            after = Path(folder) / "after"
            after.mkdir()
            for name, content in files.items():
                (after / name).write_bytes(content)
            with database.reading(str(after / records.name)) as session:
                there = session.exec(select(func.count()).select_from(Job)).one()
                assert acknowledged <= there <= acknowledged + _LARGEST_TRANSACTION, (moment, acknowledged, there)
                assert [*page_findings(session.connection()), *ledger.verify(session.connection())] == [], moment
            more += there > acknowledged
            for left in after.iterdir():
                left.unlink()
            after.rmdir()
    return more, count


if __name__ == "__main__":
    if sys.argv[1] == "--write":
        write(sys.argv[2], int(sys.argv[3]), int(sys.argv[4]))
    else:
        print("more there than acknowledged, cuts:", *cuts(int(sys.argv[1]), int((sys.argv[2:] or ["0"])[0])))
