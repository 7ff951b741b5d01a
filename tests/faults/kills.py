"""A writer that is killed, many times: what it acknowledged is there, once; what is there verifies.

The writer is a fork of this process, appends one record after the other to a file, and says so after each commit. It is killed
(SIGKILL) at a random time after the first: most of an append is its commit, so most kills fall there. Source: what SQLite promises
of a killed program ("Atomic Commit In SQLite", 3 and 4).

Long run: python -m tests.faults.kills 10000
"""

import os
import random
import signal
import sys
import tempfile
import time
from contextlib import contextmanager
from pathlib import Path

from sqlalchemy import func
from sqlmodel import select

from calib.records import database, ledger
from calib.records.tables.jobs import Job
from tests.folders import SIGNED

_LONGEST = 0.03  # seconds that a writer lives after its first commit


def _writes(records, acknowledge):
    """Append jobs until killed; a byte after each commit."""
    number = 0
    engine = database.open_records(str(records))
    while True:
        number += 1
        with database.writing(engine) as session:
            ledger.append_entries(session, [Job(job=f"{os.getpid()}-{number}", decision_rule="simple")], SIGNED)
        os.write(acknowledge, b"x")


@contextmanager
def _writer(records):
    """A forked writer and the end of the pipe where it acknowledges; killed when the block ends."""
    heard, acknowledge = os.pipe()
    child = os.fork()
    if child == 0:
        try:
            os.close(heard)
            _writes(records, acknowledge)
        finally:
            os._exit(1)
    os.close(acknowledge)
    try:
        yield heard
    finally:
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)


def kills(count, seed):
    """How many records were acknowledged and how many are there, after so many kills; raises AssertionError."""
    chance = random.Random(seed)  # noqa: S311 (no secret)
    acknowledged = 0
    with tempfile.TemporaryDirectory() as folder:
        records = Path(folder) / "records.sqlite"
        database.make(str(records))
        for number in range(1, count + 1):
            with _writer(records) as heard:
                acknowledged += len(os.read(heard, 1))
                time.sleep(chance.random() * _LONGEST)
            while said := os.read(heard, 4096):
                acknowledged += len(said)
            os.close(heard)
            with database.reading(str(records)) as session:
                there = session.exec(select(func.count()).select_from(Job)).one()
                assert acknowledged <= there <= acknowledged + number, (number, acknowledged, there)
                if number % 50 == 0 or number == count:
                    assert ledger.verify(session.connection()) == ()
        return acknowledged, there


if __name__ == "__main__":
    print("acknowledged, there:", *kills(int(sys.argv[1]), int(sys.argv[2]) if len(sys.argv) > 2 else 0))
