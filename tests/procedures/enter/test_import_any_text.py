"""Whatever stands in a cell: an import is written or names what is wrong, and what was written can be reported and verified.

Common practice, no source. Each case is a mistake that somebody may type, however unlikely.
"""

import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.records import database
from tests.command import calib
from tests.folders import UNTOUCHED, changed, findings_of, ledger_head, records_of, small_job, write

CELLS = [
    (file, row, column) for file, rows in small_job().items() for row in range(2, len(rows) + 2) for column in rows[0]
]
SURPRISES = [
    "", "0", "-0", "-1", "1e12", "-1e12", "1e-12", "9999", "100", "1e-6", "nan", "٣", "１２", "²", "fpm", "km/h", "Pa", "degC",
    "2026-01-13", "0001-01-01", "0001-01-01T00:00+14:00", "2026-03-05T09:10-12:00", "VA-1", "RS-1", "C-102", "S-1", "as-found",
    "round", "exhaust", "temperature", "1;2", "1;1;1", "1e12;-1e12", "RS-1;PG-1", "\x1b[2J", "a\nb", "=1", "x" * 200,
]  # fmt: skip
TYPED = st.sampled_from(SURPRISES) | st.text(
    st.characters(exclude_categories=["Cs"], exclude_characters="\0"), max_size=20
)


@pytest.fixture(scope="module")
def blank(tmp_path_factory):
    """A records file that holds nothing yet."""
    path = tmp_path_factory.mktemp("blank") / "records.sqlite"
    database.make(str(path))
    return path


def report_on(records, folder, job):
    """Statuses of what people do with records."""
    asked = (("report", job, "--format", "json,csv", "--into", folder), ("due", "--on", "2027-03-05"), ("verify",))
    return [calib(*words, records=records).status for words in asked]


@given(cell=st.sampled_from(CELLS), typed=TYPED)
@settings(max_examples=40)
def test_any_text_in_any_cell_is_taken_or_named(blank, cell, typed):
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        records = shutil.copyfile(blank, folder / "records.sqlite")
        ran = calib("import", write(folder / "in", changed((*cell, typed))), records=records)
        if ran.status == 2:
            assert ran.err.count("error: ") >= 1
            assert ledger_head(records) == UNTOUCHED
            return
        job = typed.strip() if cell[0] == "jobs.csv" and cell[2] == "job" else "J-1"
        assert report_on(records, folder, job)[::2] == [0, 0]


@pytest.mark.parametrize("year", ["9999", "3000", "1899", "0001"])
@pytest.mark.parametrize("column", ["calibrated_on", "accepted_on"])
def test_a_year_that_no_instrument_sees_is_named(empty_records, tmp_path, year, column):
    folder = write(tmp_path / "in", changed(("calibrations.csv", 2, column, f"{year}-06-01")))
    (finding,) = findings_of(empty_records, folder)
    assert (finding.column, "years 1900 to 2999" in finding.expected) == (column, True)


@pytest.mark.parametrize(("row", "column"), [(2, "width"), (2, "height"), (5, "diameter")])
def test_a_dimension_too_small_to_be_one_is_named(empty_records, tmp_path, row, column):
    folder = write(tmp_path / "in", changed(("outlets.csv", row, column, "5e-324")))
    assert [one.column for one in findings_of(empty_records, folder)] == [column]


@pytest.mark.parametrize("column", ["calibrated_on", "accepted_on"])
def test_a_calibration_of_a_day_to_come_is_named(empty_records, tmp_path, column):
    """2062 is a slip for 2026; `calib calibration accept` refuses it."""
    cells = [("calibrations.csv", 2, "accepted_on", "2062-01-19")]
    cells += [("calibrations.csv", 2, "calibrated_on", "2062-01-12")] if column == "calibrated_on" else []
    assert column in [one.column for one in findings_of(empty_records, write(tmp_path / "in", changed(*cells)))]


def test_a_reading_typed_again_in_another_zone_is_named(empty_records, tmp_path):
    """09:10+01:00 and 08:10Z are one moment."""
    sheets = small_job()
    sheets["readings.csv"].append(sheets["readings.csv"][0] | {"observed_at": "2026-03-05T08:10Z"})
    (finding,) = findings_of(empty_records, write(tmp_path / "in", sheets))
    assert (finding.row, finding.column) == (6, "observed_at")


def test_an_indication_far_from_the_others_leaves_numbers_in_the_json(tmp_path):
    records = records_of(tmp_path, changed(("comparisons.csv", 2, "indication", "-1e12")))
    shown = calib("calibration", "show", "VA-1", "--json", records=records)
    assert "NaN" not in shown.out
