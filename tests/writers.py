"""Processes that write until they are done, or until they are killed: run as programs of their own by tests/records.

    python -m tests.writers WRITER LOCATION COUNT          transactions of one writer, one after the other
    python -m tests.writers --at-once LOCATION COUNT N     so many such writers at once, each a process of its own
    python -m tests.writers LOCATION ROUNDS SEED FOLDER    a child that writes is killed in each round, and the records looked at

On a busy machine a writer waits for its turn as long as it takes, not as long as the program lets a person wait.
A child says `begin NAME` before a transaction and `done NAME` when it was acknowledged. The last form prints one JSON document.
"""

import copy
import json
import os
import random
import signal
import sys
import time
from dataclasses import asdict, dataclass, field
from datetime import datetime
from pathlib import Path

from sqlmodel import select

from calib.records import database, ledger, server_functions
from calib.records.tables.jobs import Job
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading

PATIENCE = 600  # [s]
ANY_TIME = "100 years"  # by which the time of an entry may differ from a server's in the tests
NOW = datetime.fromisoformat("2026-03-06T09:00+00:00")


def method(name):
    """A record that needs no other."""
    return Method(method=name, relative_standard_uncertainty_percent="1", basis="test")


def write_methods(location, writer, count):
    """Transactions of one writer, of one to three records; each reads before it writes, as procedures do."""
    for number in range(count):
        with database.writing(location) as session:
            ledger.ledger_head(session)
            records = [method(f"{writer}-{number}-{part}") for part in range(1 + number % 3)]
            ledger.append_entries(session, records, ledger.Signature(writer, NOW, "test"))


def write_at_once(location, count, writers):
    """Writers that start together, forked from one process, so that each is at work at once; ends badly where one of them does."""
    pids = []
    for number in range(writers):
        pid = os.fork()
        if not pid:
            try:
                write_methods(location, f"writer {number}", count)
            except BaseException as error:  # noqa: BLE001 (a child never returns into its parent's work)
                sys.stderr.write(f"{type(error).__name__}: {error}\n")
                sys.stderr.flush()
                os._exit(1)
            os._exit(0)
        pids.append(pid)
    if any(os.waitpid(pid, 0)[1] for pid in pids):
        raise SystemExit(1)


@dataclass
class Rounds:
    """What was seen in all rounds."""

    rounds: int = 0
    killed_within: int = 0  # in the midst of a transaction, as far as its child had said
    acknowledged: int = 0
    unacknowledged_but_whole: int = 0  # committed, and killed before it could be said
    wrong: list = field(default_factory=list)


def fork_writer(location, name, folder):
    """A child that writes batches, or imports a folder again and again under other names; its pid and what it says."""
    out, into = os.pipe()
    pid = os.fork()
    if pid:
        os.close(into)
        return pid, out
    os.close(out)
    try:
        number = 0
        while True:
            one = f"{name}-{number}"
            os.write(into, f"begin {one}\n".encode())
            import_job(location, one, folder) if folder else write_batch(location, one)
            os.write(into, f"done {one}\n".encode())
            number += 1
    except BaseException as error:  # noqa: BLE001 (a child never returns into its parent's work)
        os.write(into, f"failed {type(error).__name__}: {error}\n".encode())
    finally:
        os._exit(1)


def write_batch(location, name):
    """Three records in one transaction."""
    with database.writing(location) as session:
        ledger.append_entries(
            session, [method(f"{name}-{part}") for part in range(3)], ledger.Signature("A. Person", NOW, "test")
        )


def import_job(location, name, folder):
    """A job with its outlets and readings in one import."""
    from calib.faces.files import import_folders
    from tests.folders import only, small_job, write

    sheets = copy.deepcopy(only(small_job(), "jobs.csv", "outlets.csv", "readings.csv"))
    for row in [row for rows in sheets.values() for row in rows]:
        row["job"] = name
    with database.writing(location) as session:
        import_folders(session, [write(folder, sheets)], ledger.Signature("A. Person", NOW, "import"), NOW)


def said_until(out, lines, seconds):
    """What a child says: until it has said so many lines, and for so many seconds more."""
    said = b""
    while said.count(b"\n") < lines:
        part = os.read(out, 65536)
        if not part:
            break
        said += part
    time.sleep(seconds)
    return said


def rest_of(out):
    """What was said and not heard yet."""
    said = b""
    while part := os.read(out, 65536):
        said += part
    os.close(out)
    return said


def whole(session, name, *, imported):
    """How much of a transaction is there: 0 nothing, 1 all of it; anything between is wrong."""
    if not imported:
        return len(session.exec(select(Method).where(Method.method.startswith(f"{name}-"))).all()) / 3
    jobs = session.exec(select(Job).where(Job.job == name)).all()
    outlets = session.exec(select(Outlet).join(Job).where(Job.job == name)).all()
    readings = session.exec(select(Reading).join(Outlet).join(Job).where(Job.job == name)).all()
    return (len(jobs) + len(outlets) + len(readings)) / 9


def looked_at(location, said, seen, *, imported):
    """Open the records, verify the ledger, look for each transaction that was begun."""
    begun = [line[6:] for line in said if line.startswith("begin ")]
    done = {line[5:] for line in said if line.startswith("done ")}
    seen.wrong += [line for line in said if line.startswith("failed ")]
    with database.reading(location) as session:
        seen.wrong += [str(one) for one in ledger.verify(session.connection())]
        for name in begun:
            share = whole(session, name, imported=imported)
            if share != (1 if name in done else round(share)):
                seen.wrong.append(
                    f"{name}: {share} of it is there, {'acknowledged' if name in done else 'not acknowledged'}"
                )
            seen.unacknowledged_but_whole += name not in done and share == 1
    seen.acknowledged += len(done)
    seen.killed_within += len(done) < len(begun)


def time_of_one(location, folder):
    """How long a transaction takes here [s]; the first is not counted, it may import modules."""
    pid, out = fork_writer(location, f"calm{bool(folder)}", folder)
    said_until(out, 3, 0)
    begun = time.monotonic()
    said_until(out, 4, 0)
    taken = time.monotonic() - begun
    os.kill(pid, signal.SIGKILL)
    os.waitpid(pid, 0)
    os.close(out)
    return taken


def killed_in_rounds(location, rounds, seed, folder):
    """Rounds, every sixth with imports: a child writes, is killed at a random moment, the records are looked at."""
    import tests.folders  # noqa: F401 (and what it imports: before the fork, or each child would do it anew)

    random.seed(seed)
    seen, takes = Rounds(), [time_of_one(location, None), time_of_one(location, folder)]
    for number in range(rounds):
        imported = number % 6 == 5
        pid, out = fork_writer(location, f"r{number}", folder if imported else None)
        said = said_until(out, random.choice([1, 1, 3]), random.uniform(0, 1.2 * takes[imported]))  # noqa: S311
        os.kill(pid, signal.SIGKILL)
        os.waitpid(pid, 0)
        looked_at(location, (said + rest_of(out)).decode().splitlines(), seen, imported=imported)
        seen.rounds += 1
    return seen


def main(words):
    """Run one of the three forms."""
    database._WAIT_SECONDS = PATIENCE  # noqa: SLF001
    server_functions._CLOCKS_DIFFER_AT_MOST = ANY_TIME  # noqa: SLF001 (as in the process that made the tables)
    if len(words) == 3:
        write_methods(words[1], words[0], int(words[2]))
        return
    if words[0] == "--at-once":
        write_at_once(words[1], int(words[2]), int(words[3]))
        return
    location, rounds, seed, folder = words
    print(json.dumps(asdict(killed_in_rounds(location, int(rounds), int(seed), Path(folder)))))


if __name__ == "__main__":
    main(sys.argv[1:])
