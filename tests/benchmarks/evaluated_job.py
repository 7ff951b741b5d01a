"""A job evaluated as a command does it, from the open session to flows, budgets, totals and statements, beside `uncertainties`.

    python -m tests.benchmarks.evaluated_job [READINGS ...]

The kernel of `uncertainties` (tests/benchmarks/flow_budgets.py) knows the numbers already and asks no gate; both are timed in turns
in one run, by processor time. Promise: at 10,000 readings at least 5 times faster per reading than that kernel; 20 is the goal.
"""

import math
import sys
import tempfile
import time
from pathlib import Path

from calib.procedures.measure.evaluate import evaluate
from calib.records import database
from tests.benchmarks.flow_budgets import BASELINE_READINGS, job, with_uncertainties
from tests.benchmarks.report_forms import job_of
from tests.folders import NOW, records_of

SIZES = (1_000, 10_000)
_ROUNDS = 5


def evaluated(records):
    """Seconds of processor time from an open session to the evaluated job."""
    with database.reading(str(records)) as session:
        start = time.process_time()
        found = evaluate(session, "J-1", NOW)
        seconds = time.process_time() - start
    assert found.flow is not None
    assert not found.refused
    return seconds / len(found.measured)


def kernel():
    """Seconds of processor time per reading that the same model takes with `uncertainties`."""
    readings = job(BASELINE_READINGS)
    start = time.process_time()
    with_uncertainties(readings)
    return (time.process_time() - start) / readings.size


def main(sizes):
    """Print the figures."""
    for size in sizes:
        with tempfile.TemporaryDirectory() as folder:
            records = records_of(Path(folder), job_of(size))
            ours = theirs = math.inf
            for _ in range(_ROUNDS):
                ours, theirs = min(ours, evaluated(records)), min(theirs, kernel())
        told = f"{1e6 * ours:.1f} us a reading, uncertainties {1e6 * theirs:.1f} us"
        print(f"{size} readings: {told}: {theirs / ours:.1f} times faster (promised: 5)")


if __name__ == "__main__":
    main([int(one) for one in sys.argv[1:]] or SIZES)
