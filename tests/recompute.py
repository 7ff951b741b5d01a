"""Digits that this project computed itself: what the compute.py of a folder gives; `python -m tests.recompute` writes it.

A compute.py has a function `tables`: file -> rows, each column -> text as it stands in the file. It imports nothing of the
package. Columns that it does not give are transcribed, and stay as they are.
"""

import csv
import importlib.util
import sys
from functools import cache

from tests.reference import SOURCES, folder, rows


@cache
def script(name):
    """The compute.py of a folder as a module."""
    spec = importlib.util.spec_from_file_location(f"compute_{name}", folder(name) / "compute.py")
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def write(name):
    """Write what the script gives over the files of its folder."""
    for file, computed in script(name).tables().items():
        path = folder(name) / f"{file}.csv"
        old = rows(name, file) if path.exists() else [{}] * len(computed)
        merged = [before | after for before, after in zip(old, computed, strict=True)]
        with path.open("w", encoding="utf-8", newline="") as lines:
            out = csv.DictWriter(lines, merged[0], lineterminator="\n")
            out.writeheader()
            out.writerows(merged)


if __name__ == "__main__":
    for asked in sys.argv[1:] or [name for name in SOURCES if (folder(name) / "compute.py").exists()]:
        write(asked)
