"""A program that is killed at any moment loses nothing it acknowledged, and leaves nothing half written.

Killed by SIGKILL, which no program can answer, at random moments of writes and imports; a server is stopped as by a crash. Source:
common practice, no source; that a transaction is whole or not there is SQLite's and PostgreSQL's own documentation.
"""

import json
import os
import re
import signal
import subprocess
import sys
from contextlib import contextmanager
from pathlib import Path

import pytest

from calib.records import database, ledger
from calib.records.tables.methods import Method
from tests import postgres
from tests.folders import all_of, imported, only, small_job, write

ROOT = Path(__file__).parents[2]
REGISTER = ("instruments.csv", "calibrations.csv", "comparisons.csv", "methods.csv")
unix = pytest.mark.skipif(os.name != "posix", reason="a process is forked and killed as Unix does")


def rounds(location, count, seed, tmp_path):
    """Let children be killed in so many rounds, and hear what was seen."""
    imported(location, write(tmp_path / "register", only(small_job(), *REGISTER)))
    words = [sys.executable, "-m", "tests.writers", str(location), str(count), str(seed), str(tmp_path / "in")]
    ran = subprocess.run(words, cwd=ROOT, capture_output=True, text=True, check=False)
    assert ran.returncode == 0, ran.stderr
    return json.loads(ran.stdout)


@unix
def test_a_program_killed_at_a_random_moment_loses_nothing_acknowledged_in_a_file(empty_file, tmp_path):
    """45 rounds; with the 30 on a server 75 in all, beside those of test_upgrade, test_backup and tests.faults.kills."""
    seen = rounds(empty_file, 45, 0, tmp_path)
    assert seen["wrong"] == []
    assert seen["rounds"] == 45
    assert seen["killed_within"] > 15  # the moments do fall into transactions
    assert seen["acknowledged"] > 7


@pytest.fixture
def empty_file(tmp_path):
    path = tmp_path / "records.sqlite"
    database.make(str(path))
    return path


@unix
def test_a_program_killed_at_a_random_moment_loses_nothing_acknowledged_on_a_server(empty_there, tmp_path):
    seen = rounds(empty_there, 30, 7, tmp_path)
    assert seen["wrong"] == []
    assert seen["rounds"] == 30
    assert seen["killed_within"] > 10
    assert seen["acknowledged"] > 5


@contextmanager
def writer(location, name):
    """A process that writes more than it is given time for."""
    words = [sys.executable, "-m", "tests.writers", name, location, "100000"]
    with subprocess.Popen(words, cwd=ROOT, stderr=subprocess.PIPE, text=True) as process:
        yield process


def entries_of(location):
    with database.reading(location) as session:
        return ledger.ledger_head(session)[0]


@unix
def test_a_server_that_crashes_keeps_what_it_acknowledged_and_writers_are_told():
    """Stopped without a word to anybody and without putting its pages in order, three times."""
    with postgres.running() as server:
        location = server.url(server.new_database())
        database.make(location)
        for number in range(3):
            before = entries_of(location)
            with writer(location, f"w{number}") as process:
                while entries_of(location) < before + 5:
                    assert process.poll() is None, process.stderr.read()
                seen = entries_of(location)
                server.stop(signal.SIGQUIT)
                assert re.search("(Records|Unreachable|Unsure)Error", process.communicate()[1].splitlines()[-1])
            server.start()
            assert entries_of(location) >= seen
            with database.reading(location) as session:
                assert ledger.verify(session.connection()) == ()
                written = [one.method for one in all_of(session, Method)]
                assert len(written) == entries_of(location)
