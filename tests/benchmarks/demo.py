"""`calib demo`, from nothing to two issued reports and three pictures, beside the imports that it rests on, in turns in one run.

    python tests/benchmarks/demo.py

The baseline is the user CPU time of a process that imports what the demo needs of other libraries and does nothing; the aim, on two
idle cores, is 8 s of wall clock.
"""

import os
import statistics
import subprocess
import sys
import tempfile
import time

from machine import describe

ROUNDS = 5
BASELINE = "import sqlmodel, typer, pint, scipy.optimize, matplotlib.figure, typst, xlsxwriter"
DEMO = "from calib.faces.cli import main; main()"


def seconds(*arguments: str) -> tuple[float, float]:
    """User CPU time and wall clock of one run of Python."""
    before, start = os.times().children_user, time.perf_counter()
    subprocess.run([sys.executable, "-c", *arguments], capture_output=True, check=True)
    return os.times().children_user - before, time.perf_counter() - start


def main() -> None:
    """Time both in turns, each demo in a folder of its own."""
    print(describe("matplotlib", "typst"))
    imports, demos = [], []
    for _ in range(ROUNDS):
        imports.append(seconds(BASELINE))
        with tempfile.TemporaryDirectory() as folder:
            demos.append(seconds(DEMO, "demo", "--into", folder))
    baseline, ours = (statistics.median(user for user, _ in each) for each in (imports, demos))
    print(f"imports: {baseline:.2f} s   calib demo: {ours:.2f} s of user CPU time   (medians of {ROUNDS})")
    print(f"ratio: {ours / baseline:.1f}; wall clock {min(wall for _, wall in demos):.1f} s at the least (aim: 8 s)")


if __name__ == "__main__":
    main()
