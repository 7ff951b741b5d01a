"""What an act on the demo's job costs with the demo's records alone and beside a past of 19 years, in turns in one run.

    python -m tests.benchmarks.acts FILE [ROUNDS]

FILE is made by tests.benchmarks.past. Each act is a process of its own, its imports within, on a copy of the records that it may
write to; counted is its CPU time, user and system, the least of the rounds, so that others on the machine count little. The aim is
a ratio of 1.3 at most for each act.
"""

import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Sequence
from pathlib import Path

from calib.faces.demo import run_demo
from tests.benchmarks.machine import describe

ROUNDS = 5
AIM = 1.3
JOB, DAY = "LM-27", "2026-10-14"
PROGRAM = "from calib.faces.cli import main; main()"
READING = (
    "S1-6 corridor", "--instrument", "VA-11", "--unit", "m/s", "--method", "sweep with vane", "--observations", "2.40;2.45;2.42",
    "--at", "2026-10-14T18:00+01:00", "--by", "J. Teasel",
)  # fmt: skip
ACTS: dict[str, tuple[str, ...]] = {
    "reading add": ("reading", "add", JOB, *READING),
    "reading list": ("reading", "list", JOB),
    "report": ("report", JOB, "--format", "json", "--into", "out"),
    "budget": ("budget", "1"),
    "balance": ("balance", JOB),
    "ready": ("ready", "VA-11", "--on", DAY, "--at", "2.5 m/s"),
    "instrument show": ("instrument", "show", "VA-11"),
    "trace down": ("trace", "down", "VA-11", "--on", DAY),
    "audit": ("audit", JOB),
}
_WITH_FINDINGS = {"audit": 1}  # exit status, where it is not 0


def seconds(records: Path, words: Sequence[str], status: int) -> float:
    """CPU time of one act on a copy of records."""
    with tempfile.TemporaryDirectory() as folder:
        copy = shutil.copyfile(records, Path(folder) / "records.sqlite")
        command = [sys.executable, "-c", PROGRAM, *words, "--records", str(copy)]
        before = os.times()
        done = subprocess.run(command, cwd=folder, capture_output=True, check=False)
        after = os.times()
    if done.returncode != status:
        raise SystemExit(done.stderr.decode())
    return after.children_user + after.children_system - before.children_user - before.children_system


def main(past: Path, rounds: int) -> None:
    """Time each act on both in turns."""
    print(describe("sqlalchemy", "numpy"))
    with tempfile.TemporaryDirectory() as folder:
        run_demo(Path(folder), lambda _: None)
        both = (Path(folder) / "demo.sqlite", past)
        for act, words in ACTS.items():
            taken = [[seconds(records, words, _WITH_FINDINGS.get(act, 0)) for records in both] for _ in range(rounds)]
            alone, beside = (min(each) for each in zip(*taken, strict=True))
            print(
                f"{act}: {alone:.2f} s alone, {beside:.2f} s beside the past, {beside / alone:.2f} times (aim: {AIM})"
            )


if __name__ == "__main__":
    main(Path(sys.argv[1]).resolve(), int(sys.argv[2]) if len(sys.argv) > 2 else ROUNDS)
