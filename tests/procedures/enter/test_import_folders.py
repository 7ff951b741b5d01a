"""Import of folders: everything in one transaction, all or nothing; every finding at once; refused readings are kept.

Source: `calib help` (import, exit-statuses); common practice, no source, for what is refused.
"""

import random
import shutil
from datetime import datetime

import pytest

from calib.records import database
from calib.records.tables.calibrations import Acceptance, Calibration
from calib.records.tables.comparisons import Comparison
from calib.records.tables.curves import StoredCurve
from calib.records.tables.instruments import Instrument
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading, Refusal
from tests.folders import (
    UNTOUCHED,
    all_of,
    changed,
    findings_of,
    flows_of,
    imported,
    ledger_head,
    only,
    records_of,
    small_job,
    write,
)

LATER = datetime.fromisoformat("2028-01-01T00:00+00:00")  # after the last reading of any case


def test_wrong_cells_in_several_files_and_folders_are_all_named_at_once(empty_records, tmp_path):
    sheets = changed(
        ("instruments.csv", 4, "resolution", "-1"),
        ("calibrations.csv", 2, "accepted_on", "2026-02-30"),
        ("comparisons.csv", 5, "reference", "four"),
        ("methods.csv", 2, "basis", ""),
        ("outlets.csv", 2, "width", "-400"),
        ("outlets.csv", 2, "service", "sideways"),
        ("outlets.csv", 5, "diameter", "0"),
        ("readings.csv", 3, "observed_at", "2026-03-05T09:20"),
        ("readings.csv", 5, "unit", "Pa"),
    )
    register = ("instruments.csv", "calibrations.csv", "comparisons.csv", "methods.csv")
    one = write(tmp_path / "one", only(sheets, *register))
    two = write(tmp_path / "two", only(sheets, "jobs.csv", "outlets.csv", "readings.csv"))
    assert [(one.source, one.row, one.column, one.value) for one in findings_of(empty_records, two, one)] == [
        (str(one / "calibrations.csv"), 2, "accepted_on", "2026-02-30"),
        (str(one / "comparisons.csv"), 5, "reference", "four"),
        (str(one / "instruments.csv"), 4, "resolution", "-1"),
        (str(one / "methods.csv"), 2, "basis", ""),
        (str(two / "outlets.csv"), 2, "service", "sideways"),
        (str(two / "outlets.csv"), 2, "width", "-400"),
        (str(two / "outlets.csv"), 5, "diameter", "0"),
        (str(two / "readings.csv"), 3, "observed_at", "2026-03-05T09:20"),
        (str(two / "readings.csv"), 5, "unit", "Pa"),
    ]
    assert ledger_head(empty_records) == UNTOUCHED


def test_a_wrong_file_does_not_hide_a_wrong_cell_of_another(empty_records, tmp_path):
    folder = write(tmp_path / "in", changed(("outlets.csv", 2, "width", "-400")))
    (folder / "readings.csv").write_bytes(b"job,\x81")
    assert [(one.source, one.row) for one in findings_of(empty_records, folder)] == [
        (str(folder / "outlets.csv"), 2),
        (str(folder / "readings.csv"), None),
    ]


def test_a_failed_import_leaves_earlier_records_alone(small_records, tmp_path):
    before = ledger_head(small_records)
    sheets = only(changed(("readings.csv", 2, "unit", "Pa")), "readings.csv")
    assert findings_of(small_records, write(tmp_path / "in", sheets))
    assert ledger_head(small_records) == before


def test_a_number_that_the_laboratory_gave_to_a_recorded_calibration_is_named(small_records, tmp_path):
    cells = [("calibrations.csv", 5, "certificate", "C-101"), ("calibrations.csv", 5, "laboratory", "North Laboratory")]
    cells += [("comparisons.csv", row, "certificate", "C-101") for row in (17, 18, 19)]
    sheets = only(changed(*cells), "calibrations.csv", "comparisons.csv")
    sheets = {"calibrations.csv": sheets["calibrations.csv"][3:], "comparisons.csv": sheets["comparisons.csv"][15:]}
    (finding,) = findings_of(small_records, write(tmp_path / "in", sheets))
    assert (finding.row, finding.column, finding.value) == (2, "certificate", "C-101")


def test_a_second_certificate_of_a_recorded_instrument_is_new(small_records, tmp_path):
    cells = [("calibrations.csv", 5, "certificate", "C-204"), ("calibrations.csv", 5, "calibrated_on", "2026-02-15")]
    cells += [("calibrations.csv", 5, "accepted_on", "2026-02-20")]
    cells += [("comparisons.csv", row, "certificate", "C-204") for row in (17, 18, 19)]
    sheets = only(changed(*cells), "calibrations.csv", "comparisons.csv")
    sheets = {"calibrations.csv": sheets["calibrations.csv"][3:], "comparisons.csv": sheets["comparisons.csv"][15:]}
    written = imported(small_records, write(tmp_path / "in", sheets)).records
    assert written == {"calibration": 1, "comparison": 3, "correction_curve": 1, "acceptance": 1}


def test_what_an_import_wrote_is_counted(empty_records, tmp_path):
    assert imported(empty_records, write(tmp_path / "in", small_job())).records == {
        "instrument": 4,
        "method": 1,
        "job": 1,
        "calibration": 4,
        "comparison": 18,
        "correction_curve": 4,
        "reference_standard": 1,
        "acceptance": 4,
        "outlet": 4,
        "reading": 4,
    }
    assert ledger_head(empty_records)[0] == 4 + 1 + 1 + 4 + 18 + 4 + 1 + 4 + 4 + 4


@pytest.mark.parametrize(
    ("file", "table"),
    [
        ("instruments.csv", Instrument),
        ("comparisons.csv", Comparison),
        ("outlets.csv", Outlet),
        ("readings.csv", Reading),
    ],
)
def test_every_cell_is_kept_as_typed(small_records, file, table):
    with database.reading(str(small_records)) as session:
        kept = [one.model_dump(mode="json") for one in all_of(session, table)]
    for row, record in zip(small_job()[file], kept, strict=True):
        shown = {column: cell for column, cell in row.items() if column in record and column != "outlet"}
        assert shown == {column: "" if record[column] is None else str(record[column]) for column in shown}


@pytest.mark.parametrize("typed", ["0.84", "0.840", ".84", "+0.84", "8.4e-1", "084e-2"])
def test_a_factor_is_kept_in_the_digits_that_were_typed(empty_records, tmp_path, typed):
    imported(empty_records, write(tmp_path / "in", changed(("outlets.csv", 2, "outlet_factor", typed))))
    with database.reading(str(empty_records)) as session:
        assert all_of(session, Outlet)[0].outlet_factor == typed


def test_an_acceptance_names_who_imported_it(small_records):
    with database.reading(str(small_records)) as session:
        assert {one.accepted_by for one in all_of(session, Acceptance)} == {"A. Person"}


def test_a_calibration_without_acceptance_is_kept_and_waits(empty_records, tmp_path):
    sheets = changed(("calibrations.csv", 5, "accepted_on", ""))
    assert imported(empty_records, write(tmp_path / "in", sheets)).records["acceptance"] == 3


def test_the_curve_is_made_from_what_was_left(small_records):
    with database.reading(str(small_records)) as session:
        assert [one.phase for one in all_of(session, StoredCurve)] == [
            "as-found",
            "as-left",
            "as-found",
            "as-found",
        ]


def test_as_found_comparisons_beside_as_left_ones_are_kept_and_not_used(empty_records, small_records, tmp_path):
    """ISO/IEC 17025:2017, 7.8.4.1 d: results before and after an adjustment are both reported."""
    sheets = small_job()
    found = [
        dict(row, phase="as-found", reference=str(float(row["reference"]) + 40))
        for row in sheets["comparisons.csv"][7:12]
    ]
    sheets["comparisons.csv"] = found + sheets["comparisons.csv"]
    imported(empty_records, write(tmp_path / "in", sheets))
    assert flows_of(empty_records) == pytest.approx(flows_of(small_records), rel=1e-12)


def refusals_of(records):
    with database.reading(str(records)) as session:
        return [one.model_dump() for one in all_of(session, Refusal)]


def test_a_refused_reading_is_kept_whole_with_every_reason(empty_records, tmp_path):
    cells = [("calibrations.csv", 3, "due_on", "2026-02-20"), ("readings.csv", 4, "remarks", "hurried")]
    cells += [("readings.csv", 4, "indication", "50"), ("readings.csv", 4, "observations", "49;50;51")]
    written = imported(empty_records, write(tmp_path / "in", changed(*cells)))
    assert (written.records["reading"], written.records["refusal"]) == (3, 1)
    (refused,) = written.refusals
    assert (refused.job, refused.outlet, refused.instrument) == ("J-1", "R-1", "VA-2")
    assert [
        ("was due on 2026-02-20" in one, "outside the calibrated measuring interval" in one) for one in refused.reasons
    ] == [
        (True, False),
        (False, True),
    ]
    (kept,) = refusals_of(empty_records)
    typed = {"observed_at": "2026-03-05T09:30+01:00", "indication": "50", "unit": "fpm", "observations": "49;50;51"}
    typed |= {"operator": "T. Two", "remarks": "hurried", "averaging_s": "30"}
    assert typed.items() <= kept.items()


def test_an_import_of_refused_readings_alone_is_written(small_records, tmp_path):
    cells = [("readings.csv", row, "observed_at", f"2027-06-0{row}T09:00+01:00") for row in (2, 3, 4, 5)]
    written = imported(small_records, write(tmp_path / "in", only(changed(*cells), "readings.csv")), now=LATER)
    assert written.records == {"refusal": 4}
    assert len(refusals_of(small_records)) == 4


@pytest.mark.parametrize("seed", range(4))
def test_the_order_of_rows_changes_no_flow(small_records, tmp_path, seed):
    """To the rounding of floats: sums over the comparisons are taken in another order."""
    shuffled = small_job()
    for number, rows in enumerate(shuffled.values()):
        random.Random(100 * seed + number).shuffle(rows)  # noqa: S311 (an order, no secret)
    assert flows_of(records_of(tmp_path, shuffled)) == pytest.approx(flows_of(small_records), rel=1e-12)


def test_how_rows_are_spread_over_folders_changes_no_flow(empty_records, small_records, tmp_path):
    sheets = small_job()
    folders = [write(tmp_path / name, {name: rows}) for name, rows in sheets.items()]
    imported(empty_records, *reversed(folders))
    assert flows_of(empty_records) == flows_of(small_records)


def test_the_demo_s_folders_may_come_together(empty_records, tmp_path, demo_folder):
    source = demo_folder / "demo-import"
    folders = [shutil.copytree(source / name, tmp_path / name) for name in ("job", "register")]
    now = datetime.fromisoformat("2026-10-15T09:00+01:00")  # after the last day of the demo
    assert imported(empty_records, *folders, now=now).records["instrument"] > 1


def test_a_tag_that_is_corrected_by_a_later_import_reaches_its_calibration(empty_records, tmp_path):
    """The register may come first and the certificates in a later import."""
    sheets = small_job()
    imported(empty_records, write(tmp_path / "register", only(sheets, "instruments.csv", "methods.csv")))
    rest = only(sheets, "calibrations.csv", "comparisons.csv", "jobs.csv", "outlets.csv", "readings.csv")
    imported(empty_records, write(tmp_path / "rest", rest))
    with database.reading(str(empty_records)) as session:
        assert len(all_of(session, Calibration)) == 4
    assert flows_of(empty_records).keys() >= {"S-1", "S-2", "R-1", "E-1"}
