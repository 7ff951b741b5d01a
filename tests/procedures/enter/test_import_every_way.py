"""Import of a job measured in every way: each mistake is named once, by file, row, column and value, and nothing is written.

Source: `calib help import`, the contract on the files; common practice, no source, for what is refused.
"""

import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.errors import BadInputError
from calib.records import database, ledger
from calib.records.tables.readings import TraversePoint
from tests.conftest import SERVER
from tests.every_way import changed, every_way
from tests.folders import UNTOUCHED, all_of, findings_of, imported, ledger_head, records_of, write
from tests.procedures.enter.test_import_cells import ABOVE_0, MOMENT, NO_NUMBER, ZONE, after, cell

NOT_NEGATIVE = "a finite number, 0 or above"
ABOVE_1 = "a finite number above 1"
WHOLE = "a whole number, 1 to 9999"
NUMBERS = "finite numbers joined by ;"
EXACT = "only the outlet factor 1 of a free opening is exact"
A_JOB = "a job in jobs.csv or in the records"
A_TAG = "the tag of an instrument in instruments.csv or in the records"


def filled(file, row, **cells):
    """Cells of one row, typed over."""
    return [(file, row, column, value) for column, value in cells.items()]


INSTRUMENTS = [
    cell("instruments", 4, "density_effect", "thermic", "one of thermal, vane friction, velocity pressure"),
    cell("instruments", 4, "reference_temperature_degC", "", "the reference state at which a thermal anemometer"),
    cell("instruments", 4, "reference_pressure_kPa", "", "the reference state at which a thermal anemometer"),
    cell("instruments", 4, "reference_temperature_degC", "warm", NO_NUMBER),
    *(
        cell("instruments", 4, "reference_pressure_kPa", value, "a finite number from 60 to 110 kPa")
        for value in ("0", "-101.325", "1 atm", "1013.25", "59.9", "110.1")
    ),
    *(
        cell("instruments", 4, "reference_temperature_degC", value, "a finite number from -40 to 60 degC")
        for value in ("294.25", "-40.1", "60.1")
    ),
    *(
        cell("calibrations", 5, column, value, f"a finite number from {said}")
        for column, value, said in (
            ("temperature_degC", "205", "-40 to 60 degC"),
            ("pressure_kPa", "1011", "60 to 110 kPa"),
            ("humidity_percent", "430", "0 to 100 %"),
        )
    ),
    *(
        cell("conditions", row, "value", value, said)
        for row, value, said in (
            (2, "241", "a temperature from -40 to 60 degC"),
            (7, "9750", "a barometric pressure from 60 to 110 kPa"),
            (8, "450", "a relative humidity from 0 to 100 %"),
        )
    ),
    cell("instruments", 5, "reference_temperature_degC", "20", "nothing, since density_effect is not thermal"),
    cell("instruments", 3, "reference_pressure_kPa", "101.325", "nothing, since density_effect is not thermal"),
    cell("instruments", 6, "density_effect", "vane friction", "nothing for an instrument that does not measure air velocity"),
    cell("instruments", 2, "density_effect", "velocity pressure", "nothing for an instrument that does not measure air"),
    *(cell("instruments", 6, "resistance_ratio", value, ABOVE_1) for value in ("1", "1.0", "0.5", "-4", "4:1")),
    cell("instruments", 6, "resistance_ratio_standard_uncertainty", "-0.2", NOT_NEGATIVE),
    cell("instruments", 6, "resistance_ratio_standard_uncertainty", "", "the standard uncertainty of the resistance ratio"),
    cell("instruments", 2, "resistance_ratio_standard_uncertainty", "0.2", "nothing without resistance_ratio"),
    after(filled("instruments", 5, resistance_ratio="4", resistance_ratio_standard_uncertainty="0.2"),
          "instruments", 5, "resistance_ratio", "4", "nothing for an instrument that is no hood"),
    after(filled("instruments", 6, resistance_ratio="", resistance_ratio_standard_uncertainty=""),
          "readings", 7, "throttled_observations", "540;543;541", "no resistance_ratio is on record for the hood"),
    # What rests on a quantity that was found wrong is not asked for.
    *(cell("instruments", row, "quantity", "moving air", "one of air velocity, volume flow, pressure")
      for row in (2, 3, 5, 6, 7, 8, 9)),
]  # fmt: skip

METHODS = [
    cell("methods", 2, "pattern", "log-linear", "one of spot grid, sweep, centre, traverse, hood"),
    cell("methods", 4, "pattern", "hoods", "one of spot grid, sweep, centre, traverse, hood"),
    *(
        cell("methods", 3, "degrees_of_freedom", value, "a finite number, 1 or above")
        for value in ("0", "0.1", "-1", "many", "inf", "nan")
    ),
]

SYSTEMS = [
    cell("systems", 2, "job", "E-2", A_JOB),
    cell("systems", 2, "job", "", "a value"),
    cell("systems", 2, "system", "AH-9", "a system with outlets for supply in job E-1"),
    cell("systems", 2, "system", "", "a value"),
    cell("systems", 2, "service", "supplies", "one of supply, return, exhaust"),
    after(filled("systems", 2, system="AH-2", service="exhaust"), "systems", 2, "system", "AH-2", "with outlets for exhaust"),
    *(cell("systems", 2, "design_flow", value, ABOVE_0) for value in ("0", "-5050", "", "5.050,0")),
    *(cell("systems", 2, "flow_unit", value, "one of m3/s, m3/h, L/s, l/s, cfm") for value in ("m/s", "")),
    *(cell("systems", 2, "tolerance_percent", value, "a percentage above 0, up to 100") for value in ("0", "101", "ten percent")),
    cell("systems", 2, "tolerance_percent", "", "a value beside design_flow, or instead tolerance_minus_percent"),
    # The one outlet of a service may be the one whose service was found wrong.
    after([*filled("systems", 2, service="exhaust"), *filled("outlets", 8, service="exhausts")],
          "outlets", 8, "service", "exhausts", "one of supply, return, exhaust"),
]  # fmt: skip

ROOMS = [
    cell("rooms", 2, "job", "E-2", A_JOB),
    cell("rooms", 2, "room", "", "a value"),
    cell("rooms", 2, "room", "Stroe", "a room that an outlet of job E-1 names"),
    *(cell("rooms", 3, "pressure", value, "one of positive, negative") for value in ("neutral", "", "-5 Pa")),
    after(filled("rooms", 3, room="Store"), "rooms", 3, "room", "Store", "row 2 already"),
]

OUTLETS = [
    cell("outlets", 2, "place", "ducts", "one of outlet, duct"),
    after(filled("outlets", 2, place=""), "outlets", 2, "outlet_factor", "", "one of outlet_factor, effective_area"),
    cell("outlets", 2, "in_totals", "maybe", "one of yes, no"),
    cell("outlets", 2, "shape", "", "the shape of the duct: rectangular, round or flat-oval"),
    cell("outlets", 2, "shape", "oval", "one of rectangular, round, flat-oval"),
    cell("outlets", 4, "width", "299.9", "the longer axis, not below height (300)"),
    after(filled("outlets", 4, height="600.1"), "outlets", 4, "width", "600", "the longer axis, not below height (600.1)"),
    *(cell("outlets", 4, column, "", f"a {column} above 0 for a flat-oval opening") for column in ("width", "height")),
    cell("outlets", 4, "diameter", "300", "nothing for a flat-oval opening"),
    *(cell("outlets", 4, column, "wide", ABOVE_0) for column in ("width", "height")),
    cell("outlets", 4, "dimension_unit", "", "the unit of the dimensions"),
    cell("outlets", 4, "dimension_limit", "", "the half-width within which the dimensions are known"),
    *(cell("outlets", 2, column, value, "nothing for a duct: its section is the area") for column, value in (
        ("outlet_factor", "1"), ("outlet_factor_standard_uncertainty", "0.01"), ("outlet_factor_source", "free opening"),
        ("found_factor", "G-1"),
    )),
    *(cell("outlets", 5, "outlet_factor_standard_uncertainty", value, EXACT) for value in ("0", "0.0", "-0", "0e9")),
    after(filled("outlets", 5, outlet_factor="0.9999999", outlet_factor_standard_uncertainty="0"),
          "outlets", 5, "outlet_factor_standard_uncertainty", "0", EXACT),
    after(filled("outlets", 5, found_factor="G-1")
          + filled("outlets", 5, outlet_factor="", outlet_factor_standard_uncertainty="", outlet_factor_source=""),
          "outlets", 5, "found_factor", "G-1", "a factor found from pairs of readings that is on record (there is none)"),
]  # fmt: skip

CONDITIONS = [
    cell("conditions", 2, "job", "E-2", A_JOB),
    cell("conditions", 2, "conditions", "", "a value"),
    after(filled("conditions", 4, quantity="relative humidity", value="38.5", unit="%", instrument="HY-1"),
          "conditions", 5, "quantity", "relative humidity", "row 4 already"),
    cell("conditions", 2, "quantity", "heat", "one of temperature, barometric pressure, static pressure, relative humidity"),
    *(cell("conditions", 2, "value", value, NO_NUMBER) for value in ("", "24,1 or so", "warm")),
    cell("conditions", 2, "unit", "kPa", "a unit of temperature: one of K, degC, degF"),
    cell("conditions", 3, "unit", "degC", "a unit of pressure: one of Pa, hPa, kPa"),
    cell("conditions", 4, "unit", "inH2O", "a unit of pressure: one of Pa, hPa, kPa"),
    cell("conditions", 5, "unit", "percent", "a unit of relative humidity: one of 1, %"),
    cell("conditions", 2, "unit", "", "a value"),
    cell("conditions", 2, "instrument", "TH-9", A_TAG),
    cell("conditions", 2, "instrument", "BA-1", "an instrument for temperature (this one is for pressure)"),
    cell("conditions", 3, "instrument", "TH-1", "an instrument for pressure (this one is for temperature)"),
    cell("conditions", 5, "instrument", "VF-1", "an instrument for relative humidity (this one is for air velocity)"),
    *(after(filled("conditions", row, **cells), "conditions", row, "standard_uncertainty", value,
            "either the instrument that was used")
      for row, cells, value in (
        (2, {"instrument": ""}, ""),
        (2, {"standard_uncertainty": "0.3"}, "0.3"),
        (7, {"instrument": "BA-1"}, "1.5"),
        (7, {"standard_uncertainty": ""}, ""),
        (7, {"standard_uncertainty": "", "source": ""}, ""),
    )),
    *(cell("conditions", 7, "standard_uncertainty", value, NOT_NEGATIVE) for value in ("-1.5", "small")),
    cell("conditions", 7, "source", "", "where the stated value comes from"),
    *(cell("conditions", 2, "observed_at", value, expected)
      for value, expected in (("2026-03-05T09:00", ZONE), ("5 March", MOMENT), ("", MOMENT))),
]  # fmt: skip

READINGS = [
    # the probe
    cell("readings", 2, "probe", "", "the tag of the probe whose velocity pressure was indicated"),
    cell("readings", 2, "probe", "PT-9", A_TAG),
    cell("readings", 2, "probe", "BA-1", "a probe calibrated in air velocity (this one is for pressure)"),
    cell("readings", 2, "probe", "FH-1", "a probe calibrated in air velocity (this one is for volume flow)"),
    cell("readings", 2, "probe", "TA-1", "a probe, which has no density_effect of its own (this one has thermal)"),
    cell("readings", 3, "probe", "PT-1", "nothing: the instrument indicates no velocity pressure"),
    cell("readings", 6, "probe", "PT-1", "nothing: the instrument indicates no velocity pressure"),
    # the air
    cell("readings", 2, "conditions", "", "the conditions of the air, since the instrument indicates a velocity pressure"),
    cell("readings", 3, "conditions", "", "since the instrument indicates the velocity at a reference state"),
    cell("readings", 2, "conditions", "roof", "conditions of job E-1 in conditions.csv or in the records"),
    # the hood
    cell("readings", 5, "throttled_observations", "4.0;4.1", "nothing: only a hood has a throttle"),
    cell("readings", 2, "throttled_observations", "20;21", "nothing: only a hood has a throttle"),
    cell("readings", 7, "throttled_observations", "540;;541", f"{NUMBERS}, '' is none"),
    cell("readings", 7, "throttled_observations", "640;643;641", "flows not above the open one (603.333)"),
    cell("readings", 7, "throttled_observations", "301;302;301", "above 301.667 (the open one by the root of the"),
    cell("readings", 7, "throttled_observations", "-540;-543", "flows not above the open one (603.333)"),
    after(filled("instruments", 6, repeatability="") + filled("readings", 7, throttled_observations="540"),
          "readings", 7, "throttled_observations", "540", "two observations or more"),
    after(filled("readings", 6, outlet="D-1"), "readings", 6, "instrument", "FH-1", "a hood stands at an outlet"),
    cell("readings", 2, "instrument", "FH-1", "an instrument for air velocity or pressure: a hood stands at an outlet"),
    cell("readings", 2, "instrument", "BA-9", A_TAG),
    *(cell("readings", 5, "instrument", tag, f"an instrument for air velocity, pressure, volume flow (this one is for {quantity})")
      for tag, quantity in (("TH-1", "temperature"), ("HY-1", "relative humidity"))),
    # the method
    cell("readings", 2, "method", "sweep", "a method with the pattern traverse (this one has sweep)"),
    cell("readings", 2, "method", "hood", "a method with the pattern traverse (this one has hood)"),
    cell("readings", 6, "method", "sweep", "a method with the pattern hood (this one has sweep)"),
    cell("readings", 5, "method", "traverse", "a method for what was done (this one has the pattern traverse)"),
    cell("readings", 5, "method", "hood", "a method for what was done (this one has the pattern hood)"),
    # the traverse
    cell("readings", 3, "traverse_rule", "log tchebycheff", "one of equal-area, log-Tchebycheff, log-linear"),
    *(cell("readings", 3, column, "", "how many lines, and how many points on each, beside traverse_rule")
      for column in ("traverse_lines", "traverse_points")),
    *(cell("readings", 3, column, value, WHOLE)
      for column in ("traverse_lines", "traverse_points") for value in ("0", "-5", "5.0", "five", "10000")),
    cell("readings", 3, "traverse_lines", "2", "for log-Tchebycheff in a rectangular section: 3, 4, 5, 6, 7, 8, 9 or 11"),
    cell("readings", 3, "traverse_points", "10", "for log-Tchebycheff in a rectangular section: 3, 4, 5, 6, 7, 8, 9 or 11"),
    cell("readings", 2, "traverse_lines", "1", "for log-linear in a round section: 2, 3 or 4"),
    cell("readings", 2, "traverse_points", "7", "for log-linear in a round section: 4, 6, ..., 40"),
    cell("readings", 4, "traverse_lines", "41", "for equal-area in a flat-oval section: 1, 2, ..., 40"),
    *(cell("readings", 3, column, value, "nothing beside traverse_rule: the points stand in traverses.csv")
      for column, value in (("indication", "3.5"), ("observations", "3.4;3.6"))),
    *(cell("readings", 5, column, "5", "nothing without traverse_rule") for column in ("traverse_lines", "traverse_points")),
    cell("readings", 3, "unit", "Pa", "a unit of air velocity: one of m/s, fpm"),
    cell("readings", 2, "unit", "m/s", "a unit of pressure: one of Pa, hPa, kPa"),
    after(filled("readings", 6, instrument="TA-1", unit="m/s", conditions="rooms", method="traverse", observations="",
                 traverse_rule="equal-area", traverse_lines="1", traverse_points="1"),
          "readings", 6, "instrument", "TA-1", "one that indicates a flow: the outlet has no outlet factor"),
]  # fmt: skip

# A cell that is wrong by itself is not named again for standing where none should stand, nor for what it would have asked for.
WRONG_TWICE = [
    cell("instruments", 2, "density_effect", "thermal", "nothing for an instrument that does not measure air velocity"),
    cell("instruments", 8, "density_effect", "some", "one of thermal, vane friction, velocity pressure"),
    cell("instruments", 5, "reference_temperature_degC", "warm", NO_NUMBER),
    cell("instruments", 7, "resistance_ratio", "four", ABOVE_1),
    cell("instruments", 2, "resistance_ratio_standard_uncertainty", "-1", NOT_NEGATIVE),
    cell("outlets", 2, "outlet_factor_standard_uncertainty", "-1", NOT_NEGATIVE),
    cell("outlets", 3, "diameter", "thick", ABOVE_0),
    cell("outlets", 6, "shape", "disc", "one of rectangular, round, flat-oval"),
    cell("outlets", 6, "height", "5e-324", ABOVE_0),
    cell("conditions", 2, "standard_uncertainty", "-1", NOT_NEGATIVE),
    cell("conditions", 8, "instrument", "HY-9", A_TAG),
    cell("readings", 5, "traverse_lines", "-2", WHOLE),
    cell("readings", 5, "throttled_observations", "4;x", f"{NUMBERS}, 'x' is none"),
    cell("readings", 6, "traverse_rule", "hood", "one of equal-area, log-Tchebycheff, log-linear"),
    cell("readings", 8, "traverse_rule", "log", "one of equal-area, log-Tchebycheff, log-linear"),
]  # fmt: skip

WITHOUT = "a reading with traverse_rule of this job, outlet, instrument and time"
TRAVERSES = [
    *(cell("traverses", 5, column, value, WITHOUT) for column, value in (
        ("job", "E-2"), ("outlet", "D-9"), ("outlet", "D-2"), ("instrument", "TA-1"), ("instrument", "DM-9"),
        ("observed_at", "2026-03-05T09:11+01:00"), ("observed_at", "2026-03-05T09:10Z"),
    )),
    *(cell("traverses", 5, column, "", expected) for column, expected in (
        ("job", "a value"), ("outlet", "a value"), ("instrument", "a value"), ("observed_at", MOMENT),
        ("line", WHOLE), ("point", WHOLE), ("indications", NUMBERS),
    )),
    cell("traverses", 5, "observed_at", "2026-03-05T09:10", ZONE),
    *(cell("traverses", 5, column, value, WHOLE) for column in ("line", "point") for value in ("0", "-1", "4.0", "A", "10000")),
    *(cell("traverses", 5, "line", value, "a line of the rule: 1 to 2") for value in ("3", "9999")),
    *(cell("traverses", 5, "point", value, "a point of the rule: 1 to 6 on line 1") for value in ("7", "9999")),
    cell("traverses", 5, "point", "3", "row 4 already"),
    after(filled("traverses", 8, line="1"), "traverses", 8, "point", "1", "row 2 already"),
    *(cell("traverses", row, "indications", "34.8;34.2", "3 values, one for each pass, as at the other points")
      for row in (2, 5, 13)),
    cell("traverses", 14, "indications", "2.91;2.95", "1 value, one for each pass, as at the other points"),
    cell("traverses", 5, "indications", "34.8;high;35.0", f"{NUMBERS}, 'high' is none"),
    after(filled("instruments", 4, repeatability=""), "traverses", 14, "indications", "2.91", "two passes or more"),
]  # fmt: skip

WRONG = [*INSTRUMENTS, *METHODS, *SYSTEMS, *ROOMS, *OUTLETS, *CONDITIONS, *READINGS, *WRONG_TWICE, *TRAVERSES]


def even(sheets):
    """The sheets with blank cells where a row lacks a column that another has."""
    columns = {file: dict.fromkeys(column for row in rows for column in row) for file, rows in sheets.items()}
    return {file: [dict.fromkeys(columns[file], "") | row for row in rows] for file, rows in sheets.items()}


def the_one_finding(records, folder, sheets):
    """The one finding of an import that leaves the ledger as it was."""
    before = ledger_head(records)
    (finding,) = findings_of(records, write(folder, even(sheets)))
    assert ledger_head(records) == before
    return Path(finding.source).name, finding.row, finding.column, finding.value, finding.expected


@pytest.fixture(scope="module")
def _untouched_there(postgres_server, _empty_there):
    name = postgres_server.new_database(_empty_there)
    yield postgres_server.url(name)
    postgres_server.drop(name)


@pytest.fixture
def untouched_records(backend, request):
    """Records that hold nothing; on a server the same ones for every mistake, since none may write to them."""
    return request.getfixturevalue("_untouched_there" if backend == SERVER else "empty_records")


@pytest.mark.parametrize("wrong", [pytest.param(one, marks=one.marks, id=one.name) for one in WRONG])
def test_a_wrong_cell_is_named_once_and_nothing_is_written(untouched_records, tmp_path, wrong):
    *place, expected = the_one_finding(untouched_records, tmp_path / "in", changed(*wrong.cells))
    assert place == [wrong.file, wrong.row, wrong.column, wrong.value]
    assert wrong.expected in expected


def without(file, *rows):
    """The job without some rows."""
    sheets = every_way()
    sheets[file] = [one for number, one in enumerate(sheets[file], start=2) if number not in rows]
    return sheets


def with_row(file, row, **cells):
    """The job with a copy of a row at the end of its file, some of its cells typed over."""
    sheets = every_way()
    sheets[file].append(sheets[file][row - 2] | cells)
    return sheets


@pytest.mark.parametrize(
    ("rows", "missing"),
    [
        ((2,), "there is no temperature"),
        ((3,), "there is no barometric pressure or altitude"),
        ((5,), "there is no relative humidity or wet-bulb temperature"),
        ((3, 5), "there is no barometric pressure or altitude, no relative humidity or wet-bulb temperature"),
    ],
)
def test_conditions_without_what_the_density_needs_are_named_once(empty_records, tmp_path, rows, missing):
    found = the_one_finding(empty_records, tmp_path, without("conditions.csv", *rows))
    first = 2
    assert found[:4] == ("conditions.csv", first, "conditions", "plant room")
    assert found[4].endswith(missing)


def test_conditions_need_no_static_pressure(empty_records, tmp_path):
    assert imported(empty_records, write(tmp_path / "in", without("conditions.csv", 4))).records["condition"] == 6


@pytest.mark.parametrize(
    ("file", "row", "column"),
    [
        ("systems.csv", 2, "service"),
        ("rooms.csv", 2, "room"),
        ("conditions.csv", 2, "quantity"),
        ("conditions.csv", 8, "quantity"),
        ("outlets.csv", 2, "outlet"),
        ("readings.csv", 2, "observed_at"),
        ("traverses.csv", 5, "point"),
        ("methods.csv", 2, "method"),
    ],
)
def test_a_row_typed_twice_is_named_once(empty_records, tmp_path, file, row, column):
    sheets = with_row(file, row)
    found = the_one_finding(empty_records, tmp_path / "in", sheets)
    assert found[:4] == (file, len(sheets[file]) + 1, column, every_way()[file][row - 2][column])
    assert f"row {row} already" in found[4]


@pytest.fixture(scope="module")
def _whole(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("whole"), every_way())


@pytest.fixture
def whole(_whole, tmp_path):
    """A records file that holds the job."""
    return shutil.copyfile(_whole, tmp_path / "whole.sqlite")


def test_conditions_on_record_take_nothing_more(whole, tmp_path):
    """Nothing is added to a set of conditions afterwards: it may have been used."""
    rows = every_way()["conditions.csv"]
    more = rows[0] | {"quantity": "altitude", "value": "300", "unit": "m", "instrument": "", "source": "a map"}
    found = findings_of(whole, write(tmp_path / "in", {"conditions.csv": [rows[0], more]}))
    told = [each.expected for each in found if each.column == "conditions"]
    assert told == ["a new name; the records hold it already, and conditions are whole"]


def test_points_alone_of_a_reading_that_the_records_hold_are_named_once(whole, tmp_path):
    found = the_one_finding(whole, tmp_path / "in", {"traverses.csv": every_way()["traverses.csv"][:12]})
    assert found[:3] == ("traverses.csv", 2, "observed_at")
    assert found[4] == f"{WITHOUT} (for this and 11 more rows)"


def test_missing_points_are_named_by_their_reading(empty_records, tmp_path):
    found = the_one_finding(empty_records, tmp_path, without("traverses.csv", 5, 8))
    assert found[:4] == ("readings.csv", 2, "traverse_rule", "log-linear")
    assert found[4] == "all points in traverses.csv: no line/point 1/4, 2/1"


def test_of_many_missing_points_five_are_named(empty_records, tmp_path):
    found = the_one_finding(empty_records, tmp_path, without("traverses.csv", *range(14, 39)))
    assert found[:3] == ("readings.csv", 3, "traverse_rule")
    assert found[4].endswith("no line/point 1/1, 1/2, 1/3, 1/4, 1/5 and 20 more")


def test_a_repeated_point_hides_no_more_missing_ones_than_one(empty_records, tmp_path):
    """One row with the number of another explains one missing point, not two."""
    sheets = without("traverses.csv", 10)
    sheets["traverses.csv"][3]["point"] = "3"
    found = [
        (Path(one.source).name, one.row, one.column) for one in findings_of(empty_records, write(tmp_path, sheets))
    ]
    assert found == [("readings.csv", 2, "traverse_rule"), ("traverses.csv", 5, "point")]


@pytest.mark.parametrize(
    ("column", "value"),
    [("observed_at", "2026-03-05T09:21+01:00"), ("outlet", "D-3"), ("instrument", "VF-1")],
)
def test_a_reading_that_does_not_match_its_whole_traverse_is_one_mistake(empty_records, tmp_path, column, value):
    sheets = changed(("readings.csv", 3, column, value))
    found = the_one_finding(empty_records, tmp_path / "in", sheets)
    assert found[:4] == ("traverses.csv", 14, column, every_way()["traverses.csv"][12][column])
    assert found[4] == f"{WITHOUT} (for this and 24 more rows)"


def test_points_of_a_reading_that_is_no_traverse_are_named_once(empty_records, tmp_path):
    cells = filled(
        "readings", 3, traverse_rule="", traverse_lines="", traverse_points="", observations="3.4;3.5", method="sweep"
    )
    found = the_one_finding(empty_records, tmp_path / "in", changed(*((f"{file}.csv", *rest) for file, *rest in cells)))
    assert found[:3] == ("traverses.csv", 14, "observed_at")


def test_points_may_be_typed_in_another_zone_and_order(empty_records, tmp_path):
    sheets = every_way()
    sheets["traverses.csv"].reverse()
    for row in sheets["traverses.csv"][:5]:
        row["observed_at"] = "2026-03-05T08:30Z"
    assert imported(empty_records, write(tmp_path / "in", sheets)).records["traverse_point"] == 12 + 25 + 12


def test_a_wrong_number_of_points_names_the_rows_that_are_too_many(empty_records, tmp_path):
    found = findings_of(empty_records, write(tmp_path, changed(("readings.csv", 2, "traverse_points", "4"))))
    assert [(one.row, one.column, one.value) for one in found] == [
        (row, "point", point) for row, point in ((6, "5"), (7, "6"), (12, "5"), (13, "6"))
    ]


def test_a_line_too_many_is_missed_in_the_points(empty_records, tmp_path):
    found = the_one_finding(empty_records, tmp_path, changed(("readings.csv", 2, "traverse_lines", "3")))
    assert found[:4] == ("readings.csv", 2, "traverse_rule", "log-linear")
    assert found[4].endswith("no line/point 3/1, 3/2, 3/3, 3/4, 3/5 and 1 more")


def test_a_log_file_of_pressures_is_named(empty_records, tmp_path):
    """A mean of pressures is no pressure of the mean velocity."""
    row = {"observed_at": "2026-03-05T09:50+01:00", "method": "sweep", "log_file": "log.csv"}
    sheets = with_row("readings.csv", 2, **row, traverse_rule="", traverse_lines="", traverse_points="")
    found = the_one_finding(empty_records, tmp_path, sheets)
    assert found[:4] == ("readings.csv", 9, "log_file", "log.csv")
    assert "of pressures each becomes a velocity before the mean is taken" in found[4]


@pytest.mark.parametrize(
    ("row", "expected"), [(3, "nothing beside traverse_rule"), (7, "nothing beside throttled_observations")]
)
def test_a_log_file_has_no_place_beside_a_traverse_or_a_throttle(empty_records, tmp_path, row, expected):
    sheets = every_way()
    sheets["readings.csv"][row - 2] |= {"observations": "", "log_file": "log.csv"}
    found = the_one_finding(empty_records, tmp_path, sheets)
    assert found[:4] == ("readings.csv", row, "log_file", "log.csv")
    assert expected in found[4]


def test_a_factor_1_of_a_free_opening_is_exact(empty_records, tmp_path):
    cells = filled(
        "outlets", 5, outlet_factor="1.0", outlet_factor_standard_uncertainty="0", outlet_factor_source="free opening"
    )
    sheets = changed(*((f"{file}.csv", *rest) for file, *rest in cells))
    assert imported(empty_records, write(tmp_path / "in", sheets)).records["outlet"] == 7


def test_an_effective_area_is_never_exact(empty_records, tmp_path):
    sheets = every_way()
    area = {"effective_area": "0.05", "effective_area_unit": "m2", "effective_area_standard_uncertainty": "0"}
    sheets["outlets.csv"][3] |= area | {"outlet_factor": "", "outlet_factor_standard_uncertainty": ""}
    found = the_one_finding(empty_records, tmp_path, sheets)
    assert found[:4] == ("outlets.csv", 5, "effective_area_standard_uncertainty", "0")
    assert EXACT in found[4]


@pytest.mark.parametrize(
    "column", ["effective_area", "effective_area_unit", "effective_area_standard_uncertainty", "outlet_factor_reason"]
)
def test_a_duct_has_nothing_of_a_factor(empty_records, tmp_path, column):
    sheets = every_way()
    typed = "m2" if column.endswith("unit") else "0.1"
    sheets["outlets.csv"][0][column] = typed
    found = the_one_finding(empty_records, tmp_path, sheets)
    assert found[:4] == ("outlets.csv", 2, column, typed)
    assert "nothing for a duct: its section is the area" in found[4]


# Mistakes of one job, all in one go.
AT_ONCE = (
    ("conditions.csv", 3, "instrument", "TH-1"),
    ("conditions.csv", 7, "source", ""),
    ("instruments.csv", 6, "resistance_ratio", "0.25"),
    ("methods.csv", 3, "degrees_of_freedom", "0"),
    ("outlets.csv", 4, "width", "250"),
    ("outlets.csv", 8, "outlet_factor_standard_uncertainty", "0"),
    ("readings.csv", 2, "probe", "PT-9"),
    ("readings.csv", 3, "conditions", ""),
    ("readings.csv", 5, "method", "hood"),
    ("rooms.csv", 3, "pressure", "low"),
    ("systems.csv", 2, "system", "AH-3"),
    ("traverses.csv", 5, "point", "3"),
    ("traverses.csv", 20, "indications", "3.86;3.87"),
)


def test_mistakes_in_every_file_are_all_named_at_once(empty_records, tmp_path):
    found = findings_of(empty_records, write(tmp_path / "in", changed(*AT_ONCE)))
    assert [(Path(one.source).name, one.row, one.column, one.value) for one in found] == list(AT_ONCE)
    assert ledger_head(empty_records) == UNTOUCHED


def test_a_file_that_cannot_be_read_hides_no_mistake_of_another_and_makes_none(empty_records, tmp_path):
    """Names that may stand in the unread file are not asked for."""
    for file in (
        "conditions.csv",
        "traverses.csv",
        "outlets.csv",
        "methods.csv",
        "systems.csv",
        "rooms.csv",
        "instruments.csv",
    ):
        folder = write(
            tmp_path / file, every_way() if file == "rooms.csv" else changed(("rooms.csv", 3, "pressure", "low"))
        )
        (folder / file).write_bytes(b"job,\x81")
        found = [(Path(one.source).name, one.row) for one in findings_of(empty_records, folder)]
        assert found == [(file, None)] if file == "rooms.csv" else [(file, None), ("rooms.csv", 3)]


@pytest.mark.parametrize("file", list(every_way()))
def test_a_row_with_a_cell_too_many_is_named_once(empty_records, tmp_path, file):
    """What the row would have said is not missed anywhere else."""
    folder = write(tmp_path / "in", every_way())
    lines = (folder / file).read_text(encoding="utf-8").splitlines()
    lines[1] += ",x"
    (folder / file).write_text("\n".join(lines) + "\n", encoding="utf-8")
    (finding,) = findings_of(empty_records, folder)
    assert (Path(finding.source).name, finding.row, finding.column) == (file, 2, None)


def test_the_job_that_all_of_these_change_is_right(empty_records, tmp_path):
    written = imported(empty_records, write(tmp_path / "in", every_way()))
    sheets = every_way()
    assert written.refusals == ()
    assert written.records == {
        "instrument": 8, "method": 3, "job": 1, "calibration": 8, "comparison": len(sheets["comparisons.csv"]),
        "correction_curve": 8, "acceptance": 8, "system_design": 1, "room": 2, "outlet": 7, "condition": 7,
        "traverse": 3, "traverse_point": 12 + 25 + 12, "reading": 7,
    }  # fmt: skip
    with database.reading(str(empty_records)) as session:
        assert ledger.ledger_head(session)[0] == sum(written.records.values())
        assert ledger.verify(session.connection()) == ()


def test_every_point_is_kept_as_typed(whole):
    with database.reading(str(whole)) as session:
        kept = [(str(one.line), str(one.point), one.indications) for one in all_of(session, TraversePoint)]
    assert kept == [(row["line"], row["point"], row["indications"]) for row in every_way()["traverses.csv"]]


NEW_FILES = ("systems.csv", "rooms.csv", "conditions.csv", "traverses.csv")
NEW_COLUMNS = {
    "instruments.csv": (
        "density_effect", "reference_temperature_degC", "reference_pressure_kPa", "resistance_ratio",
        "resistance_ratio_standard_uncertainty", "quantity", "unit",
    ),
    "calibrations.csv": ("temperature_degC", "pressure_kPa", "humidity_percent"),
    "methods.csv": ("pattern", "degrees_of_freedom"),
    "outlets.csv": ("place", "in_totals", "room", "outlet_type", "shape", "width", "height", "diameter", "outlet_factor"),
    "readings.csv": (
        "outlet", "instrument", "observed_at", "unit", "observations", "method", "probe", "conditions",
        "throttled_observations", "traverse_rule", "traverse_lines", "traverse_points",
    ),
}  # fmt: skip
CELLS = [
    (file, row, column)
    for file, rows in every_way().items()
    for row in range(2, len(rows) + 2)
    for column in (rows[0] if file in NEW_FILES else NEW_COLUMNS.get(file, ()))
]
SURPRISES = [
    "", "0", "-0", "-1", "1", "2", "40", "9999", "1e12", "-1e12", "1e-12", "5e-324", "1.0000000001", "nan", "²", "degC",
    "degF", "K", "Pa", "inHg(0degC)", "m/s", "%", "DM-1", "PT-1", "TA-1", "VF-1", "FH-1", "TH-1", "D-1", "D-2", "S-1",
    "rooms", "plant room", "duct", "outlet", "yes", "no", "round", "flat-oval", "rectangular", "thermal",
    "vane friction", "velocity pressure", "traverse", "hood", "sweep", "log-linear", "equal-area", "log-Tchebycheff",
    "1;2", "0;0;0", "-5;-5;-5", "1e12;-1e12;0", "temperature", "barometric pressure", "static pressure",
    "relative humidity", "pressure", "volume flow", "2026-03-05T09:10Z", "\x1b[2J", "a\nb", "x" * 99,
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


def taken(records, folder, sheets):
    """Number of records that were written; none where findings were named."""
    try:
        return sum(imported(records, write(folder, sheets)).records.values())
    except BadInputError:
        return 0


def entries(records):
    """Number of ledger entries, all of them verified."""
    with database.reading(str(records)) as session:
        assert ledger.verify(session.connection()) == ()
        return ledger.ledger_head(session)[0]


@given(cells=st.dictionaries(st.sampled_from(CELLS), TYPED, min_size=1, max_size=2))
@settings(max_examples=60)
def test_any_text_in_any_new_cell_is_taken_whole_or_named(blank, cells):
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        records = shutil.copyfile(blank, folder / "records.sqlite")
        written = taken(records, folder / "in", changed(*((*place, typed) for place, typed in cells.items())))
        assert written == 0 or written > 100
        assert entries(records) == written
