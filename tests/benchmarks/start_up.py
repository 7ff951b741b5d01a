"""Start-up of commands that ask no curve, on a small file, beside `python -c "import sqlmodel, typer"`, in turns in one run.

Run: python tests/benchmarks/start_up.py
Promise: within 1.2 times.
"""

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from machine import describe

ROUNDS = 15
COMMANDS = (("due",), ("instrument", "list"), ("ready", "VA-11"))


def seconds(arguments: list[str]) -> float:
    """One run of Python with arguments."""
    start = time.perf_counter()
    done = subprocess.run([sys.executable, *arguments], capture_output=True, check=False)
    elapsed = time.perf_counter() - start
    if done.returncode not in (0, 1):  # 1: something is overdue, as it should be in the demo
        raise SystemExit(done.stderr.decode())
    return elapsed


def main() -> None:
    """Make the demo's records, then time all in turns."""
    print(describe("sqlmodel", "typer"))
    run = "from calib.faces.cli import main; main()"
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([sys.executable, "-c", run, "demo", "--into", folder], capture_output=True, check=True)
        records = ("--records", str(Path(folder) / "demo.sqlite"))
        timed = (["-c", "import sqlmodel, typer"], *(["-c", run, *command, *records] for command in COMMANDS))
        rounds = [[seconds(arguments) for arguments in timed] for _ in range(ROUNDS)]
    imports, *ours = zip(*rounds, strict=True)
    print(
        f"import sqlmodel, typer: {statistics.median(imports):.3f} s, {min(imports):.3f} s at the least ({ROUNDS} rounds)"
    )
    for command, times in zip(COMMANDS, ours, strict=True):
        least, median = min(times) / min(imports), statistics.median(times) / statistics.median(imports)
        print(
            f"calib {' '.join(command)}: {median:.2f} times by medians, {least:.2f} at the least (promised: at most 1.2)"
        )


if __name__ == "__main__":
    main()
