"""Import, cell by cell: each wrong cell is named by file, row, column and value, with what was expected, and nothing is written.

Source: `calib help import`, the contract on the files; common practice, no source, for what is refused.
"""

from dataclasses import dataclass, field

import pytest
from sqlalchemy import event

from calib.errors import BadInputError
from calib.faces.files import import_folders
from calib.records import database
from calib.records.tables.outlets import Outlet
from tests.folders import (
    NOW,
    SIGNED,
    UNTOUCHED,
    all_of,
    changed,
    findings_of,
    imported,
    ledger_head,
    only,
    small_job,
    write,
)


@dataclass(frozen=True)
class Wrong:
    """Cells to change, and the one finding that must come of it."""

    cells: tuple  # (file, row, column, value) each
    file: str
    row: int | None
    column: str | None
    value: str | None
    expected: str  # words that the expectation holds
    marks: tuple = field(default=())

    @property
    def name(self):
        shown = "blank" if self.value == "" else str(self.value)[:30]
        return f"{self.file}-{self.column}-{shown}-{self.expected[:40]}"


def cell(file, row, column, value, expected, *marks):
    """A cell that is wrong by itself."""
    return Wrong(((f"{file}.csv", row, column, value),), f"{file}.csv", row, column, value, expected, marks)


def after(cells, file, row, column, value, expected, *marks):
    """A cell that is wrong because of others."""
    typed = tuple((f"{name}.csv", number, header, content) for name, number, header, content in cells)
    return Wrong(typed, f"{file}.csv", row, column, value, expected, marks)


NO_NUMBER = "a finite number"
ABOVE_0 = "a finite number above 0"
DAY = "a date as YYYY-MM-DD"
NO_DAY = "a date that exists"
ZONE = "a time with its zone"
MOMENT = "a date and time as YYYY-MM-DDTHH:MM+HH:MM"
NO_MOMENT = "a date and time that exist"

NUMBERS = [
    ("instruments", 2, "resolution", ABOVE_0),
    ("instruments", 2, "range_low", NO_NUMBER),
    ("instruments", 2, "mpe_percent", "a percentage, 0 to 100"),
    ("calibrations", 2, "temperature_degC", NO_NUMBER),
    ("comparisons", 3, "reference", NO_NUMBER),
    ("comparisons", 3, "expanded_uncertainty", ABOVE_0),
    ("comparisons", 3, "coverage_factor", "a finite number, 1 or above"),
    ("methods", 2, "relative_standard_uncertainty_percent", "a percentage, 0 to 100"),
    ("outlets", 2, "width", ABOVE_0),
    ("outlets", 2, "outlet_factor", ABOVE_0),
    ("outlets", 2, "design_flow", ABOVE_0),
    ("outlets", 5, "diameter", ABOVE_0),
    ("outlets", 2, "tolerance_percent", "a percentage above 0, up to 100"),
    ("readings", 5, "indication", NO_NUMBER),
    ("readings", 5, "averaging_s", ABOVE_0),
]
NO_NUMBERS = [
    "many",
    "1.234,5",
    "nan",
    "inf",
    "-inf",
    "1e999",
    "0x10",
    "1_000",
    "4.2 m/s m/s",
    "--4",
    "1e",
    "½",
    ".",
]

BAD_CELLS = [
    *(cell(file, row, column, "1e13", expected) for file, row, column, expected in (
        ("instruments", 2, "range_high", "a number of at most 1e+12"),
        ("readings", 5, "indication", "a number of at most 1e+12"),
        ("outlets", 2, "width", ABOVE_0),
    )),
    # dimensions and factors
    *(cell("outlets", 2, column, value, ABOVE_0) for column in ("width", "height") for value in ("-400", "0", "0.0", "-0")),
    *(cell("outlets", 5, "diameter", value, ABOVE_0) for value in ("-160", "0")),
    *(cell("outlets", 2, "outlet_factor", value, ABOVE_0) for value in ("0", "-0.84")),
    *(cell("outlets", 2, "outlet_factor", value, "up to 1.2, or the reason") for value in ("1.21", "1.2000001", "84", "1e6")),
    cell("outlets", 4, "effective_area", "0", ABOVE_0),
    cell("outlets", 2, "dimension_limit", "-1", "0 or above"),
    cell("outlets", 2, "outlet_factor_standard_uncertainty", "-0.01", "0 or above"),
    cell("outlets", 2, "design_flow", "0", ABOVE_0),
    cell("outlets", 2, "tolerance_percent", "0", "a percentage above 0, up to 100"),
    cell("outlets", 2, "tolerance_percent", "100.1", "a percentage above 0, up to 100"),
    cell("outlets", 2, "width", "", "a width above 0 for a rectangular opening"),
    cell("outlets", 5, "diameter", "", "a diameter above 0 for a round opening"),
    cell("outlets", 2, "diameter", "100", "nothing for a rectangular opening"),
    cell("outlets", 5, "height", "100", "nothing for a round opening"),
    cell("outlets", 2, "dimension_unit", "", "the unit of the dimensions"),
    cell("outlets", 2, "dimension_limit", "", "the half-width within which the dimensions are known"),
    cell("outlets", 2, "outlet_factor_standard_uncertainty", "", "the standard uncertainty of the outlet factor"),
    cell("outlets", 4, "effective_area_standard_uncertainty", "", "the standard uncertainty of the effective area"),
    cell("outlets", 4, "effective_area_unit", "", "the unit of the effective area"),
    cell("outlets", 4, "outlet_factor_standard_uncertainty", "0.01", "nothing without outlet_factor"),
    cell("outlets", 2, "outlet_factor_source", "", "where the outlet factor comes from"),
    # effective area and factor: both, or neither
    after(
        [("outlets", 2, "effective_area", "0.05"), ("outlets", 2, "effective_area_unit", "m2"),
         ("outlets", 2, "effective_area_standard_uncertainty", "0.001")],
        "outlets", 2, "outlet_factor", "0.84", "one of outlet_factor, effective_area and found_factor",
    ),
    after(
        [("outlets", 4, "effective_area", ""), ("outlets", 4, "effective_area_unit", ""),
         ("outlets", 4, "effective_area_standard_uncertainty", "")],
        "readings", 4, "instrument", "VA-2", "one that indicates a flow: the outlet has no outlet factor",
    ),
    # design
    cell("outlets", 2, "tolerance_percent", "", "a value beside design_flow"),
    cell("outlets", 2, "flow_unit", "", "a value beside design_flow"),
    after([("outlets", 2, "design_flow", "")], "outlets", 2, "tolerance_percent", "10", "nothing without design_flow"),
    # words
    cell("outlets", 2, "service", "Supplies", "one of supply, return, exhaust"),
    cell("outlets", 2, "service", "", "one of supply, return, exhaust"),
    cell("outlets", 2, "shape", "oval", "one of rectangular, round"),
    cell("jobs", 2, "decision_rule", "lenient", "one of simple, guarded, guarded non-binary"),
    cell("comparisons", 2, "phase", "as found", "one of as-found, as-left"),
    cell("instruments", 2, "quantity", "wind", "one of air velocity, volume flow, pressure"),
    # units
    cell("outlets", 2, "dimension_unit", "yd", "one of m, cm, mm, in, ft"),
    cell("outlets", 2, "dimension_unit", "m/s", "one of m, cm, mm, in, ft"),
    cell("outlets", 4, "effective_area_unit", "m", "one of m2, cm2, mm2, in2, ft2"),
    cell("outlets", 2, "flow_unit", "m/s", "one of m3/s, m3/h, L/s, l/s, cfm"),
    cell("outlets", 2, "flow_unit", "CFMs", "one of m3/s, m3/h, L/s, l/s, cfm"),
    cell("instruments", 2, "unit", "Pa", "a unit of air velocity: one of m/s, fpm, ft/min, km/h"),
    cell("instruments", 5, "unit", "m/s", "a unit of pressure: one of Pa, hPa, kPa"),
    cell("instruments", 5, "unit", "inH2O", "a unit of pressure: one of Pa, hPa, kPa, inH2O(4degC)"),
    cell("comparisons", 2, "unit", "Pa", "a unit of air velocity: one of m/s, fpm, ft/min, km/h"),
    cell("readings", 2, "unit", "Pa", "one of m/s, fpm, ft/min, km/h"),
    cell("readings", 2, "unit", "m3/h", "one of m/s, fpm, ft/min, km/h"),
    # instruments
    cell("instruments", 2, "resolution", "0", ABOVE_0),
    cell("instruments", 2, "resolution", "-0.01", ABOVE_0),
    cell("instruments", 3, "repeatability", "0", ABOVE_0),
    cell("instruments", 2, "repeatability", "0", ABOVE_0),
    cell("instruments", 2, "range_high", "0.3", "a number above range_low (0.3)"),
    cell("instruments", 2, "interval_months", "0", "a whole number, 1 to 9999"),
    cell("instruments", 2, "interval_months", "12.0", "a whole number, 1 to 9999"),
    cell("instruments", 2, "interval_months", "a year", "a whole number, 1 to 9999"),
    cell("instruments", 2, "kind", "", "a value"),
    cell("instruments", 2, "serial", "", "a value"),
    after(
        [("instruments", 2, "mpe_percent", ""), ("instruments", 2, "mpe_absolute", "")],
        "instruments", 2, "mpe_percent", "", "a maximum permissible error",
    ),
    # names that must be new, or known
    cell("methods", 2, "method", "", "a value"),
    cell("instruments", 2, "tag", "", "a value"),
    cell("jobs", 2, "job", "", "a value"),
    cell("calibrations", 2, "tag", "VA-9", "the tag of an instrument in instruments.csv or in the records"),
    cell("outlets", 2, "job", "J-2", "a job in jobs.csv or in the records"),
    cell("readings", 2, "job", "J-2", "a job in jobs.csv or in the records"),
    cell("readings", 2, "outlet", "S-9", "an outlet of job J-1 in outlets.csv or in the records"),
    cell("readings", 2, "instrument", "VA-9", "the tag of an instrument in instruments.csv or in the records"),
    cell("readings", 2, "method", "by ear", "a method in methods.csv or in the records"),
    cell("readings", 2, "operator", "", "a value"),
    cell("comparisons", 9, "certificate", "C-999", "a certificate of VA-2 in calibrations.csv"),
    after(
        [("readings", 3, "outlet", "S-1"), ("readings", 3, "observed_at", "2026-03-05T09:10+01:00")],
        "readings", 3, "observed_at", "2026-03-05T09:10+01:00", "row 2 already",
    ),
    after([("outlets", 3, "outlet", "S-1"), ("readings", 3, "outlet", "S-1")],
          "outlets", 3, "outlet", "S-1", "row 2 already"),
    # certificates
    after(
        [("calibrations", 4, "tag", "VA-1"), ("calibrations", 4, "certificate", "C-101"),
         *(("comparisons", row, "tag", "VA-1") for row in (14, 15, 16)),
         *(("comparisons", row, "certificate", "C-101") for row in (14, 15, 16))],
        "calibrations", 4, "certificate", "C-101", "row 2 already",
    ),
    # dates
    *(cell("calibrations", 2, column, value, DAY)
      for column in ("calibrated_on", "accepted_on", "due_on")
      for value in ("2026-1-12", "20260112", "12 Jan", "2026-W03-1", "2026-01-12T00:00")),
    *(cell("calibrations", 2, "accepted_on", value, NO_DAY) for value in ("2026-02-30", "2026-13-01", "2025-02-29", "2026-01-00")),
    cell("calibrations", 2, "calibrated_on", "", DAY),
    cell("calibrations", 2, "accepted_on", "2026-01-11", "a date on or after calibrated_on (2026-01-12)"),
    cell("calibrations", 2, "due_on", "2026-01-11", "a date on or after calibrated_on (2026-01-12)"),
    cell("calibrations", 2, "due_on", "2027-01-13", "no later date than the calibration interval of 12 months gives (2027-01-12)"),
    # times
    *(cell("readings", 2, "observed_at", value, ZONE) for value in ("2026-03-05T09:10", "2026-03-05T09:10:30", "05.03.2026 09:10")),
    *(cell("readings", 2, "observed_at", value, MOMENT)
      for value in ("2026-03-05", "2026-03-05 +01:00")),
    *(cell("readings", 2, "observed_at", value, NO_MOMENT)
      for value in ("2026-02-29T09:10+01:00", "2026-03-05T09:60+01:00", "2026-03-05T09:10+25:00")),
    cell("readings", 2, "observed_at", "2026-03-05T24:10+01:00", "a time from 00:00 to 23:59"),
    # comparisons
    cell("comparisons", 2, "coverage_factor", "0.9", "1 or above"),
    cell("comparisons", 2, "expanded_uncertainty", "0", ABOVE_0),
    cell("comparisons", 2, "repeatability", "-0.01", "0 or above"),
    cell("comparisons", 2, "observations", "0", "a whole number, 1 to 9999"),
    cell("comparisons", 2, "observations", "2.5", "a whole number, 1 to 9999"),
    after([("comparisons", 4, "repeatability", "")], "calibrations", 2, "certificate", "C-101", "repeatability is stated for some"),
    after([("comparisons", 9, "repeatability", "0.5")], "calibrations", 3, "certificate", "C-102", "state it for all, or for none"),
    after([("comparisons", 14, "phase", "as-left")], "calibrations", 4, "certificate", "C-103", "1 comparison(s) make no curve"),
    after([("comparisons", row, "indication", "2.000") for row in (14, 15, 16)],
          "calibrations", 4, "certificate", "C-103", "one indication"),
    # reference standards
    *(cell("calibrations", 3, "standards", value, "tags of other instruments")
      for value in ("RS-9", "VA-2", "RS-1;RS-9", "RS-1;RS-1", ";", "RS-1, PG-1")),
    # readings
    cell("readings", 2, "indication", "4.22", "the mean of the observations (4.2) to within the resolution of 0.01 m/s"),
    cell("readings", 2, "indication", "42.0", "the mean of the observations (4.2) to within the resolution of 0.01 m/s"),
    cell("readings", 4, "indication", "614", "the mean of the observations (612) to within the resolution of 1 fpm"),
    cell("readings", 2, "observations", "4.19;fast;4.19", "finite numbers joined by ;, 'fast' is none"),
    cell("readings", 2, "observations", "4.19;;4.21", "finite numbers joined by ;, '' is none"),
    cell("readings", 2, "observations", "4.19;4.21;", "finite numbers joined by ;, '' is none"),
    cell("readings", 2, "observations", "4,19;4,21x", "finite numbers joined by ;, '4,19' is none"),
    cell("readings", 5, "indication", "", "an indication"),
    after([("instruments", 2, "repeatability", "")],
          "readings", 5, "observations", "", "two observations or more, since the instrument declares no repeatability"),
    after([("instruments", 3, "repeatability", ""), ("readings", 4, "observations", "612")],
          "readings", 4, "observations", "612", "two observations or more, since the instrument declares no repeatability"),
]  # fmt: skip


@pytest.mark.parametrize("typed", NO_NUMBERS)
def test_what_is_no_number_is_named_in_every_column_at_once(empty_records, tmp_path, typed):
    cells = [(f"{file}.csv", row, column, typed) for file, row, column, _ in NUMBERS]
    found = findings_of(empty_records, write(tmp_path / "in", changed(*cells)))
    named = {(one.source, one.row, one.column, one.value): one.expected for one in found}
    wanted = {
        (str(tmp_path / "in" / file), row, column, typed): NUMBERS[place][3]
        for place, (file, row, column, _) in enumerate(cells)
    }
    assert named.keys() == wanted.keys()
    assert all(wanted[cell_] in named[cell_] for cell_ in wanted)


@pytest.mark.parametrize("wrong", [pytest.param(one, marks=one.marks, id=one.name) for one in BAD_CELLS])
def test_a_wrong_cell_is_named_and_nothing_is_written(empty_records, tmp_path, wrong):
    (finding,) = findings_of(empty_records, write(tmp_path / "in", changed(*wrong.cells)))
    place = (finding.source, finding.row, finding.column, finding.value)
    assert place == (str(tmp_path / "in" / wrong.file), wrong.row, wrong.column, wrong.value)
    assert wrong.expected in finding.expected
    assert ledger_head(empty_records) == UNTOUCHED


def test_the_folder_that_all_of_these_change_is_right(small_records):
    assert ledger_head(small_records)[0] > 0


def test_a_pressure_becomes_no_velocity_without_its_probe_and_the_air(empty_records, tmp_path):
    found = findings_of(empty_records, write(tmp_path / "in", changed(("readings.csv", 5, "instrument", "PG-1"))))
    assert {(one.row, one.column) for one in found} == {(5, "conditions"), (5, "probe"), (5, "unit")}
    assert ledger_head(empty_records) == UNTOUCHED


def test_one_certificate_number_of_one_laboratory_on_two_instruments_is_named_in_both_rows(empty_records, tmp_path):
    cells = [("calibrations.csv", 4, "certificate", "C-101")]
    cells += [("comparisons.csv", number, "certificate", "C-101") for number in (14, 15, 16)]
    found = findings_of(empty_records, write(tmp_path / "in", changed(*cells)))
    assert [(one.row, one.column, one.value) for one in found] == [
        (2, "certificate", "C-101"),
        (4, "certificate", "C-101"),
    ]
    assert all("a certificate number that the laboratory gave to one calibration only" in one.expected for one in found)


def test_two_laboratories_may_give_the_same_number(empty_records, tmp_path):
    cells = [("calibrations.csv", 5, "certificate", "C-101")]
    cells += [("comparisons.csv", number, "certificate", "C-101") for number in (17, 18, 19)]
    assert imported(empty_records, write(tmp_path / "in", changed(*cells))).records["calibration"] == 4


def test_a_tag_typed_twice_is_named_once(empty_records, tmp_path):
    sheets = small_job()
    sheets["instruments.csv"].append(sheets["instruments.csv"][0])
    (finding,) = findings_of(empty_records, write(tmp_path / "in", sheets))
    assert (finding.row, finding.column, finding.value) == (6, "tag", "VA-1")
    assert "row 2 already" in finding.expected


@pytest.mark.parametrize("file", ["methods.csv", "jobs.csv", "outlets.csv", "readings.csv"])
def test_a_row_typed_twice_is_named_once(empty_records, tmp_path, file):
    sheets = small_job()
    sheets[file].append(sheets[file][0])
    (finding,) = findings_of(empty_records, write(tmp_path / "in", sheets))
    assert finding.row == len(sheets[file]) + 1
    assert "row 2 already" in finding.expected


def test_a_calibration_without_comparisons_is_named(empty_records, tmp_path):
    sheets = small_job()
    sheets["comparisons.csv"] = [row for row in sheets["comparisons.csv"] if row["tag"] != "PG-1"]
    (finding,) = findings_of(empty_records, write(tmp_path / "in", sheets))
    assert (finding.row, finding.column, finding.value) == (5, "certificate", "C-104")
    assert "0 comparison(s) make no curve: at least 3 are needed" in finding.expected


def test_comparisons_without_calibration_are_each_named(empty_records, tmp_path):
    sheets = small_job()
    del sheets["calibrations.csv"][3]
    found = findings_of(empty_records, write(tmp_path / "in", sheets))
    assert [(one.row, one.column, one.value) for one in found] == [
        (row, "certificate", "C-104") for row in (17, 18, 19)
    ]
    assert all("a certificate of PG-1 in calibrations.csv" in one.expected for one in found)


@pytest.mark.parametrize("kept", [1, 2])
def test_too_few_comparisons_make_no_curve(empty_records, tmp_path, kept):
    sheets = small_job()
    del sheets["comparisons.csv"][15 + kept :]
    (finding,) = findings_of(empty_records, write(tmp_path / "in", sheets))
    assert (finding.row, finding.value) == (5, "C-104")
    assert f"{kept} comparison(s) make no curve" in finding.expected


@pytest.mark.parametrize("factor", ["1.2", "1.20", "1.0", "0.01"])
def test_a_usual_factor_needs_no_reason(empty_records, tmp_path, factor):
    imported(empty_records, write(tmp_path / "in", changed(("outlets.csv", 2, "outlet_factor", factor))))
    assert ledger_head(empty_records) != UNTOUCHED


def test_a_factor_above_1_2_is_kept_with_its_reason(empty_records, tmp_path):
    cells = [("outlets.csv", 2, "outlet_factor", "1.35")]
    cells += [("outlets.csv", 2, "outlet_factor_reason", "hood with a known extra opening")]
    imported(empty_records, write(tmp_path / "in", changed(*cells)))
    with database.reading(str(empty_records)) as session:
        outlet = all_of(session, Outlet)[0]
    assert (outlet.outlet_factor, outlet.outlet_factor_reason) == ("1.35", "hood with a known extra opening")


@pytest.mark.parametrize("indication", ["4.20", "4.19", "4.21", ""])
def test_an_indication_may_differ_from_its_observations_by_one_step(empty_records, tmp_path, indication):
    imported(empty_records, write(tmp_path / "in", changed(("readings.csv", 2, "indication", indication))))
    assert ledger_head(empty_records) != UNTOUCHED


def test_what_wrong_names_may_mean_is_asked_of_the_records_once(small_records, tmp_path):
    def statements(count):
        """How many an import of readings sends whose names of outlets are wrong, each in another way."""
        sent = []
        sheets = only(small_job(), "readings.csv")
        row = sheets["readings.csv"][0]
        sheets["readings.csv"] = [{**row, "outlet": f"S{place}"} for place in range(count)]
        folder = write(tmp_path / str(count), sheets)
        with database.writing(str(small_records)) as session:
            event.listen(session.get_bind(), "before_cursor_execute", lambda *_: sent.append(1))
            with pytest.raises(BadInputError) as caught:
                import_folders(session, (folder,), SIGNED, NOW)
        assert [finding.value for finding in caught.value.findings] == [f"S{place}" for place in range(count)]
        return len(sent)

    assert statements(12) == statements(2) > 0
