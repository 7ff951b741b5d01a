"""What is typed of the air of a job: densities, ranges, wet bulb and altitude; what is wrong is named, and nothing written."""

import math

import pytest
from CoolProp.HumidAirProp import HAPropsSI
from sqlmodel import select

from calib.procedures.measure.air import airs_of_job
from calib.records import database
from calib.records.tables.jobs import DeclaredAir, Job
from tests.folders import CONDITIONS, NOW, records_of, refused_by_new_records, small_job


def condition(quantity, value, unit, u="0.2", name="site", instrument=""):
    cells = ("J-1", name, "2026-03-05T09:00+01:00", quantity, value, unit, instrument, u, "stated" if u else "")
    return dict(zip(CONDITIONS, cells, strict=True))


def coolprop(t, p, h):
    """Density of moist air [kg/m3]."""
    return 1 / HAPropsSI("Vha", "T", t, "P", p, "R", h)


TEMPERATURE = condition("temperature", "24", "degC")
PRESSURE = condition("barometric pressure", "97.5", "kPa")
HUMIDITY = condition("relative humidity", "45", "%", "4")
WET_BULB = condition("wet-bulb temperature", "16.5", "degC")
ALTITUDE = condition("altitude", "320", "m", "5")


def sheets(*conditions, air=(), density="", **outlet):
    found = small_job()
    found["jobs.csv"][0]["density_kg_per_m3"] = density
    for row in found["outlets.csv"]:
        row["design_density_kg_per_m3"] = outlet.get("design_density_kg_per_m3", "")
    if conditions:
        found["conditions.csv"] = list(conditions)
    if air:
        names = ("job", "service", "temperature_low_degC", "temperature_high_degC", "basis")
        found["air.csv"] = [dict(zip(names, ("J-1", *each), strict=True)) for each in air]
    return found


def refused(tmp_path, wrong):
    """Findings of a folder that is wrong, as file, column and what was expected; nothing is written."""
    found = refused_by_new_records(tmp_path, wrong)
    return [(each.source.rpartition("/")[2], each.row, each.column, each.value, each.expected) for each in found]


@pytest.mark.parametrize("typed", ["0", "-1.2", "12", "1.2 heavy"])
def test_a_density_that_no_air_has_is_named(tmp_path, typed):
    expected = "a finite number from 0.5 to 1.7 kg/m3"
    assert refused(tmp_path, sheets(density=typed)) == [("jobs.csv", 2, "density_kg_per_m3", typed, expected)]


def test_a_design_s_density_that_no_air_has_is_named_at_each_outlet(tmp_path):
    found = refused(tmp_path, sheets(design_density_kg_per_m3="0"))
    assert [each[:4] for each in found] == [
        ("outlets.csv", row, "design_density_kg_per_m3", "0") for row in range(2, 6)
    ]


def test_a_density_of_a_design_that_is_none_is_named(tmp_path):
    wrong = sheets(design_density_kg_per_m3="1.2")
    for name in ("design_flow", "tolerance_percent", "flow_unit"):
        wrong["outlets.csv"][0][name] = ""
    (found,) = refused(tmp_path, wrong)
    assert found == ("outlets.csv", 2, "design_density_kg_per_m3", "1.2", "nothing without design_flow")


def test_altitude_and_pressure_at_once_are_named(tmp_path):
    found = refused(tmp_path, sheets(TEMPERATURE, PRESSURE, HUMIDITY, ALTITUDE))
    assert found == [("conditions.csv", 5, "quantity", "altitude", "barometric pressure or altitude, not both")]


def test_two_statements_of_the_humidity_are_named(tmp_path):
    found = refused(tmp_path, sheets(TEMPERATURE, PRESSURE, WET_BULB, HUMIDITY))
    expected = "relative humidity or wet-bulb temperature, not both"
    assert found == [("conditions.csv", 4, "quantity", "wet-bulb temperature", expected)]


@pytest.mark.parametrize(("wet", "unit"), [("24.5", "degC"), ("76", "degF")])
def test_a_wet_bulb_above_the_dry_one_is_named(tmp_path, wet, unit):
    found = refused(tmp_path, sheets(TEMPERATURE, PRESSURE, condition("wet-bulb temperature", wet, unit)))
    expected = "not above the temperature (24 degC): water cools the wet bulb"
    assert found == [("conditions.csv", 4, "value", wet, expected)]


@pytest.mark.parametrize(
    ("row", "expected"),
    [
        (
            condition("wet-bulb temperature", "-2", "degC"),
            "a wet-bulb temperature from 0 to 60 degC, where water does not freeze",
        ),
        (condition("altitude", "8848", "m"), "an altitude from -500 to 4000 m"),
    ],
    ids=["frozen", "high"],
)
def test_a_value_that_is_not_known_is_named(tmp_path, row, expected):
    (found,) = refused(
        tmp_path, sheets(row, TEMPERATURE, *([PRESSURE] if row["quantity"] != "altitude" else [HUMIDITY]))
    )
    assert (found[2], found[4]) == ("value", expected)


def test_an_altitude_has_no_instrument(tmp_path):
    (found,) = refused(
        tmp_path, sheets(TEMPERATURE, HUMIDITY, condition("altitude", "320", "m", "", instrument="PG-1"))
    )
    assert found[2:] == (
        "instrument",
        "PG-1",
        "nothing: an altitude is stated, with its standard uncertainty and its source",
    )


@pytest.mark.parametrize(
    ("rows", "lacks"),
    [
        ((TEMPERATURE, PRESSURE), "relative humidity or wet-bulb temperature"),
        ((TEMPERATURE, HUMIDITY), "barometric pressure or altitude"),
        ((PRESSURE, HUMIDITY), "temperature"),
        ((WET_BULB, ALTITUDE), "temperature"),
    ],
)
def test_a_set_that_lacks_something_is_named(tmp_path, rows, lacks):
    (found,) = refused(tmp_path, sheets(*rows))
    assert found[4].endswith(f": there is no {lacks}")


def test_a_range_that_does_not_rise_is_named(tmp_path):
    found = refused(tmp_path, sheets(air=[("supply", "16", "14", "set point")]))
    assert found == [("air.csv", 2, "temperature_high_degC", "14", "above temperature_low_degC (16)")]


def test_a_range_of_a_service_or_a_job_that_is_not_there_is_named(tmp_path):
    wrong = sheets(air=[("suply", "14", "16", "set point"), ("return", "21", "23", "set point")])
    wrong["air.csv"][1]["job"] = "J-9"
    found = refused(tmp_path, wrong)
    assert [each[:4] for each in found] == [("air.csv", 2, "service", "suply"), ("air.csv", 3, "job", "J-9")]


def test_what_is_right_is_kept_as_typed(tmp_path):
    right = sheets(PRESSURE, air=[("supply", "14.0", "16.0", "set point")], density="1.20")
    with database.reading(str(records_of(tmp_path, right))) as session:
        (job,), (air,) = session.exec(select(Job)).all(), session.exec(select(DeclaredAir)).all()
        assert (job.density_kg_per_m3, air.temperature_low_degC, air.temperature_high_degC) == ("1.20", "14.0", "16.0")


def airs(tmp_path, *conditions, air=()):
    with database.reading(str(records_of(tmp_path, sheets(*conditions, air=air)))) as session:
        return airs_of_job(session, "J-1", NOW)


def test_the_wet_bulb_states_the_humidity(tmp_path):
    """By CoolProp's own wet bulb, within 0.7 percent of relative humidity: 7e-5 of the density."""
    (found,) = airs(tmp_path, TEMPERATURE, PRESSURE, WET_BULB)
    expected = 1 / HAPropsSI("Vha", "T", 297.15, "P", 97500, "B", 289.65)
    assert found.density == pytest.approx(expected, rel=1e-4)
    assert found.parts["humidity"] < 5e-4 * found.density


def test_the_altitude_states_the_pressure_with_what_weather_does(tmp_path):
    """975.38 hPa at 320 m, by hand; 4 % over sqrt(3) of it, and 5 m at 11.7 Pa/m."""
    (found,) = airs(tmp_path, TEMPERATURE, ALTITUDE, HUMIDITY)
    assert found.density == pytest.approx(coolprop(297.15, 97538.2, 0.45), rel=1e-4)
    slope = (coolprop(297.15, 98538.2, 0.45) - coolprop(297.15, 96538.2, 0.45)) / 2000
    u = math.hypot(97538.2 * 0.04 / math.sqrt(3), 5 * 11.7)
    assert found.parts["pressure"] == pytest.approx(slope * u, rel=1e-3)


def test_a_pressure_alone_gives_a_density_with_each_declared_range_and_none_without(tmp_path):
    (alone,) = airs(tmp_path / "alone", PRESSURE)
    assert alone.reasons == (
        "conditions site: no temperature, and none is declared for any air: observe it, or declare its range in air.csv",
    )
    ranges = [("supply", "12", "16", "set point"), ("return", "20", "24", "rooms")]
    supply, returned = airs(tmp_path / "both", PRESSURE, air=ranges)
    assert supply.density / returned.density == pytest.approx(1.03, abs=0.005)
    slope = (coolprop(286.15, 97500, 0.5) - coolprop(288.15, 97500, 0.5)) / 2
    assert supply.parts["air temperature not observed"] == pytest.approx(slope * 2 / math.sqrt(3), rel=1e-3)


def test_of_several_ranges_of_a_service_the_latest_counts(tmp_path):
    ranges = [("supply", "10", "12", "first"), ("supply", "14", "16", "later")]
    (found,) = airs(tmp_path, PRESSURE, air=ranges)
    assert found.declared.basis == "later"
