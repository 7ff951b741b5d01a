"""What is compared is at one density: totals as masses, each outlet in the state of its design, and old jobs as they were.

Densities by CoolProp (real gas), within the 5e-5 that tests/published/test_coolprop.py holds it to; the rest is arithmetic by hand.
Supply is blown in at 14 degC into rooms of 22 degC, with the same moisture (0.7 % of water by mass of dry air).
"""

import math

import numpy as np
import pytest
from CoolProp.HumidAirProp import HAPropsSI

from calib.airflow.air import density
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.measure.risks import risks_of
from calib.records import database
from tests.folders import CONDITIONS, NOW, records_of, small_job

AIR = ("job", "service", "temperature_low_degC", "temperature_high_degC", "basis")
AT = "2026-03-05T09:00+01:00"
COOL, WARM = 14.0, 22.0
MOISTURE = 0.007
M3_H = 1 / 3600
COOLPROP = 1e-4


def relative_humidity(t):
    return HAPropsSI("R", "T", t + 273.15, "P", 97_500, "W", MOISTURE)


def moist(t, p=97_500.0, h=None):
    """Density [kg/m3] by CoolProp."""
    return 1.0 / HAPropsSI("Vha", "T", t + 273.15, "P", p, "R", relative_humidity(t) if h is None else h)


def condition(name, quantity, value, unit, u, source="stated"):
    return dict(zip(CONDITIONS, ("J-1", name, AT, quantity, value, unit, "", u, source), strict=True))


def observed(name, t, u="0.5"):
    """A set of conditions with everything stated."""
    return [
        condition(name, "temperature", f"{t}", "degC", u),
        condition(name, "barometric pressure", "97.5", "kPa", "0.15"),
        condition(name, "relative humidity", f"{100 * relative_humidity(t):.6f}", "%", "5"),
    ]


def job(at="1.2", named=True, **outlets):
    """The small job at a density, its readings in cool supply air and warm other air."""
    sheets = small_job()
    sheets["jobs.csv"][0]["density_kg_per_m3"] = at
    sheets["conditions.csv"] = [*observed("supply air", COOL), *observed("room air", WARM)]
    for row in sheets["readings.csv"]:
        row["conditions"] = ("supply air" if row["outlet"].startswith("S") else "room air") if named else ""
    for row in sheets["outlets.csv"]:
        row["design_density_kg_per_m3"] = outlets.get(row["outlet"].replace("-", "_"), "")
    return sheets


def evaluated(folder, sheets):
    with database.reading(str(records_of(folder, sheets))) as session:
        found = evaluate(session, "J-1", NOW)
        session.expunge_all()
        return found


def by_name(found):
    """Totals by their service: value [m3/s], u, design, tolerance of it."""
    totals = found.of_systems
    return {
        total.service: (
            totals.flow.value[row], totals.flow.combined.standard_uncertainty[row], total.design,
        )
        for row, total in enumerate(totals.totals)
    }  # fmt: skip


def flows(found):
    return {one.outlet.outlet: value for one, value in zip(found.measured, found.flow.value.tolist(), strict=True)}


# --- the size of it --------------------------------------------------------------------------------------------------------------


def test_supply_at_14_degrees_takes_2_8_percent_more_room_at_22():
    assert 100 * (moist(COOL) / moist(WARM) - 1) == pytest.approx(2.8, abs=0.05)


def test_of_3141_m3_h_of_supply_87_are_expansion(tmp_path):
    """At the density of the room's air the net flow is 87 m3/h above the one as measured, where the supply is 3,141 m3/h."""
    at_room = f"{moist(WARM):.6f}"
    net, plain = (by_name(evaluated(tmp_path / name, job(at)))["net"][0] for name, at in (("at", at_room), ("as", "")))
    supply = by_name(evaluated(tmp_path / "again", job("")))["supply"][0]
    assert 3141 * (net - plain) / supply == pytest.approx(87, abs=1.0)


# --- totals ----------------------------------------------------------------------------------------------------------------------


def test_totals_are_masses_at_the_job_s_density(tmp_path):
    found = evaluated(tmp_path, job("1.2"))
    measured, totals = flows(found), by_name(found)
    mass = {name: flow * moist(COOL if name.startswith("S") else WARM) for name, flow in measured.items()}
    assert totals["supply"][0] == pytest.approx((mass["S-1"] + mass["S-2"]) / 1.2, rel=COOLPROP)
    net = mass["S-1"] + mass["S-2"] - mass["R-1"] - mass["E-1"]
    assert totals["net"][0] == pytest.approx(net / 1.2, rel=10 * COOLPROP)
    assert found.compared.density == 1.2


def test_each_flow_stays_as_measured(tmp_path):
    with_density, without = (evaluated(tmp_path / name, job(at)) for name, at in (("with", "1.2"), ("without", "")))
    assert with_density.flow.value.tolist() == without.flow.value.tolist()
    assert with_density.judgement.statement.tolist() == without.judgement.statement.tolist()


def test_where_nobody_states_a_density_conditions_change_nothing(tmp_path):
    """Vanes without a density effect: their flows and totals are those of a job that knows no conditions."""
    without = small_job()
    known, unknown = by_name(evaluated(tmp_path / "known", job(""))), by_name(evaluated(tmp_path / "un", without))
    assert known == unknown


def test_designs_as_measured_are_taken_to_the_density_by_the_air_of_their_outlets(tmp_path):
    totals = by_name(evaluated(tmp_path, job("1.2")))
    assert totals["supply"][2] == pytest.approx(1450 * M3_H * moist(COOL) / 1.2, rel=COOLPROP)
    returned, exhausted = 600 * M3_H * moist(WARM) / 1.2, 0.040 * moist(WARM) / 1.2
    assert totals["net"][2] == pytest.approx(totals["supply"][2] - returned - exhausted, rel=10 * COOLPROP)


def test_designs_at_different_states_are_converted_before_they_are_summed(tmp_path):
    totals = by_name(evaluated(tmp_path, job("1.2", S_1="1.15")))
    expected = (1000 * 1.15 + 450 * moist(COOL)) / 1.2 * M3_H
    assert totals["supply"][2] == pytest.approx(expected, rel=COOLPROP)


def test_without_a_job_s_density_a_design_at_one_is_taken_to_the_air_that_is_there(tmp_path):
    found = evaluated(tmp_path, job("", S_1="1.15"))
    assert by_name(found)["supply"][2] == pytest.approx((1000 * 1.15 / moist(COOL) + 450) * M3_H, rel=COOLPROP)
    assert found.compared.density is None


def with_system_design(sheets, at=""):
    sheets["systems.csv"] = [
        {
            "job": "J-1", "system": "AH-1", "service": "supply", "design_flow": "1500", "flow_unit": "m3/h",
            "tolerance_percent": "10", "design_density_kg_per_m3": at,
        }
    ]  # fmt: skip
    return sheets


@pytest.mark.parametrize(("at", "density_of_design"), [("1.15", 1.15), ("", None)])
def test_the_design_of_a_system_states_its_state_too(tmp_path, at, density_of_design):
    totals = by_name(evaluated(tmp_path, with_system_design(job("1.2"), at)))
    expected = 1500 * M3_H * (density_of_design or moist(COOL)) / 1.2
    assert totals["supply"][2] == pytest.approx(expected, rel=COOLPROP)


def probability(found):
    """Probability that the supply of the system conforms."""
    return found.of_systems.judgement.probability[0]


def test_a_total_is_judged_by_the_difference_from_its_design(tmp_path):
    """Of vanes against designs as measured the density goes out; against designs at a density it stays: the risk differs."""
    uncertain = [*observed("supply air", COOL, "8"), *observed("room air", WARM)]
    as_measured, at_density = job("1.2"), job("1.2", S_1=f"{moist(COOL):.6f}", S_2=f"{moist(COOL):.6f}")
    for sheets in (as_measured, at_density):
        sheets["conditions.csv"] = uncertain
    one = evaluated(tmp_path / "one", with_system_design(as_measured))
    other = evaluated(tmp_path / "other", with_system_design(at_density, f"{moist(COOL):.6f}"))
    assert by_name(one)["supply"] == pytest.approx(by_name(other)["supply"], rel=1e-4)
    assert abs(probability(one) - 0.5) > abs(probability(other) - 0.5) + 0.01


# --- outlets ---------------------------------------------------------------------------------------------------------------------


def test_an_outlet_is_judged_in_the_state_of_its_design(tmp_path):
    found = evaluated(tmp_path, job("1.2", S_1="1.06"))
    plain = evaluated(tmp_path / "plain", job("1.2"))
    row = next(place for place, one in enumerate(found.measured) if one.outlet.outlet == "S-1")
    expected = plain.judgement.percent_of_design[row] * moist(COOL) / 1.06
    assert found.judgement.percent_of_design[row] == pytest.approx(expected, rel=COOLPROP)
    assert (plain.judgement.statement[row], found.judgement.statement[row]) != ("fail", "pass")
    others = [place for place in range(len(found.measured)) if place != row]
    assert found.judgement.percent_of_design[others].tolist() == plain.judgement.percent_of_design[others].tolist()


def test_the_risks_are_those_of_the_state_in_which_it_is_judged(tmp_path):
    found = evaluated(tmp_path, job("1.2", S_1="1.06", S_2="1.06", R_1="1.06", E_1="1.06"))
    design = np.array([1000 * M3_H, 450 * M3_H, 600 * M3_H, 0.040])
    in_state = found.in_design_state.value / design
    u = found.in_design_state.combined.standard_uncertainty / design
    assert risks_of(found).capability_index == pytest.approx(np.array([0.10, 0.10, 0.15, 0.20]) / (2 * u), rel=1e-9)
    assert float(np.mean(in_state)) > 1.08 * float(np.mean(found.flow.value / np.array([1000, 450, 600, 144]) / M3_H))


def test_an_outlet_whose_air_is_not_known_is_not_judged_against_a_design_at_a_density(tmp_path):
    sheets = job("", named=False, S_1="1.2")
    found = evaluated(tmp_path, sheets)
    row = next(place for place, one in enumerate(found.measured) if one.outlet.outlet == "S-1")
    assert (found.judgement.statement[row], math.isnan(found.judgement.percent_of_design[row])) == ("", True)
    assert "no temperature is declared for supply air in air.csv" in found.compared.unknown[row][0]


def test_one_outlet_whose_air_is_not_known_leaves_the_totals_as_measured(tmp_path):
    sheets = job("1.2")
    sheets["readings.csv"][0]["conditions"] = ""
    found, plain = evaluated(tmp_path / "found", sheets), evaluated(tmp_path / "plain", job(""))
    assert found.compared.density is None
    assert by_name(found) == by_name(plain)


# --- declared air ----------------------------------------------------------------------------------------------------------------


def declared(at="1.2", pressure=("altitude", "320", "m", "3")):
    """The small job with nothing observed but where it lies: ranges of temperature are declared."""
    sheets = job(at, named=False)
    sheets["conditions.csv"] = [condition("site", *pressure, source="map")]
    ranges = [("supply", "12", "16"), ("return", "21", "23"), ("exhaust", "21", "23")]
    sheets["air.csv"] = [dict(zip(AIR, ("J-1", *each, "set points"), strict=True)) for each in ranges]
    return sheets


def test_a_declared_range_and_the_altitude_make_masses(tmp_path):
    """Middle of the range, ISO 2533 at 320 m (975.4 hPa, by hand: 1013.25 (1 - 0.0065*320/288.15)^5.25588), half saturated."""
    found = evaluated(tmp_path, declared())
    pressure = 101325 * (1 - 0.0065 * 320 / 288.15) ** 5.25588
    supply = (flows(found)["S-1"] + flows(found)["S-2"]) * moist(14.0, pressure, 0.5) / 1.2
    assert by_name(found)["supply"][0] == pytest.approx(supply, rel=COOLPROP)


def test_a_declared_range_widens_a_net_flow_where_a_common_error_would_cancel(tmp_path):
    """Four kelvin over sqrt(3) of 287, on the supply; two on each of what is taken away, together."""
    found = evaluated(tmp_path, declared())
    (line,) = [each for each in found.compared.of_totals.contributions if each.name == "air temperature not observed"]
    place = found.compared.of_totals.contributions.index(line)
    of_totals = found.of_systems.flow.combined.uncertainties[:, place]
    supply, returned, exhausted = (by_name(found)[name][0] for name in ("supply", "return", "exhaust"))
    slope = {
        t: abs(float(np.log(density(t + 273.25, 97.5e3, 0.5) / density(t + 273.05, 97.5e3, 0.5)) / 0.2))
        for t in (14, 22)
    }
    of_supply = supply * slope[14] * 2 / math.sqrt(3)
    of_rest = (returned + exhausted) * slope[22] * 1 / math.sqrt(3)
    assert of_totals[0] == pytest.approx(of_supply, rel=1e-3)
    assert of_totals[3] == pytest.approx(math.hypot(of_supply, of_rest), rel=1e-3)


def test_the_altitude_s_weather_is_common_to_the_job(tmp_path):
    """4 % over sqrt(3) of every mass: of the net flow 2.3 %, whatever the supply is."""
    exact = evaluated(tmp_path / "exact", declared(pressure=("barometric pressure", "97.5381", "kPa", "0")))
    found = evaluated(tmp_path / "found", declared())
    for service in ("supply", "net"):
        value, u, _ = by_name(found)[service]
        _, u_exact, _ = by_name(exact)[service]
        assert math.sqrt(u**2 - u_exact**2) == pytest.approx(abs(value) * 0.04 / math.sqrt(3), rel=5e-3)


def test_a_pressure_is_taken_from_the_conditions_nearest_in_time(tmp_path):
    sheets = declared()
    later = condition("later", "barometric pressure", "80", "kPa", "0.1") | {"observed_at": "2026-03-05T23:00+01:00"}
    sheets["conditions.csv"].append(later)
    assert by_name(evaluated(tmp_path / "both", sheets)) == by_name(evaluated(tmp_path / "one", declared()))


def test_ranges_without_a_pressure_are_told(tmp_path):
    sheets = declared()
    del sheets["conditions.csv"]
    found = evaluated(tmp_path, sheets)
    assert {reason for reasons in found.compared.unknown.values() for reason in reasons} == {
        "no record of conditions of the job states a barometric pressure or an altitude"
    }
