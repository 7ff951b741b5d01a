"""From Enter to the answer: readings typed one after another into `calib enter`, beside a past of 19 years.

    python -m tests.benchmarks.enter FILE [READINGS]

FILE is made by tests.benchmarks.past; it is copied first. The command runs at a terminal as a person sits before it, with its
records kept open: the time is that from the Enter behind the values until the answer stands there, the draft and the transaction
on the disk within. Once at the demo's job (30 readings), and once at a job of 40 outlets of the last year.
"""

import os
import re
import shutil
import statistics
import sys
import tempfile
import time
from pathlib import Path

from tests.benchmarks import machine
from tests.terminal import Terminal

JOBS = {
    "LM-27": ("S1-1 reading room", ("VA-11", "sweep with vane")),
    "P-2025-149": ("S-3", ("VA-11", "sweep with vane")),
}
_WARM = 2  # answers before the time counts: the first one imports what is needed


def processor_seconds(process: int) -> float:
    """What a process used of a processor so far, by /proc."""
    fields = Path(f"/proc/{process}/stat").read_text(encoding="utf-8").rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


def answer_times(records: Path, job: str, readings: int) -> tuple[list[float], float]:
    """Seconds until each answer, and those of a processor for one reading, with what is asked before the next line."""
    outlet, (meter, method) = JOBS[job]
    setup = ("--instrument", meter, "--method", method, "--unit", "m/s", "--by", "P. Past", "--sure")
    times, used = [], 0.0
    with Terminal("enter", job, *setup, records=records) as terminal:
        for count in range(readings + _WARM):
            terminal.shown(r": $")
            terminal.type(f"to {outlet}")
            terminal.shown(re.escape(f"{outlet} [m/s]: "))
            begun = time.perf_counter()
            terminal.type("2.41 2.38 2.44")
            terminal.shown(r"reading \d+, .*[\s\S]*?would pass")
            if count == _WARM:
                used = processor_seconds(terminal.process.pid)
            if count >= _WARM:
                times.append(time.perf_counter() - begun)
        terminal.shown(r": $")
        used = (processor_seconds(terminal.process.pid) - used) / (readings - 1)
        terminal.type("stop")
    return times, used


if __name__ == "__main__":
    wanted = int(sys.argv[2]) if len(sys.argv) > 2 else 40
    print(machine.describe("sqlalchemy", "numpy"))
    for each in JOBS:
        with tempfile.TemporaryDirectory() as folder:
            taken, used = answer_times(shutil.copyfile(sys.argv[1], Path(folder) / "past.sqlite"), each, wanted)
        median, most = statistics.median(taken), statistics.quantiles(taken, n=20)[-1]
        seen = f"median {1000 * median:.0f} ms, 95 % within {1000 * most:.0f} ms, of {wanted} readings"
        print(f"{each}: {seen}; of a processor {1000 * used:.0f} ms for each with going there")
