"""An act costs what it is about: with more of other jobs, instruments and years on record it asks and loads no more.

Counted are the statements that reach the database and the rows that come back, on the demo's records with two sizes of a past
(tests/benchmarks/past.py). No source: what the house promises of itself.
"""

import shutil
from contextlib import contextmanager

import pytest
from sqlalchemy import Engine, event

from tests.benchmarks.past import add_past
from tests.command import calib

JOB, DAY = "LM-27", "2026-10-14"
TYPED = ("--reason", "a slip", "--by", "J. Teasel")
ACTS = {
    "reading add": (
        "reading", "add", JOB, "S1-6 corridor", "--instrument", "VA-11", "--unit", "m/s", "--method", "sweep with vane",
        "--observations", "2.40;2.45;2.42", "--at", "2026-10-14T18:00+01:00", "--by", "J. Teasel",
    ),
    "reading list": ("reading", "list", JOB),
    "reading show": ("reading", "show", "1"),
    "report": ("report", JOB, "--format", "json"),
    "budget": ("budget", "1"),
    "balance": ("balance", JOB),
    "conformity": ("conformity", JOB),
    "ready": ("ready", "VA-11", "--on", DAY, "--at", "2.5 m/s"),
    "instrument show": ("instrument", "show", "VA-11"),
    "calibration show": ("calibration", "show", "VA-11"),
    "calibration add": (
        "calibration", "add", "VA-11", "N-1", "--laboratory", "L", "--calibrated-on", "2026-11-01", "--by", "I. Marlow",
    ),
    "calibration withdraw": (
        "calibration", "withdraw", "VA-11", "TH-26-0412", "--reason", "another meter's", "--by", "I. Marlow",
    ),
    "conditions list": ("conditions", "list", JOB),
    "outlet list": ("outlet", "list", JOB),
    "check list": ("check", "list", "TA-05"),
    "trace up": ("trace", "up", "reading", "8", "--on", DAY),
    "trace down": ("trace", "down", "VA-11", "--on", DAY),
    "log of an instrument": ("log", "--instrument", "VA-11"),
    "log of a job": ("log", "--job", JOB),
    "interval review": ("interval", "review", "VA-11", "--on", DAY),
    "reading withdraw": ("reading", "withdraw", JOB, "6", *TYPED),
    "reading correct": ("reading", "correct", JOB, "6", "--observations", "2.30;2.31;2.29", "--indication", "2.30", *TYPED),
    "refusal dismiss": ("refusal", "dismiss", JOB, "1", *TYPED),
    "check add": (
        "check", "add", "VA-11", "--kind", "zero", "--value", "0.5", "--low", "0.00", "--high", "0.02", "--unit", "m/s", "--at",
        "2026-10-20T10:00+00:00", "--by", "J. Teasel",
    ),
    "instrument suspend": ("instrument", "suspend", "VA-11", "--at", "2026-10-10T10:00+00:00", *TYPED),
    "instrument amend": ("instrument", "amend", "VA-11", "--set", "resolution=0.02", "--always-wrong", *TYPED),
    "method amend": ("method", "amend", "sweep with vane", "--set", "relative_standard_uncertainty_percent=3", *TYPED),
    "outlet amend": ("outlet", "amend", JOB, "S1-1 reading room", "--set", "design_flow=700", *TYPED),
    "job amend": ("job", "amend", JOB, "--set", "decision_rule=simple", *TYPED),
    "report --issue": (
        "report", JOB, "--issue", "--format", "json", "--because", "a slip", "--with-gaps", "refused", "--by", "J. Teasel",
    ),
    "audit of an instrument": ("audit", "VA-11"),
    "audit of a job": ("audit", JOB),
    "audit of a report": ("audit", JOB, "2"),
}  # fmt: skip
# Acts with a finding: overdue instruments of the past, a check that fails, what an assessor would write down.
FINDING = {"due", "check add", *(act for act in ACTS if act.startswith("audit"))}
OF_THE_FLEET = {
    "due": ("due", "--on", DAY),
    "open reviews": ("review", "list", "--open"),
    "instrument list": ("instrument", "list", "--on", DAY),
    "ready of a fleet": ("ready", "VA-11", "TA-06", "--on", DAY),
}
# As found a tenth too high: an impact review is opened, and everything that hangs on the instrument is evaluated twice.
FOUND_TOO_HIGH = """phase,reference,indication,unit,expanded_uncertainty,coverage_factor
as-found,0.50,0.55,m/s,0.014,2
as-found,4.00,4.40,m/s,0.042,2
as-found,15.00,16.5,m/s,0.130,2
as-left,0.50,0.50,m/s,0.014,2
as-left,4.00,4.00,m/s,0.042,2
as-left,15.00,15.0,m/s,0.130,2
"""


@contextmanager
def counted():
    """Statements that are sent, and rows that are fetched, on every file opened meanwhile."""
    counts = {"statements": 0, "rows": 0}

    def row_of(_cursor, row):
        counts["rows"] += 1
        return row

    def connected(connection, _record):
        connection.row_factory = row_of

    def sent(*_):
        counts["statements"] += 1

    event.listen(Engine, "connect", connected)
    event.listen(Engine, "before_cursor_execute", sent)
    try:
        yield counts
    finally:
        event.remove(Engine, "connect", connected)
        event.remove(Engine, "before_cursor_execute", sent)


@pytest.fixture(scope="module")
def pasts(demo_folder, tmp_path_factory):
    """The demo's records with a short past and with a long one."""
    folder = tmp_path_factory.mktemp("pasts")
    sizes = {"short": (1, 5, 80, 1, 1), "long": (3, 20, 400, 6, 8), "reviewed": (1, 5, 80, 1, 5)}
    for name, past in sizes.items():
        path = shutil.copyfile(demo_folder / "demo.sqlite", folder / f"{name}.sqlite")
        add_past(path, *past)
    return folder


def cost(act, records, folder):
    """What an act counts on a copy of records."""
    copy = shutil.copyfile(records, folder / records.name)
    certificate = folder / "comparisons.csv"
    certificate.write_text(FOUND_TOO_HIGH, encoding="utf-8")
    into = ("--into", str(folder / records.stem))
    files = {"report": into, "report --issue": into, "calibration add": ("--comparisons", str(certificate))}
    with counted() as counts:
        done = calib(*(ACTS | OF_THE_FLEET)[act], *files.get(act, ()), records=copy)
    assert done.status == (act in FINDING), done.err
    assert ("impact review of certificate N-1, 16 lines" in done.err) is (act == "calibration add")
    return counts


@pytest.mark.parametrize("act", ACTS)
def test_an_act_costs_the_same_whatever_else_is_on_record(pasts, tmp_path, act):
    short, long = (cost(act, pasts / f"{name}.sqlite", tmp_path) for name in ("short", "long"))
    assert long == short
    assert short["rows"] > 0


@pytest.mark.parametrize("act", OF_THE_FLEET)
def test_an_act_on_the_whole_fleet_costs_the_same_whatever_reviews_were_closed(pasts, tmp_path, act):
    """The fleet itself is the same."""
    few, many = (cost(act, pasts / f"{name}.sqlite", tmp_path) for name in ("short", "reviewed"))
    assert many == few
    assert few["rows"] > 0


def test_a_command_that_reads_the_whole_past_is_seen(pasts, tmp_path):
    def verified(name):
        with counted() as counts:
            calib("export", str(tmp_path / name), records=pasts / f"{name}.sqlite")
        return counts["rows"]

    assert verified("long") > verified("short")
