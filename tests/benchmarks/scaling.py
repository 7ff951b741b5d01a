"""Cost and memory per reading of flows, budgets and totals, from a thousand to a million readings in one run.

Run: python tests/benchmarks/scaling.py
Promise: the cost per reading does not grow, and memory stays below 1 kB per reading.
"""

import tracemalloc

from flow_budgets import job, seconds, with_calib
from machine import describe

SIZES = (1_000, 10_000, 100_000, 1_000_000)


def peak_bytes(size: int) -> int:
    """Largest memory taken while a job is evaluated, its readings not counted."""
    readings = job(size)
    tracemalloc.start()
    with_calib(readings)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    return peak


def main() -> None:
    """Time and weigh each size."""
    print(describe("numpy", "scipy"))
    first = None
    for size in SIZES:
        readings = job(size)
        cost = seconds(lambda readings=readings: with_calib(readings), 5) / size
        first = first or cost
        print(
            f"{size:9d} readings: {1e6 * cost:6.2f} us per reading, {cost / first:4.2f} of the first, "
            f"{peak_bytes(size) / size:5.0f} bytes per reading at the peak"
        )


if __name__ == "__main__":
    main()
