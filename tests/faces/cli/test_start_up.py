"""What commands do not import: the libraries that take a third of a second each stand inside the commands that need them."""

import json
import subprocess
import sys

import pytest

HEAVY = ("numpy", "scipy", "pint", "matplotlib", "alembic", "jinja2")
SOLVERS = ("scipy.optimize", "scipy.linalg")
PROGRAM = """
import json, sys
from contextlib import redirect_stdout
from io import StringIO
from calib.faces.cli import main
for words in json.loads(sys.argv[1]):
    with redirect_stdout(StringIO()) as told:
        try:
            main(words)
        except SystemExit as end:
            assert end.code in (None, 0, 1), end.code
    print(json.dumps((told.getvalue(), sorted(sys.modules))))
"""


def answers(records, *commands):
    """What each of some commands printed, one after the other in one process, and the modules that were loaded after it."""
    words = json.dumps([[*each, "--records", str(records)] for each in commands])
    ran = subprocess.run([sys.executable, "-c", PROGRAM, words], capture_output=True, text=True, check=True)
    return [(told, set(modules)) for told, modules in map(json.loads, ran.stdout.splitlines())]


def answer(records, *words):
    """What a command printed, and the modules that it left loaded."""
    [(told, modules)] = answers(records, words)
    return told, modules


ON = ("--on", "2026-10-14")


def test_what_asks_no_curve_loads_none_of_the_heavy_libraries(demo_records):
    told = {
        ("due", *ON): "VA-13",  # something is overdue
        ("status", *ON): "VA-13",
        ("instrument", "list", *ON): "VA-11",
        ("ready", "VA-11", "TA-06", "DM-31", *ON): "VA-11: may be used",
    }
    for words, (said, modules) in zip(told, answers(demo_records, *told), strict=True):
        assert told[words] in said  # it answered all the same
        assert (words, modules & set(HEAVY)) == (words, set())


def test_an_indication_asks_a_curve_and_loads_what_that_takes(demo_records):
    told, modules = answer(demo_records, "ready", "VA-11", "--on", "2026-10-14", "--at", "2.5 m/s")
    assert "an indication of 2.5 m/s means" in told
    assert {"numpy", "scipy.special", "pint"} <= modules


def test_a_stored_curve_loads_no_solver(demo_records):
    commands = (("ready", "VA-11", "--at", "2.5 m/s", *ON), ("reading", "list", "LM-27"), ("budget", "1"))
    for words, (told, modules) in zip(commands, answers(demo_records, *commands), strict=True):
        assert told
        assert "numpy" in modules
        assert (words, modules & set(SOLVERS)) == (words, set())


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
