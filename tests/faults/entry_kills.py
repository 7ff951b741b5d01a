"""A technician's sitting that is killed at any step, and taken up again: each reading is there once, an answered one always.

The sitting is a fork of this process. It counts its steps (every call of a function, in Python or in C, between the first line
that it reads and its end) and kills itself (SIGKILL) at one of them; every other one is a step to or from the disk. Then a person
goes on: answers what is offered, and types again only what neither was answered nor is offered.

Long run: python -m tests.faults.entry_kills 2000
"""

import io
import json
import os
import random
import re
import shutil
import signal
import sys
import tempfile
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path

from sqlmodel import select

from calib.faces.cli import main
from calib.records import database
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading
from tests.command import calib
from tests.folders import lasting, records_of, small_job

_OF_THE_DISK = {"execute", "commit", "fsync", "replace", "unlink", "write", "flush", "open", "print", "rename"}
LINES = {"S-2": "3.08 3.13 3.09", "R-1": "1.31 1.33", "E-1": "2.51 2.53"}
_WORDS = ("enter", "J-1", "--instrument", "VA-1", "--unit", "m/s", "--method", "sweep", "--by", "T. One", "--sure")


def half_measured(folder):
    """Records of the small job in which only one outlet is measured."""
    sheets = small_job()
    sheets["readings.csv"] = [row for row in sheets["readings.csv"] if row["outlet"] not in LINES]
    return records_of(folder, lasting(sheets))


class _Lines(io.StringIO):
    """Lines of which the first one read starts the count of steps; it ends with the last."""

    def __init__(self, text, dies_at, steps):
        super().__init__(text)
        self._dies_at, self._steps, self._count = dies_at, steps, 0

    def readline(self, *_):
        line = super().readline()
        sys.setprofile(self._step if line else None)
        return line

    def _step(self, _frame, event, argument):
        if event in ("call", "c_call"):
            self._count += 1
            if self._count == self._dies_at:
                os.kill(os.getpid(), signal.SIGKILL)
            self._steps[0] = self._count
            if getattr(argument, "__name__", "") in _OF_THE_DISK:
                self._steps.append(self._count)


def sitting(records, lines, dies_at=0):
    """What a forked sitting said before it ended, or was killed at a step; how many steps it had, and which were of the disk."""
    with tempfile.TemporaryFile("w+") as said, tempfile.TemporaryFile("w+") as counted:
        child = os.fork()
        if child == 0:
            steps = [0]
            sys.stdin = _Lines("".join(f"{line}\n" for line in lines), dies_at, steps)
            try:
                with redirect_stdout(said), redirect_stderr(said):
                    main([*_WORDS, "--records", str(records)])
            finally:
                sys.setprofile(None)
                said.flush()
                counted.write(json.dumps(steps))
                counted.flush()
                os._exit(0)
        os.waitpid(child, 0)
        said.seek(0)
        counted.seek(0)
        return said.read(), json.loads(counted.read() or "[]")


def readings_at(records):
    """How many readings each outlet has."""
    with database.reading(str(records)) as session:
        named = session.exec(select(Outlet.outlet).join(Reading)).all()
    return {outlet: named.count(outlet) for outlet in LINES}


def entry_kill(source, folder, dies_at):
    """Kill a sitting at a step, and go on as a person would; raises AssertionError where a reading is lost or there twice."""
    records = shutil.copyfile(source, Path(folder) / f"{dies_at}.sqlite")
    typed = [line for outlet, values in LINES.items() for line in (f"to {outlet}", values)]
    before, _ = sitting(records, typed, dies_at)
    answered = set(re.findall(r"^reading \d+, ([^:]+):", before, re.MULTILINE))
    there = {outlet for outlet, count in readings_at(records).items() if count}
    assert answered <= there, f"step {dies_at}: answered, and not there: {answered - there}"
    offered, _ = sitting(records, [])
    if "write it now?" in offered or "not written:" in offered:
        offered, _ = sitting(records, ["yes"])
    answered |= set(re.findall(r"^reading \d+, ([^:]+):", offered, re.MULTILINE))
    left = [line for outlet, values in LINES.items() if outlet not in answered for line in (f"to {outlet}", values)]
    sitting(records, left)
    assert set(readings_at(records).values()) == {1}, f"step {dies_at}: {readings_at(records)}"
    assert not list(Path(folder).glob(f"{dies_at}.sqlite.half-typed*")), f"step {dies_at}: a draft is left"
    assert calib("verify", records=records).status == 0, f"step {dies_at}: the records do not verify"
    for path in Path(folder).glob(f"{dies_at}.sqlite*"):
        path.unlink()


def entry_kills(count, seed, folder):
    """Kill so many sittings, each at a step of its own; how many steps there are to die at."""
    source = half_measured(Path(folder) / "made")
    trial = shutil.copyfile(source, Path(folder) / "trial.sqlite")
    typed = [line for outlet, values in LINES.items() for line in (f"to {outlet}", values)]
    said, (steps, *of_the_disk) = sitting(trial, typed)
    assert set(readings_at(trial).values()) == {1}, said
    chance = random.Random(seed)  # noqa: S311 (no secret: the same steps each time)
    chosen = {*chance.sample(range(1, steps), count // 2), *chance.sample(of_the_disk, count - count // 2)}
    for each in sorted(chosen):
        entry_kill(source, folder, each)
    return steps


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as made:
        wanted = int(sys.argv[1])
        print(f"{wanted} kills at one of {entry_kills(wanted, 1, made)} steps: nothing lost, nothing there twice")
