"""An outlet is amended by a new record that supersedes the old; the job then counts as one that was typed right from the start.

Sources: ISO/IEC 17025:2017, 7.5.2 (amendments can be traced to earlier versions; from memory). What is expected of the flows is a
job that was imported with the right value.
"""

import sqlite3
from contextlib import closing
from datetime import datetime, timedelta

import pytest

from calib.errors import BadInputError, NotInRecordsError
from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.in_force import outlets_in_force
from calib.procedures.on_record.jobs_by_name import outlet_named
from calib.procedures.on_record.outlets import differences, latest_revision, outlet_cells, outlet_history, outlets
from calib.records import database, ledger
from calib.records.tables.ledger import LedgerEntry
from calib.records.tables.outlets import Outlet, OutletRevision
from tests.command import copied
from tests.every_way import every_way
from tests.folders import HEADERS, NOW, all_of, ledger_head, records_of

SAME = 1e-12
LATER = NOW + timedelta(days=1)
NO_FACTOR = ("outlet_factor=", "outlet_factor_standard_uncertainty=", "outlet_factor_source=")
FREE = ("outlet_factor=1", "outlet_factor_standard_uncertainty=0", "outlet_factor_source=free opening")


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("ways"), every_way())


@pytest.fixture
def records(job, tmp_path):
    return copied(job, tmp_path / "records.sqlite")


def amended(records, outlet, *changes, reason="measured again", at=NOW, job="E-1"):
    """Amend an outlet; the cells of the revision."""
    with database.writing(str(records)) as session:
        signed = ledger.Signature("A. Person", at, "outlet amend")
        return amend_outlet(session, job, outlet, changes, reason, signed).model_dump()


def findings(records, outlet, *changes, reason="measured again"):
    """Column and expectation of each finding; nothing was written."""
    before = ledger_head(records)
    with pytest.raises(BadInputError) as caught:
        amended(records, outlet, *changes, reason=reason)
    assert ledger_head(records) == before
    assert {one.source for one in caught.value.findings} == {None}
    return [(one.column, one.value, one.expected) for one in caught.value.findings]


def right_from_the_start(folder, outlet, *changes):
    """The records of the job imported with the changes in outlets.csv."""
    sheets, cells = every_way(), dict(one.split("=", 1) for one in changes)
    rows = [dict.fromkeys(cells, "") | row for row in sheets["outlets.csv"]]
    sheets["outlets.csv"] = [row | cells if row["outlet"] == outlet else row for row in rows]
    return records_of(folder, sheets)


def figures(records):
    """Every flow with what is said of it, and every total."""
    with database.reading(str(records)) as session:
        found = evaluate(session, "E-1", LATER)
    flows = {one.outlet.outlet: _of(found.flow, found.judgement, row) for row, one in enumerate(found.measured)}
    totals = {
        (one.system, one.room, one.service): (one.outlets, one.design, *_of(all_.flow, all_.judgement, row))
        for all_ in (found.of_systems, found.of_job, found.of_rooms)
        for row, one in enumerate(all_.totals)
    }
    return flows | totals, sorted(one.outlet.outlet for row, one in enumerate(found.measured) if found.in_totals[row])


def _of(results, judgement, row):
    combined = results.combined
    return (
        results.value[row], combined.standard_uncertainty[row], combined.degrees_of_freedom[row],
        results.coverage_factor[row], judgement.percent_of_design[row], judgement.probability[row],
    )  # fmt: skip


CORRECTIONS = {
    "a dimension": ("S-1", "width=410"),
    "the limit of the dimensions": ("S-1", "dimension_limit=5"),
    "a diameter in another unit": ("D-1", "diameter=15.75", "dimension_unit=in", "dimension_limit=0.05"),
    "a section": ("D-3", "shape=rectangular"),
    "a factor": ("S-1", "outlet_factor=0.91", "outlet_factor_standard_uncertainty=0.03"),
    "where a factor comes from": ("X-1", "outlet_factor_source=traverses"),
    "an effective area": (
        "X-1", *NO_FACTOR[:2], "shape=", "diameter=", "effective_area=0.0151", "effective_area_unit=m2",
        "effective_area_standard_uncertainty=0.0004", "outlet_factor_source=maker",
    ),
    "a design": ("S-2", "design_flow=510", "tolerance_percent=5"),
    "a design in another unit": ("S-3", "design_flow=190", "flow_unit=L/s"),
    "no design": ("X-1", "design_flow=", "flow_unit=", "tolerance_percent="),
    "a design where there was none": ("D-3", "design_flow=420", "flow_unit=L/s", "tolerance_percent=10"),
    "an outlet that is a duct": ("S-1", *NO_FACTOR, "place=duct", "in_totals=yes"),
    "a duct that is an outlet": ("D-3", *FREE, "place=outlet"),
    "a duct that is in no total": ("D-1", "in_totals=no"),
    "a room": ("S-1", "room=Wash"),
    "a system": ("S-2", "system=AH-2"),
    "a service": ("D-2", "service=exhaust"),
}  # fmt: skip


@pytest.mark.parametrize("correction", CORRECTIONS)
def test_an_amended_outlet_counts_as_one_that_was_typed_right_from_the_start(records, tmp_path, correction):
    before = figures(records)
    amended(records, *CORRECTIONS[correction])
    found, counted = figures(records)
    expected, expected_counted = figures(right_from_the_start(tmp_path / "right", *CORRECTIONS[correction]))
    assert counted == expected_counted
    assert found.keys() == expected.keys()
    for name, values in expected.items():
        assert found[name] == pytest.approx(values, rel=SAME, nan_ok=True)
    assert (found, counted) != before


def test_there_and_back_again_is_no_change_of_any_flow(records):
    before = figures(records)
    amended(records, "S-1", "width=410", "outlet_factor=0.9")
    amended(records, "S-1", "width=400", "outlet_factor=0.84")
    assert repr(figures(records)) == repr(before)


# --- what is kept ----------------------------------------------------------------------------------------------------------------


def in_records(records, table):
    with database.reading(str(records)) as session:
        return [one.model_dump() for one in all_of(session, table)]


def cells_in_force(records, outlet):
    with database.reading(str(records)) as session:
        found = {one.outlet: outlet_cells(one) for one in outlets_in_force(session).values()}
    return found[outlet]


def test_the_outlet_as_first_typed_stays_as_it_is(records):
    before = in_records(records, Outlet)
    amended(records, "S-1", "width=410")
    assert in_records(records, Outlet) == before


def test_a_revision_holds_the_whole_outlet(records):
    first = cells_in_force(records, "S-1")
    amended(records, "S-1", "width=410", "room=", reason=" the first time at the frame ")
    (revision,) = in_records(records, OutletRevision)
    assert {name: revision[name] for name in first} == first | {"width": "410", "room": None}
    assert (revision["revision"], revision["reason"]) == (2, "the first time at the frame")


def test_digits_stay_as_they_were_typed(records):
    assert amended(records, "S-1", "width = 0410.00 ", "design_flow=1.05e3")["width"] == "0410.00"
    cells = cells_in_force(records, "S-1")
    assert (cells["width"], cells["design_flow"], cells["outlet_factor"]) == ("0410.00", "1.05e3", "0.84")


def test_other_digits_of_the_same_value_are_a_change(records):
    assert amended(records, "S-1", "width=400.0")["width"] == "400.0"


def test_a_value_may_hold_an_equals_sign(records):
    assert amended(records, "S-1", "outlet_factor_source=y=1")["outlet_factor_source"] == "y=1"


def test_a_second_amendment_rests_on_the_first(records):
    assert amended(records, "S-1", "width=410")["revision"] == 2
    assert amended(records, "S-1", "height=210", reason="and the height")["revision"] == 3
    assert amended(records, "S-2", "room=Wash")["revision"] == 2
    cells = cells_in_force(records, "S-1")
    assert (cells["width"], cells["height"]) == ("410", "210")


def test_the_ledger_names_who_amended_and_when_and_verifies(records):
    amended(records, "S-1", "width=410", at=datetime.fromisoformat("2026-03-09T17:05:00+01:00"))
    with database.reading(str(records)) as session:
        entry = session.get(LedgerEntry, ledger.ledger_head(session)[0])
        assert (entry.person, entry.time) == ("A. Person", "2026-03-09T17:05:00+01:00")
        assert (entry.action, entry.record_table) == ("outlet amend", "outlet_revision")
        assert ledger.verify(session.connection()) == ()


def test_a_revision_that_is_changed_behind_the_program_is_found(records):
    amended(records, "S-1", "width=410")
    with closing(sqlite3.connect(records)) as file, file:
        guards = "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'outlet_revision'"
        for (name,) in file.execute(guards).fetchall():
            file.execute(f'DROP TRIGGER "{name}"')
        file.execute("UPDATE outlet_revision SET width = '420'")
    with database.reading(str(records)) as session:
        assert "outlet_revision 1" in {one.record for one in ledger.verify(session.connection())}


# --- what is wrong ---------------------------------------------------------------------------------------------------------------

EXPECTED = {
    ("S-1", "depth=10"): "set",
    ("S-1", "outlet=S-9"): "set",
    ("S-1", "job=E-2"): "set",
    ("S-1", "width"): "set",
    ("S-1", ""): "set",
    ("S-1", "=410"): "set",
    ("S-1", "width=-410"): "width",
    ("S-1", "width=410,5"): "width",
    ("S-1", "width=wide"): "width",
    ("S-1", "shape=oval"): "shape",
    ("S-1", "service=supplies"): "service",
    ("S-1", "system="): "system",
    ("S-1", "width="): "width",
    ("S-1", "dimension_unit="): "dimension_unit",
    ("S-1", "diameter=200"): "diameter",
    ("S-1", "outlet_factor_standard_uncertainty="): "outlet_factor_standard_uncertainty",
    ("S-1", "outlet_factor_source="): "outlet_factor_source",
    ("S-1", "outlet_factor=1.4"): "outlet_factor",
    ("S-1", "place=duct"): "outlet_factor",
    ("S-1", "flow_unit="): "flow_unit",
    ("S-1", "found_factor=GR-1"): "outlet_factor",
    ("S-2", "found_factor=GR-1"): "found_factor",
    ("D-1", "outlet_factor=0.9"): "outlet_factor",
    ("D-3", "width=200"): "width",
}


@pytest.mark.parametrize("change", EXPECTED, ids="".join)
def test_a_wrong_change_is_named_and_nothing_is_written(records, change):
    assert EXPECTED[change] in [column for column, *_ in findings(records, *change)]


@pytest.mark.parametrize("reason", ["", "  ", "\n"])
def test_a_reason_is_asked_for(records, reason):
    assert findings(records, "S-1", "width=410", reason=reason) == [
        ("reason", reason, "what was wrong, in a few words")
    ]


@pytest.mark.parametrize("changes", [("width=400",), ("width= 400 ", "room=Store"), ("effective_area=",), ()])
def test_no_change_is_no_amendment(records, changes):
    expected = "a value other than the one on record"
    assert findings(records, "S-1", *changes) == [("set", "; ".join(changes), expected)]


def test_the_same_column_twice_is_named(records):
    assert findings(records, "S-1", "width=410", "width=420") == [("set", "width=420", "each column once (width)")]


def test_everything_wrong_is_named_at_once(records):
    found = findings(
        records, "S-1", "depth=1", "width=0", "height=210", "height=220", "outlet_factor_standard_uncertainty=",
        "flow_unit=kg/s", reason=" ",
    )  # fmt: skip
    assert sorted(column for column, *_ in found) == sorted(
        ["set", "set", "width", "outlet_factor_standard_uncertainty", "flow_unit", "reason"]
    )


def test_an_unknown_column_is_told_those_there_are(records):
    ((_, _, expected),) = findings(records, "S-1", "depth=1")
    names = [name.strip() for name in expected.partition("one of the columns ")[2].split(",")]
    assert set(HEADERS["outlets.csv"]) - {"job", "outlet"} <= set(names)
    assert not {"job", "outlet"} & set(names)


@pytest.mark.parametrize(
    ("named", "outlet", "said"), [("E-1", "S-9", "no outlet 'S-9' in job E-1"), ("E-9", "S-1", "no job 'E-9'")]
)
def test_what_is_not_in_the_records_cannot_be_amended(records, named, outlet, said):
    before = ledger_head(records)
    with pytest.raises(NotInRecordsError, match=said):
        amended(records, outlet, "width=410", job=named)
    assert ledger_head(records) == before


# --- looking it up ---------------------------------------------------------------------------------------------------------------


def test_the_history_tells_each_amendment_with_what_it_changed(records):
    amended(records, "S-1", "width=410", "room=", reason="at the frame")
    amended(records, "S-1", "width=405", reason="with the tape", at=LATER)
    with database.reading(str(records)) as session:
        found = outlet_history(session, "E-1", "S-1")
        last = latest_revision(session, outlet_named(session, "E-1", "S-1"))
    assert (found.revision, found.cells["width"], found.cells["room"]) == (3, "405", None)
    assert [(one.revision, one.changes, one.reason, one.person, one.time) for one in found.revisions] == [
        (2, {"width": ("400", "410"), "room": ("Store", "")}, "at the frame", "A. Person", NOW.isoformat()),
        (3, {"width": ("410", "405")}, "with the tape", "A. Person", LATER.isoformat()),
    ]
    assert (last.revision, last.width) == (3, "405")


def test_an_outlet_as_first_typed_is_its_first_revision(records):
    with database.reading(str(records)) as session:
        assert latest_revision(session, outlet_named(session, "E-1", "S-1")) is None
        assert [(one.outlet, one.revision) for one in outlets(session, "E-1")] == [
            (row["outlet"], 1) for row in every_way()["outlets.csv"]
        ]


def test_differences_are_shown_blank_where_there_is_nothing():
    before, after = {"a": None, "b": "1", "c": "2"}, {"a": "0", "b": None, "c": "2"}
    assert differences(before, after) == {"a": ("", "0"), "b": ("1", "")}
