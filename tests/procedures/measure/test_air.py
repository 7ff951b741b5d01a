"""The air of a job from its conditions: density and uncertainty against other libraries, each quantity against arithmetic by hand.

Densities: CoolProp (S. Herrmann et al., ASHRAE RP-1485) and PsychroLib (ideal gas), asked as the tests run. CoolProp agrees with
CIPM-2007 to 5e-5 from 0 to 40 degC (tests/published/test_coolprop.py), PsychroLib to 5e-4 (it knows no compressibility; seen).
Uncertainties: the `uncertainties` library, with derivatives that it takes by differences of CoolProp's density.
"""

import math
from dataclasses import replace
from datetime import datetime
from statistics import mean, stdev

import psychrolib
import pytest
import uncertainties
from CoolProp.HumidAirProp import HAPropsSI

from calib.errors import CalibError
from calib.procedures.measure.air import air_of, calibration_density, reference_density
from calib.procedures.on_record.in_force import on_record
from calib.records import database
from calib.records.tables.calibrations import Calibration
from calib.records.tables.instruments import Instrument
from tests.every_way import NOW, changed, every_way
from tests.folders import records_of

COOLPROP, IDEAL_GAS = 5e-5, 5e-4
# Half-widths that the formula is stated to hold within (calib/airflow/air.py): two rectangular ones.
FORMULA = math.hypot(6.0e-4, 6.6e-4) / math.sqrt(3)


def coolprop(t_k, p, h):
    """Density of moist air [kg/m3]."""
    return 1.0 / HAPropsSI("Vha", "T", t_k, "P", p, "R", h)


def ideal_gas(t_k, p, h):
    """Density of moist air as an ideal gas [kg/m3]."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    t = t_k - 273.15
    return psychrolib.GetMoistAirDensity(t, psychrolib.GetHumRatioFromRelHum(t, h, p), p)


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    """What a records file with the job holds."""
    return loaded(tmp_path_factory.mktemp("air"), every_way())


def loaded(folder, sheets, now=NOW):
    with database.reading(str(records_of(folder, sheets, now))) as session:
        found = on_record(session)
        session.expunge_all()
        return found


def air(records, name="plant room", now=NOW):
    return air_of(records, 1, name, now)


def changed_air(folder, *cells, name="plant room"):
    return air(loaded(folder, changed(*(("conditions.csv", *one) for one in cells))), name)


def values(found):
    """Value and standard uncertainty of each quantity [SI]."""
    return {one.condition.quantity: (one.value, one.standard_uncertainty) for one in found.rows}


# Corrections by hand: the mean of reference - indication. Of BA-1 the scatter is that of its stated repeatability, of TH-1 and HY-1
# the differences scatter more than that, and are taken instead.
TEMPERATURE = 24.1 + mean([-0.1, -0.1, -0.2])
PRESSURE = 97520 + mean([-20, -20, -30])
HUMIDITY = 0.385 + mean([-0.005, -0.006, -0.009])
U_TEMPERATURE = math.sqrt(0.1**2 / 12 + 0.05**2 + (0.1 / 2) ** 2 + 0.3**2 / 3 + stdev([0.1, 0.1, 0.2]) ** 2 / 3)
U_PRESSURE = math.sqrt(10**2 / 12 + 10**2 + (30 / 2) ** 2 + 50**2 / 3 + (10**2 / 5 + 10**2 / 12) / 3)
# The certificate's U of the hygrometer at 38.5 %, between those at 20.5 and 50.6 %.
U_REFERENCE = (1.2 + 0.2 * (38.5 - 20.5) / (50.6 - 20.5)) / 2
U_HUMIDITY = math.sqrt(0.1**2 / 12 + 0.2**2 + U_REFERENCE**2 + 2**2 / 3 + stdev([0.5, 0.6, 0.9]) ** 2 / 3) / 100


def test_each_quantity_is_corrected_by_its_instrument_s_certificate(records):
    found = values(air(records))
    assert found["temperature"] == pytest.approx((TEMPERATURE + 273.15, U_TEMPERATURE), rel=1e-9)
    assert found["barometric pressure"] == pytest.approx((PRESSURE, U_PRESSURE), rel=1e-9)
    assert found["relative humidity"] == pytest.approx((HUMIDITY, U_HUMIDITY), rel=1e-9)


def test_a_stated_value_is_taken_as_it_is_with_its_own_uncertainty(records):
    found = values(air(records, "rooms"))
    assert found["barometric pressure"] == pytest.approx((97500, 150), rel=1e-12)
    assert found["relative humidity"] == pytest.approx((0.45, 0.08), rel=1e-12)


def state(found):
    """Temperature, absolute pressure and humidity with their uncertainties, for another library to combine."""
    of = {name: uncertainties.ufloat(*both) for name, both in values(found).items()}
    return (
        of["temperature"],
        of["barometric pressure"] + of.get("static pressure", 0),
        of["relative humidity"],
    )


@pytest.mark.parametrize("name", ["plant room", "rooms"])
def test_the_density_is_that_of_other_libraries(records, name):
    found = air(records, name)
    nominal = [one.nominal_value for one in state(found)]
    assert found.density == pytest.approx(coolprop(*nominal), rel=COOLPROP)
    assert found.density == pytest.approx(ideal_gas(*nominal), rel=IDEAL_GAS)


@pytest.mark.parametrize("name", ["plant room", "rooms"])
def test_its_uncertainty_is_the_one_that_another_library_combines(records, name):
    """Derivatives of the two formulas agree to 1e-3."""
    found = air(records, name)
    combined = uncertainties.wrap(coolprop)(*state(found))
    expected = math.hypot(combined.std_dev, FORMULA * combined.nominal_value)
    assert found.standard_uncertainty == pytest.approx(expected, rel=1e-3)


def test_its_parts_are_those_of_each_quantity_and_of_the_formula(records):
    found = air(records, "rooms")
    t, p, h = (
        uncertainties.ufloat(*values(found)[one]) for one in ("temperature", "barometric pressure", "relative humidity")
    )
    each = uncertainties.wrap(coolprop)(t, p, h).error_components()
    expected = {"temperature": each[t], "pressure": each[p], "humidity": each[h], "formula": FORMULA * found.density}
    assert found.parts == pytest.approx(expected, rel=1e-3)
    assert math.hypot(*found.parts.values()) == pytest.approx(found.standard_uncertainty, rel=1e-12)


def test_a_static_pressure_adds_to_the_barometric_one(records, tmp_path):
    sheets = every_way()
    del sheets["conditions.csv"][2]
    without, with_it = air(loaded(tmp_path, sheets)), air(records)
    static, u_static = values(with_it)["static pressure"]
    assert static == pytest.approx(240, abs=1.5)
    expected = coolprop(TEMPERATURE + 273.15, PRESSURE + static, HUMIDITY) / coolprop(
        TEMPERATURE + 273.15, PRESSURE, HUMIDITY
    )
    assert with_it.density / without.density == pytest.approx(expected, rel=1e-6)
    of_pressure = with_it.parts["pressure"] / without.parts["pressure"]
    assert of_pressure == pytest.approx(math.hypot(U_PRESSURE, u_static) / U_PRESSURE, rel=1e-4)


def test_a_suction_takes_away_from_it(records, tmp_path):
    stated = [(4, "value", "-240"), (4, "instrument", ""), (4, "standard_uncertainty", "1"), (4, "source", "gauge")]
    found = changed_air(tmp_path, *stated)
    assert found.density < air(records).density
    assert found.density == pytest.approx(coolprop(TEMPERATURE + 273.15, PRESSURE - 240, HUMIDITY), rel=COOLPROP)


def stated(row, value, unit, u):
    return [
        (row, "value", value),
        (row, "unit", unit),
        (row, "instrument", ""),
        (row, "standard_uncertainty", u),
        (row, "source", "x"),
    ]


# The same state of the air in other units: 24.1 degC, 97.52 kPa, 38.5 %; u = 0.3 K, 50 Pa, 2 %. 1 inHg is 3386.389 Pa here.
SAME = [
    (2, "24.1", "degC", "0.3"),
    (2, "75.38", "degF", "0.54"),
    (2, "297.25", "K", "0.3"),
    (3, "97.52", "kPa", "0.05"),
    (3, "975.2", "hPa", "0.5"),
    (3, "97520", "Pa", "50"),
    (3, repr(97520 / 3386.389), "inHg(0degC)", repr(50 / 3386.389)),
    (5, "38.5", "%", "2"),
    (5, "0.385", "1", "0.02"),
]


@pytest.mark.parametrize(("row", "value", "unit", "u"), SAME)
def test_a_stated_value_may_be_typed_in_any_unit(tmp_path, row, value, unit, u):
    """An uncertainty is a difference: 0.54 degF are 0.3 K."""
    found = values(changed_air(tmp_path, *stated(row, value, unit, u)))
    quantity = {2: "temperature", 3: "barometric pressure", 5: "relative humidity"}[row]
    expected = {2: (297.25, 0.3), 3: (97520, 50), 5: (0.385, 0.02)}[row]
    assert found[quantity] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(
    ("row", "value", "unit"),
    [(2, "75.38", "degF"), (2, "297.25", "K"), (3, repr(97520 / 3386.389), "inHg(0degC)"), (5, "0.385", "1")],
)
def test_an_instrument_s_indication_may_be_typed_in_any_unit(records, tmp_path, row, value, unit):
    found = changed_air(tmp_path, (row, "value", value), (row, "unit", unit))
    assert (found.density, found.standard_uncertainty) == pytest.approx(
        (air(records).density, air(records).standard_uncertainty), rel=1e-9
    )


@pytest.mark.parametrize(
    ("row", "value", "unit", "said"),
    [
        (2, "75", "degC", "air temperature 75 degC: the density of air is known here from -40 to 60 degC"),
        (2, "24.1", "K", "air temperature -249.05 degC"),
        (3, "9.752", "kPa", "absolute air pressure 9991.33"),
        (5, "385", "%", "relative humidity 3.85: it lies between 0 and 1"),
        (5, "38.5", "1", "relative humidity 38.5: it lies between 0 and 1"),
    ],
)
def test_a_state_that_air_is_not_in_gives_a_reason_and_no_density(tmp_path, monkeypatch, row, value, unit, said):
    """An import names such a value; a correction may still bring one about that lies at the end of the range."""
    monkeypatch.setattr("calib.procedures.enter.check_jobs._KNOWN_AIR", {})
    found = changed_air(tmp_path, *stated(row, value, unit, "0.1"))
    (reason,) = found.reasons
    assert reason.startswith("conditions plant room: ")
    assert said in reason
    assert math.isnan(found.density)
    assert math.isnan(found.standard_uncertainty)


def test_conditions_without_what_they_need_say_what(records):
    key = (1, "plant room")
    rows = [one for one in records.conditions[key] if one.quantity not in ("temperature", "relative humidity")]
    found = air(replace(records, conditions={key: tuple(rows)}, worked_out={}))
    assert found.reasons == (
        "conditions plant room: no temperature, and none is declared for any air: observe it, or declare its range in air.csv",
    )
    assert math.isnan(found.density)
    dry = [one for one in records.conditions[key] if one.quantity not in ("barometric pressure", "relative humidity")]
    (lacks,) = air(replace(records, conditions={key: tuple(dry)}, worked_out={})).reasons
    missing = "no barometric pressure or altitude, no relative humidity or wet-bulb temperature"
    assert lacks == f"conditions plant room: {missing}: enter what is missing among the conditions of the air"


def test_every_instrument_passes_the_gate_at_the_time_of_its_own_observation(tmp_path):
    """Their calibrations end on 14 January 2027; observed a year later, at the time that each row says."""
    late = [(row, "observed_at", f"2027-03-0{row}T09:00+01:00") for row in (2, 3)]
    now = datetime.fromisoformat("2028-01-01T00:00Z")
    found = air(loaded(tmp_path, changed(*(("conditions.csv", *one) for one in late)), now), now=now)
    assert [reason.split(":")[0] for reason in found.reasons] == ["TH-1", "BA-1"]
    assert ["2027-03-02" in found.reasons[0], "2027-03-03" in found.reasons[1]] == [True, True]
    assert found.rows == ()


def test_a_time_to_come_is_a_reason(records):
    found = air(records, now=datetime.fromisoformat("2026-03-05T07:58Z"))
    assert len(found.reasons) == 4
    assert all("is in the future" in reason for reason in found.reasons)


def test_an_indication_outside_the_certificate_is_a_reason(tmp_path):
    (reason,) = changed_air(tmp_path, (2, "value", "40.3")).reasons
    assert "TH-1: indication 40.3 degC is outside the calibrated measuring interval 0.1 degC to 40.2 degC" in reason


def test_the_reference_state_of_a_thermal_anemometer_is_dry_air(records):
    """70 degF and 101.325 kPa: 1.2 kg/m3, the standard air of the trade (0.075 lb/ft3)."""
    instrument = next(one for one in records.instruments.values() if one.tag == "TA-1")
    assert reference_density(instrument) == pytest.approx(coolprop(21.1 + 273.15, 101325, 0.0), rel=COOLPROP)
    assert reference_density(instrument) == pytest.approx(1.2, abs=5e-4)


def test_the_density_of_a_calibration_is_that_of_the_conditions_on_its_certificate(records):
    one = next(one for one in records.calibrations.values() if one.certificate == "E-104")
    assert calibration_density(one) == pytest.approx(coolprop(20.5 + 273.15, 101100, 0.43), rel=COOLPROP)


@pytest.mark.parametrize("blank", ["temperature_degC", "pressure_kPa", "humidity_percent"])
def test_a_certificate_that_does_not_state_them_all_has_no_density(blank):
    stated_all = {"temperature_degC": "20.5", "pressure_kPa": "101.1", "humidity_percent": "0"}
    assert calibration_density(Calibration(**stated_all)) == pytest.approx(coolprop(293.65, 101100, 0.0), rel=COOLPROP)
    assert calibration_density(Calibration(**(stated_all | {blank: None}))) is None


def test_an_instrument_without_a_reference_state_has_no_reference_density():
    with pytest.raises(CalibError, match="air temperature nan degC"):
        reference_density(Instrument(tag="X"))


# --- one instrument in two roles -------------------------------------------------------------------------------------------------


def with_wet_bulb(**cells):
    """The plant room's humidity told by a wet bulb of 15.5 degC."""
    sheets = every_way()
    sheets["conditions.csv"][3] |= {"quantity": "wet-bulb temperature", "value": "15.5", "unit": "degC"} | cells
    return sheets


def by_bulbs(t, t_w, p, errors=1.0):
    """Density by CoolProp, the humidity by the formula of WMO-No. 8, with CoolProp's saturated vapour (from memory)."""

    def saturated(kelvin):
        return HAPropsSI("P_w", "T", kelvin, "P", p, "R", 1.0)

    coefficient = 6.53e-4 * errors * (1 + 9.44e-4 * (t_w - 273.15))
    return coolprop(t, p, (saturated(t_w) - coefficient * p * (t - t_w)) / saturated(t))


def test_one_thermometer_at_both_bulbs_moves_them_together(tmp_path):
    """GUM 5.2.2: what TH-1 shares among its indications makes both read high at once; what each has by itself does not."""
    found = air(loaded(tmp_path, with_wet_bulb(instrument="TH-1")))
    at = {one.condition.quantity: one.value for one in found.rows}
    estimates = at["temperature"], at["wet-bulb temperature"], at["barometric pressure"] + at["static pressure"]
    own = math.hypot(0.1 / math.sqrt(12), 0.05)
    shared = math.sqrt(U_TEMPERATURE**2 - own**2)

    def density(dry, wet, p, of_both, coefficient, of_formula):
        return by_bulbs(dry + of_both, wet + of_both, p, coefficient) * of_formula

    u_p = math.hypot(*(one.standard_uncertainty for one in found.rows if "pressure" in one.condition.quantity))
    ufloat = uncertainties.ufloat
    dry, wet, p = (ufloat(*both) for both in zip(estimates, (own, own, u_p), strict=True))
    errors = ufloat(0.0, shared), ufloat(1.0, 0.09 / math.sqrt(3)), ufloat(1.0, FORMULA)
    combined = uncertainties.wrap(density)(dry, wet, p, *errors)
    assert found.density == pytest.approx(combined.nominal_value, rel=COOLPROP)
    assert found.standard_uncertainty == pytest.approx(combined.std_dev, rel=2e-3)
    of_both = combined.error_components()[errors[0]]
    assert found.parts["temperature and humidity"] == pytest.approx(of_both, rel=2e-3)
    assert math.hypot(*found.parts.values()) == pytest.approx(found.standard_uncertainty, rel=1e-12)


def test_two_thermometers_do_not(tmp_path):
    sheets = with_wet_bulb(instrument="TH-2")
    for file in ("instruments.csv", "calibrations.csv", "comparisons.csv"):
        sheets[file] += [row | {"tag": "TH-2"} for row in sheets[file] if row["tag"] == "TH-1"]
    for row in sheets["instruments.csv"]:
        row["serial"] += "-2" if row["tag"] == "TH-2" else ""
    for file in ("calibrations.csv", "comparisons.csv"):
        for row in sheets[file]:
            row["certificate"] += "-2" if row["tag"] == "TH-2" else ""
    found = air(loaded(tmp_path, sheets))
    assert "temperature and humidity" not in found.parts
