"""What commands do not import: the libraries that take a third of a second each stand inside the commands that need them."""

import subprocess
import sys

import pytest

HEAVY = ("numpy", "scipy", "pint", "matplotlib", "alembic", "jinja2")
SOLVERS = ("scipy.optimize", "scipy.linalg")
PROGRAM = """
import sys
from calib.faces.cli import main
try:
    main(sys.argv[1:])
except SystemExit as end:
    assert end.code in (None, 0, 1), end.code
print(*sorted(sys.modules))
"""


def answer(records, *words):
    """What a command printed, and the modules that it left loaded."""
    command = [sys.executable, "-c", PROGRAM, *words, "--records", str(records)]
    ran = subprocess.run(command, capture_output=True, text=True, check=True)
    *told, modules = ran.stdout.splitlines()
    return "\n".join(told), set(modules.split())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["due", "--on", "2026-10-14"], "VA-13"),  # something is overdue
        (["status", "--on", "2026-10-14"], "VA-13"),
        (["instrument", "list", "--on", "2026-10-14"], "VA-11"),
        (["ready", "VA-11", "TA-06", "DM-31", "--on", "2026-10-14"], "VA-11: may be used"),
    ],
    ids=lambda each: " ".join(each[:2]) if isinstance(each, list) else "",
)
def test_what_asks_no_curve_loads_none_of_the_heavy_libraries(demo_records, words, says):
    told, modules = answer(demo_records, *words)
    assert says in told  # it answered all the same
    assert not modules & set(HEAVY)


def test_an_indication_asks_a_curve_and_loads_what_that_takes(demo_records):
    told, modules = answer(demo_records, "ready", "VA-11", "--on", "2026-10-14", "--at", "2.5 m/s")
    assert "an indication of 2.5 m/s means" in told
    assert {"numpy", "scipy.special", "pint"} <= modules


@pytest.mark.parametrize(
    "words", [("reading", "list", "LM-27"), ("budget", "1"), ("ready", "VA-11", "--at", "2.5 m/s")]
)
def test_a_stored_curve_loads_no_solver(demo_records, words):
    told, modules = answer(demo_records, *words, *(("--on", "2026-10-14") if words[0] == "ready" else ()))
    assert told
    assert "numpy" in modules
    assert not modules & set(SOLVERS)


# What the gate asks of an instrument: itself, its calibrations and what they rest on, its events, checks and reviews, its partner;
# and the ledger, since a curve counts by whether it was written before its certificate was accepted; entries: what was taken back;
# files: statements of evidence that came from another site.
OF_THE_GATE = {
    "calibrations",
    "curves",
    "entries",
    "events",
    "files",
    "instruments",
    "ledger",
    "reviews",
    "row",
    "supersessions",
}


@pytest.mark.parametrize(
    ("words", "besides"),
    [
        (["ready", "VA-11", "--on", "2026-10-14"], set()),
        (["instrument", "list", "--on", "2026-10-14"], {"files"}),  # it counts the photos
    ],
    ids=["ready", "instrument list"],
)
def test_a_start_declares_the_tables_that_it_asks_and_no_other(demo_records, words, besides):
    _, modules = answer(demo_records, *words)
    within = "calib.records.tables."
    assert {each.removeprefix(within) for each in modules if each.startswith(within)} == OF_THE_GATE | besides
