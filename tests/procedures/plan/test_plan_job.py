"""A job is planned before it is measured: what each instrument would show, and whether it can prove the tolerance.

The expected figures are those of readings: each predicted reading is imported as if it had been taken, and evaluated.
Sources besides: JCGM 106, 7.6.3, 8.2 and 8.3.2; ILAC-G8, 4.2; the ideal gas law for what the air does to an indication.
"""

import math
import shutil
from datetime import datetime, timedelta

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI
from hypothesis import given
from hypothesis import strategies as st

from calib.confirmation.conformity import conformity
from calib.confirmation.words import DECISION_RULES
from calib.errors import NotInRecordsError
from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.fleet.pair_instruments import change_pair
from calib.procedures.fleet.record_event import record_event
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.probe_pairs import PAIRED
from calib.procedures.plan.plan_job import method_findings, plan_job
from calib.procedures.plan.planned import NO, NOT_KNOWN, YES, ExpectedAir, Wish, acceptance
from calib.procedures.plan.predicted_reading import NEEDS_AIR
from calib.quantities import unit
from calib.records import database
from tests import factor_pairs
from tests.command import calib
from tests.every_way import changed
from tests.folders import NOW, SIGNED, imported, records_of, write
from tests.reference import rows
from tests.tolerances import about

AT = datetime.fromisoformat("2026-03-05T12:00+01:00")
AIR = ExpectedAir(293.15, 101300.0, 0.5)
# The same as a person types it once it was measured, with the standard uncertainties that a plan assumes.
MEASURED_AIR = [("temperature", "20", "degC", "0.5"), ("barometric pressure", "101.3", "kPa", "0.1")]
MEASURED_AIR += [("relative humidity", "50", "%", "3")]
# Rows of the sheets of tests.every_way.
DM, PT, TA, VF, FH = 2, 3, 4, 5, 6
D_1, D_2, S_1, S_2, X_1 = 2, 3, 5, 6, 8

# A hot-wire probe that indicates a voltage (reference_data/hot_wire), and a probe and manometer calibrated as one; invented.
OTHERS = {
    "instruments.csv": [
        {
            "tag": "HW-1", "kind": "hot-wire probe", "maker": "Maker", "model": "M5", "serial": "005", "quantity": "air velocity",
            "range_low": "1.4", "range_high": "2.2", "unit": "V", "resolution": "0.001", "mpe_absolute": "0.002",
            "interval_months": "12", "repeatability": "0.002", "indication_quantity": "voltage", "density_effect": "",
        },
        {
            "tag": "PP-1", "kind": "cross with manometer", "maker": "Maker", "model": "M6", "serial": "006",
            "quantity": "air velocity", "range_low": "0", "range_high": "250", "unit": "Pa", "resolution": "0.1",
            "mpe_absolute": "0.2", "interval_months": "12", "repeatability": "0.1", "indication_quantity": "pressure",
            "density_effect": "velocity pressure",
        },
    ],
    "calibrations.csv": [
        {
            "tag": tag, "certificate": certificate, "laboratory": "Laboratory", "calibrated_on": "2026-02-25",
            "accepted_on": "2026-02-26", "temperature_degC": "21.0", "pressure_kPa": "98.2", "humidity_percent": "40",
        }
        for tag, certificate in (("HW-1", "C-201"), ("PP-1", "C-202"))
    ],
    "comparisons.csv": [
        {
            "tag": tag, "certificate": certificate, "phase": "as-found", "reference": reference, "indication": indication,
            "unit": "m/s", "indication_unit": symbol, "expanded_uncertainty": f"{0.02 * float(reference):.4f}",
            "coverage_factor": "2",
        }
        for tag, certificate, symbol, pairs in (
            ("HW-1", "C-201", "V", [(row["reference_velocity"], row["voltage"]) for row in rows("hot_wire", "comparisons")]),
            ("PP-1", "C-202", "Pa", [("2", "2.5"), ("4", "9.7"), ("8", "38.9"), ("12", "86.2"), ("18", "195.1")]),
        )
        for reference, indication in pairs
    ],
}  # fmt: skip


def before(*cells):
    """The job of tests.every_way before anything is measured, with some cells changed."""
    sheets = changed(*cells)
    return {
        name: rows for name, rows in sheets.items() if name not in {"readings.csv", "traverses.csv", "conditions.csv"}
    }


def planned(records, job="E-1", at=AT, air=AIR, **wish):
    with database.reading(str(records)) as session:
        return plan_job(session, job, Wish(at, NOW, air=air, **wish))


@pytest.fixture(scope="module")
def _before(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("before"), before())


@pytest.fixture
def records(_before, tmp_path):
    """A copy of the job's records, before anything is measured."""
    return shutil.copyfile(_before, tmp_path / "records.sqlite")


def place(found, name):
    return next(one for one in found.outlets if one.outlet.outlet == name)


def tags(of):
    return {one.gear.name for one in of.candidates}


def candidate(found, name, gear):
    return next(one for one in place(found, name).candidates if one.gear.name == gear)


def reasons(found, name, gear):
    return next(one.reasons for one in place(found, name).unusable if one.gear.name == gear)


# --- taken as predicted ----------------------------------------------------------------------------------------------------------


def scattered(mean, deviation, count):
    """Values with a given mean and standard deviation."""
    if count == 1:
        return [mean]
    spread = np.linspace(-1.0, 1.0, count)
    return (mean + deviation * spread / np.std(spread, ddof=1)).tolist()


def taken(one, count, observed_at):
    """Rows of readings.csv and traverses.csv of a predicted reading, with observations that scatter as the instrument declares."""
    instrument, outlet = one.gear.instrument, one.standing.outlet
    mean, declared = float(one.standing.reading.indication), float(instrument.repeatability)
    named = {"job": "E-1", "outlet": outlet.outlet, "instrument": instrument.tag, "observed_at": observed_at}
    row = named | {"unit": instrument.unit, "method": one.method.method, "operator": "T. One"}
    row |= {"probe": "" if one.gear.probe is None else one.gear.probe.tag, "indication": "", "observations": ""}
    row |= {"conditions": "measured" if one.standing.reading.conditions else ""}
    row |= {"traverse_rule": "", "traverse_lines": "", "traverse_points": ""}
    traversed = one.standing.observed.traversed
    if traversed is None:
        values = scattered(mean, declared, count)
        return row | ({"indication": repr(mean)} if count == 1 else {"observations": joined(values)}), []
    # A pass is the mean of its points: it scatters by 1/sqrt(points) of what one indication does.
    size = len(traversed.indications)
    values = joined(scattered(mean, declared / math.sqrt(size), count))
    points = [
        (line, point) for line in range(1, traversed.lines + 1) for point in range(1, size // traversed.lines + 1)
    ]
    row |= {
        "traverse_rule": traversed.rule,
        "traverse_lines": str(traversed.lines),
        "traverse_points": str(traversed.points),
    }
    return row, [named | {"line": str(line), "point": str(point), "indications": values} for line, point in points]


def joined(values):
    return ";".join(repr(one) for one in values)


def measured_conditions(observed_at="2026-03-05T08:00+01:00"):
    named = {"job": "E-1", "conditions": "measured", "observed_at": observed_at, "source": "stated"}
    columns = ("quantity", "value", "unit", "standard_uncertainty")
    return [named | dict(zip(columns, row, strict=True)) for row in MEASURED_AIR]


def measured(records, folder, readings):
    """Flow and U [m3/s] of predicted readings, (prediction, count) each, once they were taken."""
    job, order = evaluated_as_predicted(records, folder, readings, measured_conditions())
    return job.flow.value[order], job.flow.expanded_uncertainty[order]


def evaluated_as_predicted(records, folder, readings, conditions=()):
    """The job with predicted readings taken, and their rows; `conditions` are typed with them."""
    sheets = {"conditions.csv": list(conditions), "readings.csv": [], "traverses.csv": []}
    start = datetime.fromisoformat("2026-03-05T09:00+01:00")
    for number, (one, count) in enumerate(readings):
        row, points = taken(one, count, (start + timedelta(seconds=number)).isoformat())
        sheets["readings.csv"].append(row)
        sheets["traverses.csv"] += points
    imported(records, write(folder, {name: those for name, those in sheets.items() if those}))
    with database.reading(str(records)) as session:
        found = evaluate(session, "E-1", NOW)
        assert found.refused == ()
        times = [one.reading.observed_at for one in found.measured]
        return found, [times.index(row["observed_at"]) for row in sheets["readings.csv"]]


def test_each_predicted_reading_once_taken_has_the_design_flow_and_the_predicted_uncertainty(records, tmp_path):
    imported(records, write(tmp_path / "others", OTHERS))
    found = planned(records)
    those = [(one, of) for of in found.outlets for one in of.candidates]
    assert {one.gear.name for one, _ in those} == {"DM-1 + PT-1", "TA-1", "VF-1", "FH-1", "HW-1", "PP-1"}
    assert {one.observations for one, _ in those} == {1}
    flow, uncertainty = measured(records, tmp_path / "taken", [(one, 1) for one, _ in those])
    assert flow == pytest.approx([of.design for _, of in those], rel=1e-9)
    assert uncertainty == pytest.approx([one.with_them.expanded_uncertainty for one, _ in those], rel=1e-9)
    assert uncertainty / [of.half_width for _, of in those] == pytest.approx(
        [one.over_tolerance for one, _ in those], rel=1e-9
    )


RESTLESS = [("instruments.csv", row, "repeatability", text) for row, text in ((TA, "0.8"), (VF, "0.5"), (FH, "40"))]


@pytest.mark.parametrize(
    ("name", "gear", "at_most"),
    [
        ("S-1", "VF-1", 1.0),
        ("S-1", "FH-1", 0.6),
        ("X-1", "TA-1", 0.5),
        ("D-2", "TA-1", 0.43),
        ("D-1", "VF-1", 0.285),
    ],
)
def test_as_many_observations_as_are_needed_suffice_and_one_less_does_not(tmp_path, name, gear, at_most):
    records = records_of(tmp_path, before(*RESTLESS))
    one = candidate(planned(records, at_most=at_most), name, gear)
    n = one.observations
    assert n > 2
    _, (enough, one_less) = measured(records, tmp_path / "taken", [(one, n), (one, n - 1)])
    assert enough == pytest.approx(one.with_them.expanded_uncertainty, rel=1e-9)
    assert enough <= at_most * one.half_width < one_less


def test_the_passes_of_a_manometer_are_predicted_to_first_order(tmp_path):
    """Each pressure becomes a velocity before the mean is taken: the root bends, by a little."""
    records = records_of(tmp_path, before(("instruments.csv", DM, "repeatability", "4")))
    one = candidate(planned(records, at_most=0.27), "D-1", "DM-1 + PT-1")
    assert one.observations > 2
    _, (found,) = measured(records, tmp_path / "taken", [(one, one.observations)])
    assert found == pytest.approx(one.with_them.expanded_uncertainty, rel=2e-3)


def test_one_observation_of_a_declared_repeatability_may_do_what_two_cannot(tmp_path):
    """Type A of two observations has one degree of freedom; the declared repeatability is taken as known."""
    records = records_of(tmp_path, before(*RESTLESS))
    one = candidate(planned(records, at_most=3.0), "S-1", "VF-1")
    assert one.observations == 1
    _, (of_one, of_two) = measured(records, tmp_path / "taken", [(one, 1), (one, 2)])
    assert of_one == pytest.approx(one.with_them.expanded_uncertainty, rel=1e-9)
    assert of_two > of_one


# --- designs that state a density ------------------------------------------------------------------------------------------------

THIN = ExpectedAir(293.15, 80000.0, 0.5)
IN_THIN_AIR = 1.0 / HAPropsSI("Vha", "T", 293.15, "P", 80000, "R", 0.5)  # [kg/m3]


def at_density(sheets, density="1.2"):
    """The same job with every design stated at a density."""
    for row in sheets["outlets.csv"]:
        row["design_density_kg_per_m3"] = density if row["design_flow"] else ""
    return sheets


def test_a_hood_in_thin_air_is_to_show_the_volume_that_the_design_has_there(tmp_path):
    """450 m3/h +- 15 % at 1.2 kg/m3 are 0.54 t/h: in air of 0.948 kg/m3 they take 570 m3/h, and 484 to 655 m3/h pass."""
    sheets = at_density(before(("jobs.csv", 2, "decision_rule", "simple")))
    records = records_of(tmp_path, sheets)
    one = candidate(planned(records, air=THIN), "S-2", "FH-1")
    wider = 1.2 / IN_THIN_AIR
    assert one.standing.indication.mean * 3600 == pytest.approx(450 * wider, rel=WITHIN)
    asked = ("plan", "E-1", "--on", "2026-03-05")
    asked += ("--temperature", "20 degC", "--pressure", "80 kPa", "--humidity", "50 %")
    (told,) = [
        outlet for outlet in calib(*asked, "--json", records=records).document["outlets"] if outlet["outlet"] == "S-2"
    ]
    (hood,) = [each for each in told["candidates"] if each["instrument"] == "FH-1"]
    assert told["design"]["value"] == pytest.approx(450, rel=1e-12)
    assert told["design"]["density_kg_per_m3"] == pytest.approx(1.2)
    assert hood["design_as_measured"]["value"] == pytest.approx(450 * wider, rel=1e-4)
    assert hood["acceptance_interval"] == pytest.approx({"from": 382.5 * wider, "to": 517.5 * wider}, rel=1e-4)
    said = " ".join(calib(*asked, records=records).out.split())
    assert "450 m3/h at 1.2 kg/m3 ± 15 %" in said
    assert "FH-1 hood 57" in said


def declared_air():
    row = {"job": "E-1", "temperature_low_degC": "14", "temperature_high_degC": "22", "basis": "a guess"}
    return [row | {"service": service} for service in ("supply", "return", "exhaust")]


def test_a_reading_taken_as_predicted_meets_a_design_at_a_density(tmp_path):
    """Each in the air that the evaluation takes: the conditions that a reading names, else the range declared for its service."""
    sheets = at_density(before()) | {"air.csv": declared_air(), "conditions.csv": measured_conditions()}
    records = records_of(tmp_path, sheets)
    found = planned(records, air=None)
    those = [(one, of) for of in found.outlets for one in of.candidates]
    assert {one.gear.name for one, _ in those} == {"DM-1 + PT-1", "TA-1", "VF-1", "FH-1"}
    job, order = evaluated_as_predicted(records, tmp_path / "taken", [(one, 1) for one, _ in those])
    judged = job.in_design_state
    assert judged.value[order] == pytest.approx([of.design for _, of in those], rel=1e-9)
    expected = [one.with_them.expanded_uncertainty for one, _ in those]
    assert judged.expanded_uncertainty[order] == pytest.approx(expected, rel=1e-9)
    as_measured = [one.as_measured(of.design) for one, of in those]
    assert job.flow.value[order] == pytest.approx(as_measured, rel=1e-9)
    assert np.all(job.judgement.probability[order] > 0.9)


def test_where_no_air_is_known_a_design_at_a_density_asks_for_it(tmp_path):
    records = records_of(tmp_path, at_density(before()))
    found = planned(records, air=None)
    assert place(found, "S-2").candidates == ()
    (why,) = reasons(found, "S-2", "FH-1")
    assert why == "the design is stated at 1.2 kg/m3: declare the range of its air, or state the expected conditions"


# --- what an instrument would show -----------------------------------------------------------------------------------------------


def velocity_in_d_1():
    return 3000 / 3600 / (math.pi * 0.4**2 / 4)


IDEAL = 101300 / (287.05 * 293.15)  # density of dry air [kg/m3]; the humidity makes it 0.4 % less
WITHIN = 0.02  # the certificates' corrections and the humidity


@pytest.mark.parametrize(
    ("gear", "expected"),
    [
        ("DM-1 + PT-1", 0.5 * IDEAL * velocity_in_d_1() ** 2),
        ("TA-1", velocity_in_d_1() * (101300 / 101325) * (294.25 / 293.15)),
        ("VF-1", velocity_in_d_1()),
    ],
)
def test_what_a_duct_shows_follows_from_its_velocity_and_the_air(records, gear, expected):
    one = candidate(planned(records), "D-1", gear)
    assert one.standing.indication.mean == pytest.approx(expected, rel=WITHIN)
    assert one.velocity == pytest.approx(velocity_in_d_1(), rel=1e-9)


def test_thinner_air_lowers_what_a_manometer_and_a_thermal_anemometer_show_and_not_a_vane(records):
    thin = planned(records, air=ExpectedAir(293.15, 80000.0, 0.5))
    ratio = {
        gear: candidate(thin, "D-1", gear).standing.indication.mean
        / candidate(planned(records), "D-1", gear).standing.indication.mean
        for gear in ("DM-1 + PT-1", "TA-1", "VF-1")
    }
    assert ratio == pytest.approx({"DM-1 + PT-1": 800 / 1013, "TA-1": 800 / 1013, "VF-1": 1.0}, rel=0.01)


def test_a_hood_shows_the_flow_itself(records):
    one = candidate(planned(records), "S-2", "FH-1")
    assert unit("volume flow", "m3/h").from_si(one.standing.indication.mean) == pytest.approx(450, rel=WITHIN)
    assert one.gear.way.is_flow


def test_an_instrument_that_indicates_a_voltage_is_told_in_volts(records, tmp_path):
    imported(records, write(tmp_path / "others", OTHERS))
    one = candidate(planned(records), "S-1", "HW-1")
    assert 1.4 < one.standing.indication.mean < 2.2


def test_a_value_outside_the_measuring_interval_is_told_with_its_ends(tmp_path):
    records = records_of(tmp_path, before(("outlets.csv", D_2, "design_flow", "200")))
    found = planned(records)
    for gear, told in (("VF-1", "VF-1: 0.3704 m/s"), ("TA-1", "TA-1: 0.3"), ("DM-1 + PT-1", "PT-1: 0.3704 m/s")):
        (reason,) = reasons(found, "D-2", gear)
        assert reason.startswith(told)
        assert "lies outside its calibrated measuring interval" in reason
    assert "12.01 m/s (certificate E-104)" in reasons(found, "D-2", "VF-1")[0]
    assert not place(found, "D-2").provable


@pytest.mark.parametrize(
    ("U", "told"),
    [
        ("0.9", ("leaves the velocity uncertain by", "flags")),
        ("3.0", ("it cannot be told from zero", "reasons")),
    ],
)
def test_a_low_velocity_pressure_is_judged_as_that_of_a_reading(tmp_path, U, told):
    low = [("comparisons.csv", 2, "reference", "1.0"), ("comparisons.csv", 2, "indication", "1.0")]
    low += [("comparisons.csv", 2, "expanded_uncertainty", U), ("comparisons.csv", 6, "reference", "1.00")]
    low += [("comparisons.csv", 6, "indication", "1.01"), ("outlets.csv", D_2, "design_flow", "860")]
    found = planned(records_of(tmp_path, before(*low)))
    text, where = told
    if where == "flags":
        assert text in candidate(found, "D-2", "DM-1 + PT-1").standing.flags[0]
    else:
        assert text in reasons(found, "D-2", "DM-1 + PT-1")[0]


# --- the gate --------------------------------------------------------------------------------------------------------------------


def left_out(found):
    return {one.instrument.tag: " ".join(one.reasons) for one in found.left_out}


def test_an_instrument_without_an_accepted_calibration_is_left_out_with_the_reason(tmp_path):
    records = records_of(tmp_path, before(("calibrations.csv", FH, "accepted_on", "")))
    found = planned(records)
    assert "have certificate E-105 accepted" in left_out(found)["FH-1"]
    assert [one.outlet.outlet for one in found.without_instrument] == ["S-2", "S-3"]
    assert place(found, "S-2").left_out == ("FH-1",)
    assert "no hood is in calibration" in place(found, "S-2").remarks[0]
    assert place(found, "D-1").left_out == ()


def test_a_calibration_that_will_be_due_by_the_day_asked_about_is_left_out(records):
    found = planned(records, at=datetime.fromisoformat("2027-01-13T12:00+01:00"))
    assert left_out(found).keys() == {"DM-1"}
    assert "was due on 2027-01-12" in left_out(found)["DM-1"]
    assert tags(place(found, "D-1")) == {"TA-1", "VF-1"}


def test_a_suspended_instrument_is_left_out_and_a_retired_one_is_not_spoken_of(records):
    with database.writing(str(records)) as session:
        record_event(session, "TA-1", "suspension", AT - timedelta(hours=1), "dropped", SIGNED)
        record_event(session, "VF-1", "retirement", AT - timedelta(hours=1), "worn", SIGNED)
    found = planned(records)
    assert left_out(found).keys() == {"TA-1"}
    assert tags(place(found, "D-1")) == {"DM-1 + PT-1"}


def test_a_manometer_whose_probe_is_refused_has_none_to_stand_before_it(tmp_path):
    found = planned(records_of(tmp_path, before(("calibrations.csv", PT, "accepted_on", ""))))
    assert left_out(found).keys() == {"PT-1", "DM-1"}
    assert "no probe in calibration" in left_out(found)["DM-1"]


def test_a_job_without_instruments_has_none_for_any_outlet(tmp_path):
    sheets = {name: those for name, those in before().items() if name in {"jobs.csv", "outlets.csv", "methods.csv"}}
    found = planned(records_of(tmp_path, sheets))
    assert [one.outlet.outlet for one in found.without_instrument] == ["D-1", "D-2", "S-1", "S-2", "S-3", "X-1"]


# --- where an instrument may be held ---------------------------------------------------------------------------------------------


def test_a_hood_stands_at_outlets_and_in_no_duct(records):
    found = planned(records)
    assert tags(place(found, "D-1")) == tags(place(found, "D-2")) == {"DM-1 + PT-1", "TA-1", "VF-1"}
    assert tags(place(found, "S-1")) == {"FH-1", "DM-1 + PT-1", "TA-1", "VF-1"}


def test_only_a_hood_measures_where_a_velocity_makes_no_flow(records):
    of = place(planned(records), "S-2")
    assert (tags(of), of.unusable) == ({"FH-1"}, ())
    assert of.remarks[0].startswith("only a hood can measure here")


def test_a_duct_is_traversed_with_its_usual_points(records):
    """By `calib.airflow.traverse.usual`: a round duct of 400 mm, and a rectangular one of 500 by 300 mm."""
    found = planned(records)
    assert place(found, "D-1").traverse == ("log-Tchebycheff", 2, 8)
    assert place(found, "D-2").traverse == ("log-Tchebycheff", 5, 5)
    assert place(found, "S-1").traverse is None


def test_a_place_without_a_design_has_nothing_to_prove(records):
    found = planned(records)
    assert (place(found, "D-3").has_design, place(found, "D-3").candidates) == (False, ())
    assert found.without_instrument == ()


def test_an_outlet_counts_as_it_was_amended(records):
    with database.writing(str(records)) as session:
        amend_outlet(session, "E-1", "S-1", ("design_flow=800", "tolerance_percent=5"), "as built", SIGNED)
    of = place(planned(records), "S-1")
    assert (of.design * 3600, of.half_width * 3600) == pytest.approx((800, 40))


def test_the_best_comes_first(records):
    for of in planned(records).outlets:
        ratios = [one.over_tolerance for one in of.candidates]
        assert ratios == sorted(ratios)


# --- probes ----------------------------------------------------------------------------------------------------------------------


def test_a_pairing_tells_a_probe_that_its_kind_does_not(tmp_path):
    records = records_of(tmp_path / "cross", before(("instruments.csv", PT, "kind", "cross")))
    assert not [one for one in place(planned(records), "D-1").candidates if one.gear.instrument.tag == "DM-1"]
    with database.writing(str(records)) as session:
        change_pair(session, ("PT-1", "DM-1"), PAIRED, AT - timedelta(days=1), "used together", SIGNED)
    (paired,) = [one for one in place(planned(records), "D-1").candidates if one.gear.instrument.tag == "DM-1"]
    assert paired.gear.probe.tag == "PT-1"


def test_neither_a_probe_nor_a_barometer_is_planned_for_by_itself(records):
    found = planned(records)
    assert all(tags(of) <= {"FH-1", "DM-1 + PT-1", "TA-1", "VF-1"} for of in found.outlets)
    assert found.left_out == ()


def test_a_manometer_is_planned_with_each_probe(records, tmp_path):
    cells = ("PT-2", "cross", "Maker", "P3", "109", "air velocity", "2", "40", "m/s", "0.01", "0.5", "0", "24", "0.01")
    columns = ("tag", "kind", "maker", "model", "serial", "quantity", "range_low", "range_high", "unit", "resolution")
    columns += ("mpe_percent", "mpe_absolute", "interval_months", "repeatability")
    sheets = before()
    second = {"instruments.csv": [dict(zip(columns, cells, strict=True))]}
    second["calibrations.csv"] = [sheets["calibrations.csv"][1] | {"tag": "PT-2", "certificate": "E-112"}]
    second["comparisons.csv"] = [
        row | {"tag": "PT-2", "certificate": "E-112"} for row in sheets["comparisons.csv"] if row["tag"] == "PT-1"
    ]
    imported(records, write(tmp_path / "second", second))
    assert "PT-2" in tags(place(planned(records), "D-1"))  # its kind does not say what it is ...
    one = candidate(planned(records), "D-1", "DM-1 + PT-1")
    row, points = taken(one, 1, "2026-03-05T09:00+01:00")
    sheets = {
        "conditions.csv": measured_conditions(),
        "readings.csv": [row | {"probe": "PT-2"}],
        "traverses.csv": points,
    }
    imported(records, write(tmp_path / "taken", sheets))
    found = planned(records)  # ... and a reading does
    assert tags(place(found, "D-1")) == {"DM-1 + PT-1", "DM-1 + PT-2", "TA-1", "VF-1"}


# --- the air ---------------------------------------------------------------------------------------------------------------------


def test_what_needs_the_density_asks_for_the_conditions_and_a_vane_does_not(records):
    found = planned(records, air=None)
    assert found.air is None
    assert reasons(found, "D-1", "TA-1") == reasons(found, "D-1", "DM-1 + PT-1") == (NEEDS_AIR,)
    assert tags(place(found, "D-1")) == {"VF-1"}


def test_the_latest_conditions_on_record_are_taken_that_the_day_knows(tmp_path):
    sheets = {name: those for name, those in changed().items() if name not in {"readings.csv", "traverses.csv"}}
    records = records_of(tmp_path, sheets)
    for at, name in (("2026-03-05T12:00+01:00", "rooms"), ("2026-03-02T12:00+01:00", "rooms")):
        assert planned(records, at=datetime.fromisoformat(at), air=None).air.name == name
    with database.reading(str(records)) as session:
        early = datetime.fromisoformat("2026-03-05T09:30+01:00")
        found = plan_job(session, "E-1", Wish(early, early))
    assert (found.air.name, found.air_reasons) == ("plant room", ())


def test_conditions_that_the_gate_refuses_give_way_to_earlier_ones(tmp_path):
    stated = {"instrument": "", "standard_uncertainty": "0.3", "source": "stated"}
    cells = [("conditions.csv", 2, column, text) for column, text in stated.items()]
    sheets = changed(*cells, ("calibrations.csv", 7, "accepted_on", ""))
    records = records_of(
        tmp_path, {name: those for name, those in sheets.items() if name not in {"readings.csv", "traverses.csv"}}
    )
    found = planned(records, air=None)
    assert found.air.name == "plant room"
    assert any("have certificate E-106 accepted" in reason for reason in found.air_reasons)


def test_expected_conditions_come_before_those_on_record(tmp_path):
    sheets = {name: those for name, those in changed().items() if name not in {"readings.csv", "traverses.csv"}}
    found = planned(records_of(tmp_path, sheets))
    assert found.air.name == "expected"
    assert found.air.density == pytest.approx(IDEAL, rel=0.005)


# --- methods ---------------------------------------------------------------------------------------------------------------------

MORE_METHODS = [
    {"method": "grid", "relative_standard_uncertainty_percent": "1.2", "basis": "own", "pattern": "spot grid"},
    {"method": "any", "relative_standard_uncertainty_percent": "0.5", "basis": "own", "pattern": ""},
]


@pytest.fixture
def with_methods(records, tmp_path):
    imported(records, write(tmp_path / "methods", {"methods.csv": MORE_METHODS}))
    return records


def methods(found, name):
    return {one.gear.name: one.method.method for one in place(found, name).candidates}


def test_the_method_with_the_smallest_uncertainty_is_shown_among_those_whose_pattern_suits(with_methods):
    found = planned(with_methods)
    assert set(methods(found, "D-1").values()) == {"traverse"}
    assert methods(found, "S-1") == {"FH-1": "hood", "DM-1 + PT-1": "any", "TA-1": "any", "VF-1": "any"}


def test_only_methods_that_are_named_are_planned_with(with_methods):
    found = planned(with_methods, methods=("sweep", "grid"))
    assert methods(found, "S-1") == {"DM-1 + PT-1": "grid", "TA-1": "grid", "VF-1": "grid"}
    assert "no method named suits" in reasons(found, "S-1", "FH-1")[0]
    assert "(pattern traverse)" in reasons(found, "D-1", "VF-1")[0]


def test_a_method_without_a_pattern_serves_ducts_and_hoods_once_it_is_named(with_methods):
    found = planned(with_methods, methods=("any",))
    assert set(methods(found, "D-1").values()) | set(methods(found, "S-1").values()) == {"any"}


def test_a_method_that_is_not_there_is_named_with_those_that_are(records):
    with database.reading(str(records)) as session:
        (finding,) = method_findings(session, ["sweep", "guess"])
    assert (finding.column, finding.value) == ("method", "guess")
    assert "traverse, sweep, hood" in finding.expected


def test_a_job_that_is_not_there_is_told(records):
    with pytest.raises(NotInRecordsError, match="there is E-1"):
        planned(records, job="E-9")


# --- how many observations -------------------------------------------------------------------------------------------------------


def test_where_no_number_of_observations_suffices_the_ruling_contribution_is_named(records):
    """VF-1 at X-1 by the sheet: factor 0.80 with 0.028, 3.5 %, above the method's 2.5 % and all else."""
    one = candidate(planned(records, at_most=0.4), "X-1", "TA-1")
    assert (one.verdict, one.observations) == (NO, None)
    assert one.ruling.name == "outlet factor"
    assert 0.4 < one.least < one.over_tolerance


def test_an_instrument_that_declares_no_repeatability_leaves_the_number_open(tmp_path):
    records = records_of(tmp_path, before(("instruments.csv", FH, "repeatability", "")))
    found = planned(records)
    one = candidate(found, "S-2", "FH-1")
    assert (one.verdict, one.observations, one.declared) == (NOT_KNOWN, None, False)
    assert one.over_tolerance == one.least
    assert {of.outlet.outlet for of in found.without_instrument} == {"S-2", "S-3"}
    assert candidate(planned(records, at_most=0.1), "S-2", "FH-1").verdict == NO


def test_u_over_t_is_the_inverse_of_the_capability_index_where_k_is_2(records):
    """JCGM 106, 7.6.3: C_m = (T_U - T_L)/(4 u_m). A hood's few degrees of freedom make k more than 2."""
    one = candidate(planned(records), "D-1", "DM-1 + PT-1")
    k = one.with_them.expanded_uncertainty / one.with_them.standard_uncertainty
    assert k == pytest.approx(2.0, abs=0.01)
    assert one.over_tolerance * one.capability == pytest.approx(k / 2.0, rel=1e-9)


# --- factors found in the field --------------------------------------------------------------------------------------------------


def test_a_factor_found_in_the_field_serves_its_instrument_and_method_only(tmp_path):
    records = records_of(tmp_path, factor_pairs.paired_job())
    found = planned(records, job="J-1")
    assert tags(place(found, "S-9")) == {"VA-1", "VB-1"}
    assert methods(found, "S-9")["VA-1"] == "sweep"
    factor_pairs.factor(records)
    factor_pairs.amended(records, "S-9", *factor_pairs.BLANK, "found_factor=GR-9")
    found = planned(records, job="J-1", methods=("sweep", "spot"))
    assert methods(found, "S-9") == {"VA-1": "sweep"}
    assert reasons(found, "S-9", "VB-1") == ("factor GR-9 holds for VA-1, sweep only",)
    assert reasons(planned(records, job="J-1", methods=("spot",)), "S-9", "VA-1") == (
        "factor GR-9 holds for VA-1, sweep only",
    )


def test_the_calibration_that_a_factor_was_found_with_cancels_in_the_prediction(tmp_path):
    """The reading's own error of calibration stands in the factor with the opposite sign; repeatability does not."""
    records = records_of(tmp_path, factor_pairs.paired_job())
    plain = candidate(planned(records, job="J-1"), "S-9", "VA-1")
    factor_pairs.factor(records)
    factor_pairs.amended(records, "S-9", *factor_pairs.BLANK, "found_factor=GR-9")
    found = candidate(planned(records, job="J-1"), "S-9", "VA-1")
    place_of = found.of_one.names.index
    assert found.of_one.uncertainties[place_of("reference standard")] < (
        0.1 * plain.of_one.uncertainties[place_of("reference standard")]
    )
    assert found.of_one.uncertainties[place_of("repeatability")] == pytest.approx(
        plain.of_one.uncertainties[place_of("repeatability")], rel=0.2
    )


# --- what would pass -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("rule", "interval", "conditional"),
    [
        ("simple", (900, 1100), None),  # JCGM 106, 8.2
        ("guarded", (940, 1060), None),  # 8.3.2 with w = U
        ("guarded non-binary", (940, 1060), (900, 1100)),  # ILAC-G8, 4.2.3
    ],
)
def test_the_acceptance_interval_is_that_of_the_rule(rule, interval, conditional):
    accepted = acceptance((900.0, 1100.0), 40.0, rule)
    assert accepted.interval == pytest.approx(interval)
    assert accepted.conditional == (None if conditional is None else pytest.approx(conditional))


def test_with_an_uncertainty_above_the_half_width_a_guarded_rule_accepts_nothing():
    assert acceptance((900.0, 1100.0), 100.1, "guarded").interval is None
    assert acceptance((900.0, 1100.0), 100.0, "guarded").interval == pytest.approx((1000, 1000))
    assert acceptance((900.0, 1100.0), 100.1, "simple").interval == pytest.approx((900, 1100))


@given(
    st.floats(0.01, 5.0),
    st.floats(0.02, 0.3),
    st.floats(0.01, 0.9),
    st.sampled_from(DECISION_RULES),
    st.floats(0.0, 1.0),
)
def test_what_lies_within_the_acceptance_interval_passes_and_what_lies_outside_does_not(
    design, part, ratio, rule, share
):
    half_width = design * part
    U = ratio * half_width
    low, high = acceptance((design - half_width, design + half_width), U, rule).interval
    inside, step = low + share * (high - low), 1e-6 * design
    for value, passes in ((inside, True), (low - step, False), (high + step, False)):
        whole = about(np.array([design]), np.array([part]))
        (said,) = conformity(np.array([value]), np.array([U]), whole, rule)
        assert (said == "pass") is passes


def test_a_verdict_is_yes_as_soon_as_a_number_suffices(records):
    assert {one.verdict for of in planned(records).outlets for one in of.candidates} == {YES}
