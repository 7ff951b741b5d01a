"""A time to come is a mistake in what was typed: one line, exit status 2, nothing written; a clock just ahead is told of.

Source: the interface (a minute is what two clocks may differ by; common practice, no source).
"""

from datetime import date, datetime, timedelta

import pytest

from calib.clock import clock
from calib.errors import BadInputError
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.typed.columns import FILES
from calib.procedures.typed.time_to_come import expected_of, notice_of
from calib.records import database
from calib.records.tables.readings import Reading
from tests.command import calib
from tests.folders import NOW, all_of, changed, ledger_head, small_job, write

FOLLOWS = {"traverses.csv", "factor_pairs.csv"}  # they name a reading, whose time is looked at


@pytest.mark.parametrize(("ahead", "is_wrong", "is_said"), [
    (-3600, False, False), (0, False, False), (1, False, True), (60, False, True), (61, True, False), (3600, True, False),
])  # fmt: skip
@pytest.mark.parametrize("zone", ["+00:00", "-11:00", "+13:45"])
def test_a_minute_ahead_is_taken_and_said_and_more_is_wrong_whatever_the_zone(ahead, is_wrong, is_said, zone):
    at = (NOW + timedelta(seconds=ahead)).astimezone(datetime.fromisoformat(f"2026-01-01T00:00{zone}").tzinfo)
    assert (expected_of(at, NOW) is not None) is is_wrong
    assert (notice_of(at, NOW) is not None) is is_said


@pytest.mark.parametrize(("day", "now", "is_wrong"), [
    ("2026-03-06", "2026-03-06T00:00+00:00", False),
    ("2026-03-07", "2026-03-06T23:58+00:00", True),
    ("2026-03-07", "2026-03-06T23:59+00:00", False),  # the clock of the one who typed it has passed midnight
])  # fmt: skip
def test_a_day_to_come_is_wrong(day, now, is_wrong):
    assert (expected_of(date.fromisoformat(day), datetime.fromisoformat(now)) is not None) is is_wrong


def test_every_column_of_a_time_says_whether_it_has_happened():
    """A due date, and the days from which and until which somebody is authorised, are those that may be to come."""
    timed = {
        (file, column.name)
        for file, declaration in FILES.items()
        if file not in FOLLOWS
        for column in declaration
        if (column.check("noon") or "").startswith(("a date", "a time"))
    }
    happened = {(file, column.name) for file, declaration in FILES.items() for column in declaration if column.happened}
    may_come = {("calibrations.csv", "due_on"), ("competences.csv", "from_on"), ("competences.csv", "until_on")}
    assert timed - happened == may_come


AHEAD = [
    ("readings.csv", 2, "observed_at"),
    ("calibrations.csv", 2, "calibrated_on"),
    ("calibrations.csv", 2, "accepted_on"),
]


@pytest.mark.parametrize(("file", "row", "column"), AHEAD)
def test_an_import_with_a_time_to_come_writes_nothing_and_ends_with_2(empty_records, tmp_path, file, row, column):
    later = clock() + timedelta(days=2)
    cell = later.isoformat() if column == "observed_at" else str(later.date())
    ran = calib("import", write(tmp_path / "in", changed((file, row, column, cell))), records=empty_records)
    assert ran.status == 2
    assert f"{file} row {row}, {column}: {cell!r}; expected a" in ran.err
    assert "that is not in the future" in ran.err
    assert ledger_head(empty_records) == (0, "0" * 64)


COMMANDS = {
    "reading": (
        "reading",
        "add",
        "J-1",
        "S-1",
        "--instrument",
        "VA-1",
        "--unit",
        "m/s",
        "--method",
        "sweep",
        "--indication",
        "2.4",
    ),
    "event": ("instrument", "suspend", "VA-1", "--reason", "dropped"),
    "check": (
        "check",
        "add",
        "VA-1",
        "--kind",
        "zero",
        "--value",
        "0.01",
        "--low",
        "-0.02",
        "--high",
        "0.02",
        "--unit",
        "m/s",
    ),
    "pair": ("instrument", "pair", "VA-2", "PG-1", "--reason", "one case"),
    "conditions": (
        "conditions",
        "add",
        "J-1",
        "noon",
        "--temperature",
        "21.0 degC",
        "--temperature-uncertainty",
        "0.2",
    ),
}


@pytest.mark.parametrize("act", COMMANDS)
def test_a_command_with_a_time_to_come_writes_nothing_and_ends_with_2_in_one_line(small_records, act):
    before = ledger_head(small_records)
    at = (clock() + timedelta(minutes=5)).isoformat()
    ran = calib(*COMMANDS[act], "--at", at, "--by", "T. Person", records=small_records)
    assert (ran.status, ran.out, ran.err.count("\n")) == (2, "", 1), ran.err
    assert f"command line, --at: {at!r}; expected a time that is not in the future" in ran.err
    assert ledger_head(small_records) == before


def test_a_report_is_not_issued_at_a_time_to_come(small_records, tmp_path):
    before = ledger_head(small_records)
    at = (clock() + timedelta(days=1)).isoformat()
    ran = calib(
        "report",
        "J-1",
        "--issue",
        "--issued",
        at,
        "--into",
        tmp_path / "out",
        "--by",
        "E. Person",
        records=small_records,
    )
    assert (ran.status, ran.err.count("\n")) == (2, 1), ran.err
    assert f"--issued: {at!r}; expected a time that is not in the future" in ran.err
    assert ledger_head(small_records) == before


@pytest.mark.parametrize("act", ["event", "check", "pair"])
def test_a_command_with_a_time_just_ahead_is_done_and_says_so(small_records, act):
    before = ledger_head(small_records)
    at = (clock() + timedelta(seconds=50)).isoformat()
    ran = calib(*COMMANDS[act], "--at", at, "--by", "T. Person", records=small_records)
    assert ran.status == 0, ran.err
    assert f"notice: {at} is " in ran.err
    assert "s ahead of this clock; taken as typed" in ran.err
    assert ledger_head(small_records)[0] == before[0] + 1


def test_a_reading_just_ahead_of_this_clock_stands_as_typed_and_says_so(tmp_path):
    from calib.faces.files import import_folders
    from calib.records.ledger import Signature

    at = NOW + timedelta(seconds=40)
    folder = write(tmp_path / "in", changed(("readings.csv", 2, "observed_at", at.isoformat())))
    path = tmp_path / "records.sqlite"
    database.make(str(path))
    with database.writing(str(path)) as session:
        imported = import_folders(session, [folder], Signature("A. Person", NOW, "import"), NOW)
    assert imported.refusals == ()
    notice = f"notice: {folder}/readings.csv row 2, observed_at: {at.isoformat()} is 40 s ahead of this clock; taken as typed"
    assert notice in imported.remarks
    with database.reading(str(path)) as session:
        evaluation = evaluate(session, "J-1", NOW)
        assert at.isoformat() in [each.observed_at for each in all_of(session, Reading)]
    assert evaluation.refused == ()


def test_the_small_job_has_happened():
    """What the other cases change."""
    assert datetime.fromisoformat(small_job()["readings.csv"][0]["observed_at"]) < NOW


def test_the_procedures_refuse_by_themselves(small_records):
    """Whatever face asks."""
    from calib.procedures.fleet.record_event import record_event
    from calib.records.ledger import Signature

    late = NOW + timedelta(seconds=61)
    with pytest.raises(BadInputError, match="not in the future"), database.writing(str(small_records)) as session:
        record_event(session, "VA-1", "suspension", late, "dropped", Signature("A. Person", NOW, "test"))
