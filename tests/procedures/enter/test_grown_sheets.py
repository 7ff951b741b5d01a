"""A sheet that is imported again: rows on record are left out, changed ones named with both values, new ones written."""

import copy
import json
import shutil

import pytest

from calib.procedures.typed.columns import FILES
from calib.records import database
from calib.records.tables.readings import Reading, Refusal
from tests.command import calib
from tests.every_way import every_way
from tests.folders import all_of, findings_of, imported, ledger_head, only, records_of, small_job, write


@pytest.fixture
def grown(tmp_path):
    """The small job as a sheet that may grow."""
    return lambda sheets, name="again": write(tmp_path / name, sheets)


def test_a_folder_imported_again_writes_nothing_and_counts_each_row(small_records, grown):
    before, sheets = ledger_head(small_records), small_job()
    written = imported(small_records, grown(sheets))

    assert written.on_record == {file: len(rows) for file, rows in sheets.items()}
    assert (written.records, written.refusals) == ({}, ())
    assert ledger_head(small_records) == before


def test_a_row_that_is_new_is_written_beside_those_on_record(small_records, grown):
    sheets = only(small_job(), "readings.csv", "outlets.csv", "jobs.csv")
    sheets["readings.csv"].append(sheets["readings.csv"][1] | {"observed_at": "2026-03-05T10:20+01:00"})
    written = imported(small_records, grown(sheets))

    assert written.records == {"reading": 1}
    assert written.on_record == {"jobs.csv": 1, "outlets.csv": 4, "readings.csv": 4}


CHANGED = [
    ("instruments.csv", "serial", "0010", "001", "amended in the register"),
    ("methods.csv", "relative_standard_uncertainty_percent", "3", "2.5", "amended as a method"),
    ("jobs.csv", "client", "Another", "Client", "amended as a job"),
    ("outlets.csv", "design_flow", "1200", "1000", "amended with a reason"),
    ("outlets.csv", "flow_unit", "L/s", "m3/h", "amended with a reason"),
    ("calibrations.csv", "calibrated_on", "2026-01-13", "2026-01-12", "a sheet changes no record"),
    ("comparisons.csv", "expanded_uncertainty", "0.0199", "0.0198", "a sheet changes no record"),
    ("readings.csv", "observations", "4.19;4.22;4.20", "4.19;4.22;4.19", "corrected with a reason"),
    ("readings.csv", "remarks", "windy", "", "corrected with a reason"),
]


@pytest.mark.parametrize(("file", "column", "typed", "stored", "step"), CHANGED)
def test_a_cell_that_was_changed_is_named_with_both_values(small_records, grown, file, column, typed, stored, step):
    before, sheets = ledger_head(small_records), small_job()
    sheets[file][0][column] = typed
    [finding] = findings_of(small_records, grown(sheets))

    assert (finding.row, finding.column, finding.value) == (2, column, typed)
    assert (repr(stored) if stored else "a blank cell") in finding.expected
    assert step in finding.expected
    assert ledger_head(small_records) == before


SAME = [
    ("outlets.csv", "design_flow", "1000.0"),
    ("instruments.csv", "range_low", "0.30"),
    ("readings.csv", "observed_at", "2026-03-05T08:10Z"),
    ("readings.csv", "observations", "4.190; 4.220; 4.19"),
    ("readings.csv", "revision", "1"),
    ("calibrations.csv", "accepted_on", ""),
]


@pytest.mark.parametrize(("file", "column", "typed"), SAME)
def test_a_cell_that_says_the_same_in_another_way_is_not_changed(small_records, grown, file, column, typed):
    sheets = only(small_job(), file)
    sheets[file] = [row | {column: row.get(column, "")} for row in sheets[file]]
    sheets[file][0][column] = typed

    assert imported(small_records, grown(sheets)).on_record == {file: len(sheets[file])}


def test_two_spellings_of_a_unit_are_one(small_records, grown):
    sheets = only(small_job(), "readings.csv")
    sheets["readings.csv"][2]["unit"] = "ft/min"

    assert imported(small_records, grown(sheets)).records == {}


def test_a_refused_reading_is_on_record_too(small_records, grown):
    sheets = only(small_job(), "readings.csv")
    sheets["readings.csv"][0]["observed_at"] = "2026-01-01T09:10+01:00"  # before its calibration
    assert len(imported(small_records, grown(sheets, "once")).refusals) == 1

    again = imported(small_records, grown(sheets, "twice"))

    assert (again.records, again.on_record) == ({}, {"readings.csv": 4})
    with database.reading(str(small_records)) as session:
        assert (len(all_of(session, Reading)), len(all_of(session, Refusal))) == (4, 1)


def test_a_row_that_stands_twice_in_the_sheet_is_named(small_records, grown):
    sheets = only(small_job(), "methods.csv")
    sheets["methods.csv"] *= 2
    [finding] = findings_of(small_records, grown(sheets))

    assert finding.row == 3
    assert "the records hold it already" in finding.expected


def test_what_came_with_a_certificate_is_not_added_to_it_later(small_records, grown):
    sheets = only(small_job(), "calibrations.csv", "comparisons.csv")
    sheets["comparisons.csv"].append(sheets["comparisons.csv"][0] | {"reference": "0.70", "indication": "0.75"})
    [finding] = findings_of(small_records, grown(sheets))

    assert (finding.row, finding.column) == (20, "certificate")


# --- every kind of record --------------------------------------------------------------------------------------------------------


def test_each_kind_of_the_job_in_every_way_is_known_again(tmp_path):
    records = records_of(tmp_path, every_way())
    written = imported(records, write(tmp_path / "again", copy.deepcopy(every_way())))

    assert written.on_record == {file: len(rows) for file, rows in every_way().items()}
    assert written.records == {}


def test_an_export_of_the_demo_is_known_again_row_by_row(demo_folder, tmp_path):
    """Whatever was amended, corrected, withdrawn or superseded since: it is an export of these very records."""
    records = shutil.copyfile(demo_folder / "demo.sqlite", tmp_path / "records.sqlite")
    told = calib("export", tmp_path / "out", "--json", records=records).document
    again = calib("import", tmp_path / "out", "--json", records=records)

    assert again.status == 0, again.err
    rows = {file: count for file, count in told["imported"].items() if file in FILES}
    assert again.document == {"records": {}, "on_record_already": rows, "refusals": []}


@pytest.fixture
def records(_small, tmp_path):
    """A file that holds the small job."""
    return shutil.copyfile(_small, tmp_path / "records.sqlite")


# --- what befell a record since ---------------------------------------------------------------------------------------------------


def test_an_outlet_that_was_amended_is_known_as_it_was_and_as_it_is(records, grown):
    amended = calib(
        "outlet", "amend", "J-1", "S-1", "--set", "design_flow=1100", "--reason", "a new schedule", records=records
    )
    assert amended.status == 0, amended.err
    for flow, is_known in (("1000", True), ("1100", True), ("1200", False)):
        sheets = only(small_job(), "outlets.csv")
        sheets["outlets.csv"][0]["design_flow"] = flow
        again = calib("import", grown(sheets, flow), "--json", records=records)
        assert (again.status == 0) is is_known, again.err
    assert "'1200'; expected '1100' as on record" in again.err


def test_a_reading_that_was_withdrawn_is_not_brought_back(records, grown):
    calib("reading", "withdraw", "1", "--reason", "the wrong outlet", records=records)
    again = calib("import", grown(only(small_job(), "readings.csv")), "--json", records=records)

    assert again.document["records"] == {}


# --- as a person sees it ----------------------------------------------------------------------------------------------------------


def test_the_command_says_what_it_left_out(records, grown):
    again = calib("import", grown(small_job()), records=records)

    assert again.status == 0
    assert "readings.csv: 4 rows on record already are left out" in again.err
    assert "nothing new: nothing was written" in again.err


def test_the_command_names_how_a_record_is_amended(records, grown):
    sheets = small_job()
    sheets["outlets.csv"][0]["design_flow"] = "1200"
    again = calib("import", grown(sheets), records=records)

    assert again.status == 2
    assert (
        "outlets.csv row 2, design_flow: '1200'; expected '1000' as on record (a sheet changes no record, it is amended by "
        "`calib outlet amend`)"
    ) in " ".join(again.err.split())


def test_a_dry_run_counts_them_too(records, grown):
    tried = calib("import", grown(small_job()), "--dry-run", "--json", records=records)

    assert json.loads(tried.out)["on_record_already"]["readings.csv"] == 4
