"""A crowd: 50 people, each with a reading every minute for five minutes, on a file and on a PostgreSQL server, after 19 years.

    python -m tests.benchmarks.crowd [--records FILE] [--on file|server] [--people 50] [--minutes 5] [--every 60] [--processes 1]

Each reading goes through the procedures in a thread of its person, on an engine that its process keeps open, as pages do. People
begin at times spread at random over the first of their intervals and do not wait for one another; what a person waits runs from
the moment at which the reading was to be entered, so a reading that comes late makes the next one of its person wait too. One
reading in each process goes before, for its imports. `--records` is a file that `python -m tests.benchmarks.past` made: it is
copied, and carried over to the server. Without it such a past is made first, which takes about two minutes; all of it is a
quarter of an hour then.

Aims: no message about a lock; 95 of 100 readings entered within 0.5 s.
"""

import argparse
import random
import shutil
import tempfile
import time
from concurrent.futures import ProcessPoolExecutor, ThreadPoolExecutor
from contextlib import ExitStack, contextmanager
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from multiprocessing import get_context
from pathlib import Path

import numpy as np
from sqlmodel import col, select

from calib.errors import CalibError
from calib.procedures.enter.add_reading import add_reading
from calib.records import carry, database
from calib.records.ledger import Signature
from calib.records.tables.jobs import Job
from calib.records.tables.readings import Reading
from tests import postgres
from tests.benchmarks.machine import describe
from tests.benchmarks.past import METHOD, OUTLETS, with_past

WANTED = 0.5  # [s] within which 95 of 100 readings are to be entered
DURABLE = {"fsync": "on", "full_page_writes": "on", "autovacuum": "on"}  # unlike the server of the tests
LOCKED = "in use by another writer"


@dataclass(frozen=True)
class Entered:
    """One reading that was to be entered."""

    due: float  # [s] since the crowd began
    waited: float  # [s] from then on until it was on record
    took: float  # [s] by itself
    error: str | None


@dataclass(frozen=True)
class Person:
    """Somebody with a job of their own, and an instrument."""

    name: str
    job: str
    instrument: str
    due: tuple[float, ...]  # [s] since the crowd began


def people_of(location, count, minutes, every):
    """People with jobs of the last year on record, and when each enters a reading."""
    chance = random.Random(50)  # noqa: S311 (no secret: the same crowd each time)
    with database.reading(location) as session:
        jobs = session.exec(select(Job.job).where(col(Job.job).startswith("P-")).order_by(col(Job.id).desc())).all()
    readings = max(1, round(60 * minutes / every))
    return [
        Person(
            f"Person {place}", jobs[place], f"PA-{place:03}", tuple(first + every * turn for turn in range(readings))
        )
        for place, first in enumerate(chance.uniform(0, every) for _ in range(count))
    ]


def enter(engine, person, turn):
    """One reading, by the procedures."""
    day = datetime.fromisoformat(f"{person.job.split('-')[1]}-06-01T08:00+00:00")
    cells = {
        "job": person.job, "outlet": f"S-{turn % OUTLETS}", "instrument": person.instrument, "unit": "m/s", "method": METHOD,
        "observed_at": (day + timedelta(minutes=turn)).isoformat(), "observations": "2.41;2.38;2.44",
    }  # fmt: skip
    now = datetime.now(UTC)
    with database.writing(engine) as session:
        imported = add_reading(session, cells, None, Signature(person.name, now, "reading add"), now)
    if imported.refusals:
        raise SystemExit(f"{person.name}: {imported.refusals[0].reasons}")


def one_person(engine, person, began):
    """Every reading of a person, each at its time or as soon as the one before is entered."""
    entered = []
    for turn, due in enumerate(person.due, start=1):
        time.sleep(max(0.0, began + due - time.time()))
        started, error = time.time(), None
        try:
            enter(engine, person, turn)
        except CalibError as caught:
            error = str(caught)
        end = time.time()
        entered.append(Entered(due, end - began - due, end - started, error))
    return entered


def one_process(location, people, began):
    """The people of one process, each a thread, on one engine."""
    engine = database.open_records(location)
    try:
        enter(engine, people[0], 0)
        with ThreadPoolExecutor(len(people)) as threads:
            return [
                entered
                for of_person in threads.map(lambda person: one_person(engine, person, began), people)
                for entered in of_person
            ]
    finally:
        engine.dispose()


def crowd(location, people, processes):
    """Everybody's readings, and the seconds that all of it took."""
    began = time.time() + 6.0  # until every process has imported what it needs
    shares = [people[place::processes] for place in range(processes)]
    with ProcessPoolExecutor(processes, mp_context=get_context("spawn")) as pool:
        tasks = [pool.submit(one_process, location, share, began) for share in shares]
        entered = [each for task in tasks for each in task.result()]
    return entered, time.time() - began


def tell(name, entered, seconds, readings_there):
    """Print what was seen."""
    waits, took = (np.array([getattr(each, field) for each in entered]) for field in ("waited", "took"))
    locked = [each for each in entered if each.error and LOCKED in each.error]
    others = [each.error for each in entered if each.error and LOCKED not in each.error]
    print(f"{name}: {len(entered)} readings in {seconds:.0f} s, {readings_there} on record")
    print(f"  messages about a lock: {len(locked)} (aim: 0); other errors: {len(others)} {others[:1] or ''}")
    for what, of in (("waited", waits), ("by itself", took)):
        quantiles = ", ".join(f"{share} % within {np.percentile(of, share):.3f} s" for share in (50, 95, 99))
        print(f"  {what}: {quantiles}, at most {of.max():.3f} s")
    within = float(np.mean(waits <= WANTED))
    print(f"  {within:.1%} within {WANTED} s (aim: 95 %)")


def readings_on_record(location):
    """How many readings the records hold."""
    with database.reading(location) as session:
        return len(session.exec(select(Reading.id)).all())


@contextmanager
def records_on(place, records, folder):
    """A copy of the records: a file, or on a server that runs as long as the block."""
    if place == "file":
        yield str(shutil.copyfile(records, folder / "crowd.sqlite"))
        return
    postgres.SETTINGS.update(DURABLE)
    with postgres.running() as server:
        name = server.new_database()
        carry.carry(str(records), server.url(name))
        # A server does it by itself within minutes; without it each reading takes three times as long there.
        server.sql(name, "ANALYZE")
        yield server.url(name)


def main():
    """Run the crowd on each store."""
    parser = argparse.ArgumentParser()
    parser.add_argument("--records", type=Path)
    parser.add_argument("--on", choices=("file", "server"), action="append")
    parser.add_argument("--people", type=int, default=50)
    parser.add_argument("--minutes", type=float, default=5.0)
    parser.add_argument("--every", type=float, default=60.0, help="seconds between two readings of a person")
    parser.add_argument("--processes", type=int, default=1)
    asked = parser.parse_args()
    print(describe("sqlalchemy", "psycopg"))
    with ExitStack() as opened:
        folder = Path(opened.enter_context(tempfile.TemporaryDirectory()))
        records = asked.records or with_past(folder / "past.sqlite")
        for place in asked.on or ("file", "server"):
            with records_on(place, records, folder) as location:
                people = people_of(location, asked.people, asked.minutes, asked.every)
                entered, seconds = crowd(location, people, asked.processes)
                tell(place, entered, seconds, readings_on_record(location))


if __name__ == "__main__":
    main()
