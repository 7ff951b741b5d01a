"""Start-up of `calib due` on a small records file beside `python -c "import sqlmodel, typer"`, turn by turn in one run.

Run: python tests/benchmarks/start_up.py
Promise: within 1.5 times.
"""

import statistics
import subprocess
import sys
import tempfile
import time
from pathlib import Path

from machine import describe

ROUNDS = 15


def seconds(arguments: list[str]) -> float:
    """One run of Python with arguments."""
    start = time.perf_counter()
    done = subprocess.run([sys.executable, *arguments], capture_output=True, check=False)
    elapsed = time.perf_counter() - start
    if done.returncode not in (0, 1):  # 1: something is overdue, as it should be in the demo
        raise SystemExit(done.stderr.decode())
    return elapsed


def main() -> None:
    """Make the demo's records, then time both in turns."""
    print(describe("sqlmodel", "typer"))
    run = "from calib.faces.cli import main; main()"
    with tempfile.TemporaryDirectory() as folder:
        subprocess.run([sys.executable, "-c", run, "demo", "--into", folder], capture_output=True, check=True)
        due = ["-c", run, "due", "--records", str(Path(folder) / "demo.sqlite")]
        imports = ["-c", "import sqlmodel, typer"]
        pairs = [(seconds(imports), seconds(due)) for _ in range(ROUNDS)]
    baseline, ours = (statistics.median(column) for column in zip(*pairs, strict=True))
    print(f"import sqlmodel, typer: {baseline:.3f} s   calib due: {ours:.3f} s   (medians of {ROUNDS})")
    print(f"ratio: {ours / baseline:.2f} (promised: at most 1.5)")


if __name__ == "__main__":
    main()
