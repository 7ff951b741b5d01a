"""The gate, asked about readings that rest on several instruments, on the air and on found factors: each reason is told.

Source: ISO/IEC 17025:2017, 6.4.4 to 6.4.10 (an instrument that is not fit is not used); common practice, no source, for the limits
of a low velocity pressure.
"""

import copy
import json
import math
import re
import shutil
from dataclasses import replace
from datetime import datetime

import pytest

from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.fleet.record_check import record_check
from calib.procedures.fleet.record_event import record_event
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.typed.columns import FILES
from calib.quantities import finite_number
from calib.records import database, ledger
from calib.records.tables.calibrations import Calibration
from calib.records.tables.factors import FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.methods import Method
from calib.records.tables.readings import Refusal, Traverse, TraversePoint
from tests.command import calib
from tests.every_way import NOW, changed, every_way
from tests.folders import SIGNED, all_of, findings_of, imported, only, records_of, write

READINGS = ("readings.csv", "traverses.csv")
# Readings that rest on each instrument, by what was used and by the conditions that it observed.
RESTS_ON = {
    "DM-1": {"D-1", "D-2"},
    "PT-1": {"D-1"},
    "TA-1": {"D-2", "D-3"},
    "VF-1": {"S-1", "X-1"},
    "FH-1": {"S-2", "S-3"},
    "TH-1": {"D-1", "D-2", "D-3", "S-1"},
    "BA-1": {"D-1", "D-2"},
    "HY-1": {"D-1", "D-2"},
}
ROW = {one["tag"]: row for row, one in enumerate(every_way()["calibrations.csv"], start=2)}  # of calibrations.csv
UNIT = {
    "DM-1": "Pa",
    "PT-1": "m/s",
    "TA-1": "m/s",
    "VF-1": "m/s",
    "FH-1": "m3/h",
    "TH-1": "degC",
    "BA-1": "kPa",
    "HY-1": "%",
}
MORNING = datetime.fromisoformat("2026-03-04T08:00+01:00")


def all_but_readings(sheets):
    return {file: rows for file, rows in sheets.items() if file not in READINGS}


@pytest.fixture(scope="module")
def _prepared(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("prepared"), all_but_readings(every_way()))


@pytest.fixture
def prepared(_prepared, tmp_path):
    """A records file that holds all of the job but its readings."""
    return shutil.copyfile(_prepared, tmp_path / "prepared.sqlite")


@pytest.fixture(scope="module")
def _whole(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("whole"), every_way())


@pytest.fixture
def whole(_whole, tmp_path):
    """A records file that holds all of the job."""
    return shutil.copyfile(_whole, tmp_path / "whole.sqlite")


def refused(written):
    """Reasons of the readings that an import kept as refusals, by outlet."""
    return {one.outlet: one.reasons for one in written.refusals}


def read_in(records, folder, sheets=None):
    """Import the readings into records that hold the rest."""
    return refused(imported(records, write(folder / "readings", only(sheets or every_way(), *READINGS))))


def import_all(folder, *cells):
    """Reasons of the refusals of the whole job with some cells changed, and its records."""
    folder.mkdir(exist_ok=True)
    database.make(str(folder / "records.sqlite"))
    written = imported(folder / "records.sqlite", write(folder / "import", changed(*cells)))
    return refused(written), folder / "records.sqlite"


def evaluated(records):
    with database.reading(str(records)) as session:
        found = evaluate(session, "E-1", NOW)
        session.expunge_all()
        return found


def overdue(tag):
    """Calibrated so long ago that it ran out on 2 December 2025."""
    day = "2023-12-02" if tag == "PT-1" else "2024-12-02"  # the probe's interval is 24 months, the others' 12
    return [("calibrations.csv", ROW[tag], column, day) for column in ("calibrated_on", "accepted_on")]


def suspend(records, tag, at=MORNING):
    with database.writing(str(records)) as session:
        record_event(session, tag, "suspension", at, "dropped", SIGNED)


def fail_check(records, tag):
    cells = {"kind": "comparison", "value": "9", "low": "-1", "high": "1", "unit": UNIT[tag]}
    with database.writing(str(records)) as session:
        record_check(session, tag, MORNING, cells, SIGNED)


def test_the_job_as_it_is_passes(prepared, tmp_path):
    assert read_in(prepared, tmp_path) == {}


@pytest.mark.parametrize("tag", RESTS_ON)
def test_an_overdue_instrument_refuses_what_rests_on_it(tmp_path, tag):
    found, _ = import_all(tmp_path / "in", *overdue(tag))
    certificate = every_way()["calibrations.csv"][ROW[tag] - 2]["certificate"]
    assert found.keys() == RESTS_ON[tag]
    for reasons in found.values():
        (reason,) = reasons
        assert reason.startswith(f"{tag}: calibration {certificate} of ")
        assert "was due on 2025-12-02, 93 days before 2026-03-05: have it recalibrated" in reason


@pytest.mark.parametrize("tag", RESTS_ON)
def test_a_certificate_that_nobody_accepted_refuses_what_rests_on_it(tmp_path, tag):
    found, _ = import_all(tmp_path / "in", ("calibrations.csv", ROW[tag], "accepted_on", ""))
    assert found.keys() == RESTS_ON[tag]
    for reasons in found.values():
        (reason,) = reasons
        assert reason.startswith(f"{tag}: no calibration accepted on or before 2026-03-05")


@pytest.mark.parametrize("tag", RESTS_ON)
def test_a_suspended_instrument_refuses_what_rests_on_it(prepared, tmp_path, tag):
    suspend(prepared, tag)
    found = read_in(prepared, tmp_path)
    expected = (
        f"{tag}: suspended since 2026-03-04T08:00:00+01:00, recorded on 2026-03-06 (dropped): use another instrument until it is "
        "released"
    )
    assert found == dict.fromkeys(RESTS_ON[tag], (expected,))


@pytest.mark.parametrize("tag", RESTS_ON)
def test_a_failed_check_refuses_what_rests_on_the_instrument(prepared, tmp_path, tag):
    fail_check(prepared, tag)
    found = read_in(prepared, tmp_path)
    expected = f"{tag}: intermediate check (comparison) failed on 2026-03-04: have it recalibrated"
    assert found == dict.fromkeys(RESTS_ON[tag], (expected,))


@pytest.mark.parametrize("tag", RESTS_ON)
def test_what_is_recorded_of_an_instrument_later_takes_its_readings_out_of_the_results(whole, tag):
    suspend(whole, tag)
    found = evaluated(whole)
    assert {one.outlet.outlet for one in found.refused} == RESTS_ON[tag]
    assert {one.outlet.outlet for one in found.measured} == {
        "D-1",
        "D-2",
        "D-3",
        "S-1",
        "S-2",
        "S-3",
        "X-1",
    } - RESTS_ON[tag]
    assert all(f"{tag}: suspended since" in " ".join(one.reasons) for one in found.refused)


def test_an_instrument_suspended_after_the_readings_refuses_none(whole):
    suspend(whole, "TH-1", datetime.fromisoformat("2026-03-05T12:00+01:00"))
    assert evaluated(whole).refused == ()


def test_all_reasons_come_at_once(prepared, tmp_path):
    suspend(prepared, "DM-1")
    fail_check(prepared, "PT-1")
    suspend(prepared, "HY-1")
    sheets = every_way()
    sheets["traverses.csv"][3]["indications"] = "421;419;420"
    reasons = read_in(prepared, tmp_path, sheets)["D-1"]
    assert [reason.split(" ")[:2] for reason in reasons] == [
        ["DM-1:", "suspended"], ["DM-1:", "indication"], ["PT-1:", "intermediate"], ["HY-1:", "suspended"],
    ]  # fmt: skip


def test_each_reason_is_told_once_though_an_instrument_serves_twice(prepared, tmp_path):
    """DM-1 measures the velocity pressures and observed the static pressure."""
    suspend(prepared, "DM-1")
    assert len(read_in(prepared, tmp_path)["D-1"]) == 1


def test_a_refused_traverse_is_kept_whole(prepared, tmp_path):
    suspend(prepared, "PT-1")
    found = read_in(prepared, tmp_path)
    with database.reading(str(prepared)) as session:
        (kept,) = all_of(session, Refusal)
        tags = {one.id: one.tag for one in all_of(session, Instrument)}
        rule = next(one for one in all_of(session, Traverse) if one.id == kept.traverse_id)
        points = [one for one in all_of(session, TraversePoint) if one.traverse_id == kept.traverse_id]
    typed = every_way()["readings.csv"][0]
    assert json.loads(kept.reasons) == list(found["D-1"])
    assert (tags[kept.instrument_id], tags[kept.probe_id]) == (typed["instrument"], typed["probe"])
    for column in ("observed_at", "unit", "operator", "conditions"):
        assert getattr(kept, column) == typed[column]
    assert (rule.rule, str(rule.lines), str(rule.points)) == (
        typed["traverse_rule"],
        typed["traverse_lines"],
        typed["traverse_points"],
    )
    assert [(str(one.line), str(one.point), one.indications) for one in points] == [
        (row["line"], row["point"], row["indications"])
        for row in every_way()["traverses.csv"]
        if row["outlet"] == "D-1"
    ]


def test_a_refused_hood_keeps_what_was_read_with_its_throttle_set(prepared, tmp_path):
    suspend(prepared, "FH-1")
    read_in(prepared, tmp_path)
    with database.reading(str(prepared)) as session:
        kept = all_of(session, Refusal)
    assert [(one.observations, one.throttled_observations) for one in kept] == [
        ("452;455;450", None),
        ("601;606;603", "540;543;541"),
    ]


def test_conditions_are_kept_whatever_their_instruments_are(tmp_path):
    _, records = import_all(tmp_path / "in", *overdue("TH-1"))
    with database.reading(str(records)) as session:
        assert ledger.verify(session.connection()) == ()
    assert {one.outlet.outlet for one in evaluated(records).refused} == RESTS_ON["TH-1"]


@pytest.mark.parametrize("tag", ["DM-1", "PT-1", "TH-1", "BA-1", "HY-1"])
def test_the_command_says_why_and_ends_with_3(prepared, tmp_path, tag):
    suspend(prepared, tag)
    folder = write(tmp_path / "readings", only(every_way(), *READINGS))
    ran = calib("import", folder, records=prepared)
    assert ran.status == 3
    assert ran.err.count(f"{tag}: suspended since") == len(RESTS_ON[tag])
    assert f"{7 - len(RESTS_ON[tag]):6d}  reading" in ran.out
    assert f"{len(RESTS_ON[tag]):6d}  refusal" in ran.out
    assert calib("verify", records=prepared).status == 0


# Points of the traverse with the manometer; its certificate covers 5.1 to 401.1 Pa.


def points(*values):
    """D-1 with the same passes at some points, from its first one on."""
    return [("traverses.csv", row, "indications", value) for row, value in enumerate(values, start=2)]


def test_a_point_outside_the_manometer_s_interval_is_named_with_its_value(tmp_path):
    found, _ = import_all(tmp_path / "in", *points("401.2;400;399"))
    expected = (
        "DM-1: indication 401.2 Pa is outside the calibrated measuring interval 5.1 Pa to 401.1 Pa of certificate E-101: "
        "use an instrument calibrated there"
    )
    assert found == {"D-1": (expected,)}


def test_the_highest_point_is_named_and_one_below_the_lowest_comparison_is_none_of_it(tmp_path):
    found, _ = import_all(tmp_path / "in", *points("4.9;20;20", "390;450;395", "430;20;20"))
    assert [re.search(r"indication (\S+ Pa)", reason)[1] for reason in found["D-1"]] == ["450 Pa"]


def test_a_point_on_the_end_of_the_interval_passes(tmp_path):
    found, _ = import_all(tmp_path / "in", *points("401.1;401.1;401.1"))
    assert found == {}


# A point by the wall, below the manometer's lowest comparison, 5.1 Pa.


@pytest.mark.parametrize("value", ["4.0;4.0;4.0", "0.1;0.1;0.1", "0;0;0", "-0.3;-0.1;-0.2", "0;0.0;-0"])
def test_points_below_the_lowest_comparison_stand_alike_and_are_named(tmp_path, value):
    """Before, 4.0 Pa refused the traverse, while 0.0 and -0.1 Pa passed with less U."""
    found, records = import_all(tmp_path / "in", *points(value, value))
    assert found == {}
    profile = evaluated(records).profiles[0]
    assert [(place.line, place.point) for place in profile.below] == [(1, 1), (1, 2)]
    named = "2 of 12 points below the lowest comparison (line 1 point 1, line 1 point 2): the correction there is held"
    assert named in profile.findings
    assert profile.nonpositive == (2 if value in ("0;0;0", "0;0.0;-0", "-0.3;-0.1;-0.2") else 0)


def test_u_does_not_fall_where_a_point_falls_to_zero_and_below(tmp_path):
    of_points = []
    for number, value in enumerate(("0.3", "0.1", "0.0", "-0.1")):
        _, records = import_all(tmp_path / str(number), *points(";".join([value] * 3)))
        of_points.append(evaluated(records).flow.expanded_uncertainty[0])
    assert max(of_points) < 1.01 * min(of_points)


def test_a_point_that_is_below_zero_in_one_pass_only_is_counted_once(tmp_path):
    _, records = import_all(tmp_path / "in", *points("21;0;-0.2", "20;21;22"))
    profile = evaluated(records).profiles[0]
    assert (profile.nonpositive, len(profile.below)) == (1, 1)


def test_a_pressure_well_below_zero_is_refused_with_its_place(tmp_path):
    """u there is 0.26 Pa: U/k of 0.15 Pa, repeatability 0.2 Pa, limits of (0.5 % of 5.1 + 0.1) Pa over the root of 3."""
    found, _ = import_all(tmp_path / "in", *points("20;20;20", "-9;-8;-9"))
    (reason,) = found["D-1"]
    assert reason == (
        "DM-1: 1 of 12 points (line 1 point 2) is below zero by more than 2 standard uncertainties (velocity pressure "
        "-9.07 Pa, u 0.26 Pa): the flow turns back there, or the zero has drifted; set the zero and measure again, or choose "
        "another section"
    )


SHARED = ("methods.csv", 2, "share_below_interval_percent")


@pytest.mark.parametrize(("allowed", "refused"), [("", True), ("9", True), ("60", False)])
def test_points_that_could_carry_more_than_the_method_allows_refuse_the_reading(tmp_path, allowed, refused):
    """4.0 Pa against some 25 Pa: 0.4 of the mean velocity, so that five of twelve carry a sixth; 10 % is the default."""
    found, _ = import_all(tmp_path / "in", *points(*["4.0;4.0;4.0"] * 5), (*SHARED, allowed))
    if not refused:
        assert found == {}
        return
    (reason,) = found["D-1"]
    said = re.fullmatch(
        r"DM-1: 5 of 12 points \(line 1 point 1, .*\) are below the lowest comparison and could carry (\d+) % of the flow, above "
        r"the (\d+) % that the method allows: use instruments calibrated there",
        reason,
    )
    assert 17 < int(said[1]) < 25
    assert said[2] == (allowed or "10")


def test_a_traverse_below_the_lowest_comparison_throughout_is_outside_the_interval(tmp_path):
    found, _ = import_all(tmp_path / "in", *points(*["4.0;4.1;4.2"] * 12))
    assert "indication 4.2 Pa is outside the calibrated measuring interval 5.1 Pa to 401.1 Pa" in found["D-1"][0]


def test_a_traverse_of_standing_air_alone_cannot_be_told_from_zero(tmp_path):
    found, _ = import_all(tmp_path / "in", *points(*["0;0;0"] * 12))
    assert any("it cannot be told from zero" in reason for reason in found["D-1"])


def test_a_velocity_below_the_probe_s_lowest_comparison_is_counted_too(tmp_path):
    """5.2 Pa are within the manometer's interval, but make less than the 3.01 m/s from which on the probe was compared."""
    found, records = import_all(tmp_path / "in", *points("5.2;5.2;5.2"))
    assert found == {}
    assert len(evaluated(records).profiles[0].below) == 1


# A low velocity pressure: about 20 Pa, by a manometer whose certificate states one U at every comparison.


def low(certified):
    """The traverse of D-1 at 20 Pa throughout, and the certificate's expanded uncertainty."""
    return [
        *points(*["20;20;20"] * 12),
        *(("comparisons.csv", row, "expanded_uncertainty", certified) for row in (2, 3, 4, 5)),
    ]


def expanded(certified):
    """U [Pa] at 20 Pa by hand: certificate, repeatability, resolution, limits of error; the curve's scatter is below 0.1 Pa."""
    return 2 * math.sqrt((certified / 2) ** 2 + 0.2**2 + 0.1**2 / 12 + (0.005 * 20 + 0.1) ** 2 / 3)


@pytest.mark.parametrize("certified", ["20", "30", "200"])
def test_a_pressure_that_cannot_be_told_from_zero_refuses(tmp_path, certified):
    found, _ = import_all(tmp_path / "in", *low(certified))
    (reason,) = found["D-1"]
    said = re.fullmatch(
        r"DM-1: velocity pressure (\S+) Pa is not above its expanded uncertainty (\S+) Pa: it cannot be told from zero; .*",
        reason,
    )
    # Known so badly, 20 Pa make the velocity that a point near zero has in the mean: another pressure is said.
    assert float(said[1]) == pytest.approx(20, abs=5.5)
    assert float(said[2]) == pytest.approx(expanded(float(certified)), rel=0.006)


@pytest.mark.parametrize("certified", ["4.4", "10", "18"])
def test_a_low_pressure_is_flagged_with_the_number(tmp_path, certified):
    """U/(2 dp) is the relative expanded uncertainty of the velocity; above 10 % it is worth saying."""
    found, records = import_all(tmp_path / "in", *low(certified))
    assert found == {}
    first, *others = evaluated(records).measured
    (flag,) = first.flags
    said = re.fullmatch(r"DM-1: velocity pressure .* leaves the velocity uncertain by (\d+) %: .*", flag)
    assert int(said[1]) == pytest.approx(100 * expanded(float(certified)) / (2 * 19.8), rel=0.1)
    assert all(one.flags == () for one in others)


@pytest.mark.parametrize("certified", ["0.4", "3.6"])
def test_a_pressure_that_is_known_well_enough_is_not_flagged(tmp_path, certified):
    _, records = import_all(tmp_path / "in", *low(certified))
    assert evaluated(records).measured[0].flags == ()


def test_a_pressure_seen_as_a_voltage_is_judged_where_it_was_seen(tmp_path):
    """A transducer of 0 to 10 V for 0 to 400 Pa, known to 0.3 Pa at 0.5 V (20 Pa) and to 60 Pa at 10 V."""
    sheets = changed(*points(*["0.5;0.5;0.5"] * 12))
    sheets["conditions.csv"] = [row for row in sheets["conditions.csv"] if row["quantity"] != "static pressure"]
    instrument = {
        "indication_quantity": "voltage",
        "unit": "V",
        "range_low": "0",
        "range_high": "10",
        "resolution": "0.001",
    }
    instrument |= {"repeatability": "0.002", "mpe_absolute": "0.001"}
    for row in sheets["instruments.csv"]:
        row.update(instrument if row["tag"] == "DM-1" else {"indication_quantity": ""})
    seen = iter([("10", "0.25", "0.2"), ("20", "0.5", "0.3"), ("40", "1", "0.4"), ("400", "10", "60")])
    for row in sheets["comparisons.csv"]:
        row["indication_unit"] = ""
        if row["tag"] == "DM-1":
            reference, indication, certified = next(seen)
            row |= {"reference": reference, "indication": indication, "indication_unit": "V", "repeatability": "0.002"}
            row["expanded_uncertainty"] = certified
    sheets["readings.csv"][0]["unit"] = "V"
    records = records_of(tmp_path / "in", sheets)
    found = evaluated(records)
    assert found.refused == ()
    assert found.measured[0].flags == ()


# The density of the air that an instrument refers to.


@pytest.mark.parametrize("column", ["temperature_degC", "pressure_kPa", "humidity_percent"])
def test_a_vane_whose_certificate_does_not_state_the_air_is_refused_where_conditions_are_named(tmp_path, column):
    found, records = import_all(tmp_path / "in", ("calibrations.csv", ROW["VF-1"], column, ""))
    expected = (
        "VF-1: certificate E-104 does not state temperature, pressure and humidity, so the density of the air cannot be "
        "corrected for: leave the conditions out, or have it calibrated with them"
    )
    assert found == {"S-1": (expected,)}
    assert "X-1" in {one.outlet.outlet for one in evaluated(records).measured}  # it names no conditions


@pytest.mark.parametrize(
    ("file", "row", "column", "value", "outlets", "said"),
    [
        (
            "calibrations.csv",
            5,
            "temperature_degC",
            "205",
            {"S-1"},
            "VF-1: certificate E-104: air temperature 205 degC",
        ),
        (
            "calibrations.csv",
            5,
            "pressure_kPa",
            "1011",
            {"S-1"},
            "VF-1: certificate E-104: absolute air pressure 1011000 Pa",
        ),
        ("calibrations.csv", 5, "humidity_percent", "430", {"S-1"}, "VF-1: certificate E-104: relative humidity 4.3"),
        (
            "instruments.csv",
            4,
            "reference_temperature_degC",
            "70",
            {"D-2", "D-3"},
            "TA-1: reference state: air temperature 70 degC",
        ),
        (
            "instruments.csv",
            4,
            "reference_pressure_kPa",
            "1013.25",
            {"D-2", "D-3"},
            "TA-1: reference state: absolute air pressure",
        ),
    ],
)
def test_a_state_that_the_density_is_not_known_for_refuses_and_says_where_it_stands(
    tmp_path, monkeypatch, file, row, column, value, outlets, said
):
    """Records of the first schema may hold any number there, which an import names since."""
    any_number = [replace(one, check=finite_number) if one.name == column else one for one in FILES[file]]
    monkeypatch.setitem(FILES, file, replace(FILES[file], columns=tuple(any_number)))
    found, _ = import_all(tmp_path / "in", (file, row, column, value))
    assert found.keys() == outlets
    assert all(len(reasons) == 1 and reasons[0].startswith(said) for reasons in found.values())


def test_a_scaled_indication_outside_a_vane_s_interval_refuses(tmp_path):
    """In the thinner air of the site 0.66 m/s, the lowest indication, turn the vane as a little less did at its calibration."""
    cells = [("readings.csv", 5, "observations", "0.66;0.66;0.66")]
    found, _ = import_all(tmp_path / "in", *cells)
    (reason,) = found["S-1"]
    assert reason.startswith("VF-1: indication 0.6")
    assert "outside the calibrated measuring interval 0.66 to 11.8" in reason


def test_conditions_that_make_no_density_refuse_what_rests_on_them(tmp_path, monkeypatch):
    """An import names such a value; a correction may still bring one about that lies at the end of the range."""
    monkeypatch.setattr("calib.procedures.enter.check_jobs._KNOWN_AIR", {})
    found, _ = import_all(tmp_path / "in", ("conditions.csv", 7, "value", "9750"))
    assert found.keys() == {"D-3", "S-1"}
    assert all(reasons[0].startswith("conditions rooms: absolute air pressure 975000 Pa") for reasons in found.values())


def test_a_pair_that_no_resistance_explains_once_it_is_corrected_refuses(tmp_path):
    """302 is above 603.3/2, half since the ratio is 4; by the certificate's points about it 298.4 is not above 598.6/2."""
    found, _ = import_all(tmp_path / "in", ("readings.csv", 7, "throttled_observations", "302;302;302"))
    (reason,) = found["S-3"]
    assert reason.startswith("FH-1: throttling from 0.166")
    assert "is more than a resistance ratio of 4 can do at a constant plenum pressure: measure again" in reason


# What an amended outlet does to readings that were taken there before.

AMENDED = {
    "D-1": ("shape=rectangular", "width=400", "height=400", "diameter="),  # log-linear has 4 lines of up to 7 points there
    "D-2": ("place=outlet", "shape=", "width=", "height=", "dimension_unit=", "dimension_limit=", "effective_area=0.15",
            "effective_area_unit=m2", "effective_area_standard_uncertainty=0.001", "outlet_factor_source=drawing"),
}  # fmt: skip


def amend(records, outlet):
    with database.writing(str(records)) as session:
        amend_outlet(session, "E-1", outlet, AMENDED[outlet], "seen on site", SIGNED)


@pytest.mark.parametrize(
    ("outlet", "said"),
    [
        ("D-1", "DM-1: 2 lines by the log-linear rule in a rectangular duct: use 4"),
        ("D-2", "TA-1: outlet D-2 has no shape, and was traversed by the log-Tchebycheff rule: amend the outlet"),
    ],
)
def test_a_traverse_that_does_not_fit_the_amended_duct_is_refused(whole, outlet, said):
    amend(whole, outlet)
    (refusal,) = evaluated(whole).refused
    assert (refusal.outlet.outlet, refusal.reasons) == (outlet, (said,))


@pytest.mark.parametrize("outlet", AMENDED)
def test_so_is_one_by_an_instrument_that_no_density_is_corrected_for(tmp_path, outlet):
    """One reading must not take the others of the job with it."""
    sheets = every_way()
    row = {"D-1": 0, "D-2": 1}[outlet]
    typed = {"instrument": "VF-1", "unit": "m/s", "probe": "", "conditions": ""}
    sheets["readings.csv"][row] |= typed
    for one in sheets["traverses.csv"]:
        if one["outlet"] == outlet:
            one.update({"instrument": "VF-1", "indications": "3.3;3.4;3.2"})
    records = records_of(tmp_path / "in", sheets)
    assert evaluated(records).refused == ()
    amend(records, outlet)
    found = evaluated(records)
    assert [one.outlet.outlet for one in found.refused] == [outlet]
    assert len(found.measured) == 6


# A factor found in the field holds for the instrument and the method that it was found with.


def found_factor(records, tag="VF-1", method="sweep", revision=1, **fields):
    """Put a factor into the records, as a procedure would."""
    with database.writing(str(records)) as session:
        instrument = next(one.id for one in all_of(session, Instrument) if one.tag == tag)
        made = {
            "factor": "G-1", "revision": revision, "scope": "this type", "outlet_type": "grille G", "instrument_id": instrument,
            "calibration_id": next(one.id for one in all_of(session, Calibration) if one.instrument_id == instrument),
            "method_id": next(one.id for one in all_of(session, Method) if one.method == method),
            "value": 0.84, "relative_spread": 0.01, "degrees_of_freedom": 4.0, "relative_reference": 0.01,
            "relative_instrument": 0.008, "face_indications": "[4.2]", "reason": "found by five pairs",
        }  # fmt: skip
        ledger.append_entries(session, [FoundFactor(**(made | fields))], SIGNED)


def with_factor(**cells):
    """The job in which S-1 has a factor found in the field."""
    sheets = every_way()
    blank = dict.fromkeys(("outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source"), "")
    for row in sheets["outlets.csv"]:
        row.update(blank | {"found_factor": "G-1"} | cells if row["outlet"] == "S-1" else {"found_factor": ""})
    return sheets


REGISTER = ("instruments.csv", "calibrations.csv", "comparisons.csv", "methods.csv")


@pytest.fixture(scope="module")
def _register(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("register"), only(every_way(), *REGISTER))


@pytest.fixture
def register(_register, tmp_path):
    """A records file that holds the instruments and methods."""
    return shutil.copyfile(_register, tmp_path / "register.sqlite")


def import_job(records, folder, sheets):
    job = {file: rows for file, rows in sheets.items() if file not in REGISTER}
    return refused(imported(records, write(folder / "job", copy.deepcopy(job))))


def test_a_factor_is_used_with_the_instrument_and_method_it_was_found_with(register, tmp_path, whole):
    found_factor(register)
    assert import_job(register, tmp_path, with_factor()) == {}
    row = [one.outlet.outlet for one in evaluated(register).measured].index("S-1")
    assert evaluated(register).flow.value[row] == pytest.approx(evaluated(whole).flow.value[row], rel=1e-12)


@pytest.mark.parametrize(("tag", "method"), [("TA-1", "sweep"), ("VF-1", "traverse"), ("TA-1", "traverse")])
def test_another_instrument_or_another_method_refuses(register, tmp_path, tag, method):
    found_factor(register, tag, method)
    expected = (
        f"factor G-1: it was found with {tag}, {method}, and holds for them only; this reading was taken with VF-1, sweep: "
        "measure with them, or amend the outlet"
    )
    assert import_job(register, tmp_path, with_factor()) == {"S-1": (expected,)}


def test_of_several_revisions_of_a_factor_the_latest_counts(register, tmp_path):
    found_factor(register)
    assert import_job(register, tmp_path, with_factor()) == {}
    found_factor(register, "TA-1", revision=2)
    (refusal,) = evaluated(register).refused
    assert refusal.outlet.outlet == "S-1"
    assert "it was found with TA-1, sweep" in refusal.reasons[0]


def test_reasons_of_a_factor_come_with_the_others(register, tmp_path):
    found_factor(register, "TA-1")
    suspend(register, "VF-1")
    suspend(register, "TH-1")
    reasons = import_job(register, tmp_path, with_factor())["S-1"]
    assert [one.split(" ")[0] for one in reasons] == ["VF-1:", "TH-1:", "factor"]


def test_a_hood_at_an_outlet_with_a_factor_needs_none(register, tmp_path):
    found_factor(register, "TA-1")
    sheets = with_factor()
    sheets["readings.csv"][3] |= {
        "instrument": "FH-1",
        "unit": "m3/h",
        "observations": "990;992;991",
        "method": "hood",
        "conditions": "",
    }
    assert import_job(register, tmp_path, sheets) == {}


@pytest.mark.parametrize(
    ("fields", "cells", "expected"),
    [
        ({"outlet_type": "grille H"}, {}, "a factor for outlet_type 'grille G'"),
        ({}, {"outlet_type": ""}, "a factor for outlet_type ''"),
        ({}, {"found_factor": "G-2"}, "a factor found from pairs of readings that is on record (there is G-1)"),
    ],
)
def test_a_factor_for_another_type_is_named_by_the_import(register, tmp_path, fields, cells, expected):
    found_factor(register, **fields)
    job = {file: rows for file, rows in with_factor(**cells).items() if file not in REGISTER}
    (finding,) = findings_of(register, write(tmp_path / "job", job))
    assert (finding.row, finding.column, finding.expected) == (5, "found_factor", expected)


def test_a_factor_for_another_outlet_is_named_by_the_import(whole, tmp_path):
    found_factor(whole, scope="this outlet", outlet_type=None, outlet_id=4, effective_area=0.0672)
    sheets = only(with_factor(outlet="S-9"), "outlets.csv")
    sheets["outlets.csv"] = sheets["outlets.csv"][3:4]
    (finding,) = findings_of(whole, write(tmp_path / "job", sheets))
    assert (finding.row, finding.column) == (2, "found_factor")
    assert "this one was found for another outlet" in finding.expected


def test_a_factor_beside_another_is_named_by_the_import(register, tmp_path):
    found_factor(register)
    factor = {
        "outlet_factor": "0.84",
        "outlet_factor_standard_uncertainty": "0.017",
        "outlet_factor_source": "data sheet",
    }
    job = {file: rows for file, rows in with_factor(**factor).items() if file not in REGISTER}
    (finding,) = findings_of(register, write(tmp_path / "job", job))
    assert (finding.row, finding.column, finding.value) == (5, "outlet_factor", "0.84")
    assert finding.expected.startswith("one of outlet_factor, effective_area and found_factor")
