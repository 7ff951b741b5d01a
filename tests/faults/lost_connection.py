"""A connection to a server that is ended while one writes, many times: each append was done, was not, or is said to be unsure.

Records are appended one after the other; at random times the server ends the session that writes (`pg_terminate_backend`:
SQLSTATE 57P01, PostgreSQL documentation, appendix A). Whoever appends is told in one line and goes on: what was acknowledged is
there, what was said not to be written is not, and of what may be either, which the server was confirming, none is there twice.

Long run: python -m tests.faults.lost_connection 1000
"""

import random
import sys
import time
from collections import Counter
from contextlib import closing
from threading import Event, Thread

from sqlmodel import select

from calib.errors import RecordsError
from calib.records import database, ledger, server_functions
from calib.records.tables.jobs import Job
from tests import postgres
from tests.folders import SIGNED
from tests.writers import ANY_TIME

_APPENDS_BETWEEN = 6  # that there is time for, between two sessions that are ended, at the most
_ENDED = "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE datname = %s AND pid <> pg_backend_pid()"


def _ends(server, name, longest, chance, over):
    """End sessions in a database at random times, so many seconds apart at the most, until it is over."""
    with closing(server.connection()) as connection:
        while not over.is_set():
            time.sleep(chance.random() * longest)
            connection.execute(_ENDED, (name,))


def _append(engine, job):
    """Append a job; how that ended: done, not written, or unsure."""
    try:
        with database.writing(engine) as session:
            ledger.append_entries(session, [Job(job=job, decision_rule="simple")], SIGNED)
    except RecordsError as error:
        said = str(error)
        assert len(said.splitlines()) == 1, said
        assert said.endswith(("; nothing was written", "look before you run it again")), said
        return "not written" if said.endswith("nothing was written") else "unsure"
    return "done"


def lost_connections(server, count, seed):
    """How appends ended until so many connections were lost; raises AssertionError."""
    server_functions._CLOCKS_DIFFER_AT_MOST = ANY_TIME  # noqa: SLF001 (signed with a day of the tests)
    name = server.new_database()
    url = server.url(name)
    database.make(url)
    engine, ended, outcomes, over = database.open_records(url), {}, Counter(), Event()
    begin = time.monotonic()
    assert {_append(engine, f"before {place}") for place in range(_APPENDS_BETWEEN)} == {"done"}
    longest = time.monotonic() - begin
    ending = Thread(target=_ends, args=(server, name, longest, random.Random(seed), over))  # noqa: S311 (no secret)
    ending.start()
    try:
        while outcomes.total() - outcomes["done"] < count:
            job = f"J-{len(ended)}"
            ended[job] = _append(engine, job)
            outcomes[ended[job]] += 1
    finally:
        over.set()
        ending.join()
        engine.dispose()
    with database.reading(url) as session:
        there = Counter(session.exec(select(Job.job)).all())
        assert ledger.verify(session.connection()) == ()
    assert [job for job, how in ended.items() if how == "done" and there[job] != 1] == []
    assert [job for job, how in ended.items() if how == "not written" and there[job]] == []
    assert max(there.values(), default=0) <= 1
    server.drop(name)
    return outcomes


if __name__ == "__main__":
    with postgres.running() as running:
        for how, times in sorted(lost_connections(running, int(sys.argv[1]), seed=20261129).items()):
            print(f"{times:8,}  {how}")
