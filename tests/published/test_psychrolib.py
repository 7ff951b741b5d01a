"""Moist air by PsychroLib, asked as the tests run, and by the tables of 2017 ASHRAE Handbook - Fundamentals that its tests quote.

Sources: reference_data/psychrometrics, class A (seen in the tests of PsychroLib); reference_data/air_density, class D.
"""

import psychrolib
import pytest

from calib.airflow.air import (
    MOLAR_MASS_OF_DRY_AIR,
    MOLAR_MASS_OF_WATER,
    density,
    enhancement_factor,
    saturation_pressure,
    vapour_mole_fraction,
)
from tests.humid_air import humid_air
from tests.ideal_air import density_ideal, magnus_saturation_pressure
from tests.reference import agrees, rows

DENSITIES = rows("air_density", "densities")
SATURATION = rows("psychrometrics", "saturation")
VOLUMES = {row["case"]: row for row in rows("psychrometrics", "volumes")}
RATIO = MOLAR_MASS_OF_WATER / MOLAR_MASS_OF_DRY_AIR
# Exceptions, in units of the last digit, by temperature: CIPM-2007 has its own equations of the saturation pressure and of the
# enhancement factor. They are 8e-5 and 5e-5 of the pressure away, 4e-4 and 8e-5 of the humidity ratio.
SATURATION_UNITS = {"5": "0.7", "50": "6.1"}
HUMIDITY_RATIO_UNITS = {"5": "2", "50": "6.6"}
# Magnus is an approximation: 0.1 % at 5 degC, 0.05 % at 50 degC.
MAGNUS_UNITS = {"5": "9", "50": "62"}


@pytest.fixture(autouse=True)
def si_units():
    psychrolib.SetUnitSystem(psychrolib.SI)


def from_library(t, p, h):
    return psychrolib.GetMoistAirDensity(t, psychrolib.GetHumRatioFromRelHum(t, h, p), p)


def state(row):
    return float(row["t [degC]"]), float(row["p [Pa]"]), float(row["h"])


def named(row):
    return f"{row['t [degC]']} degC"


@pytest.mark.parametrize("row", DENSITIES, ids=named)
def test_the_printed_column_is_that_of_the_library(row):
    assert agrees(from_library(*state(row)), row["PsychroLib"])


@pytest.mark.parametrize("t", [0.5, 10.0, 21.0, 35.0, 50.0])
@pytest.mark.parametrize("p", [70e3, 101325.0])
@pytest.mark.parametrize("h", [0.0, 0.5, 1.0])
def test_the_ideal_gas_is_that_of_the_library(t, p, h):
    # Molar masses: 287.042 against 287.048 J/(kg K), 2e-5; saturation pressures: 0.1 %, of which 0.378 e/p <= 7 % matters.
    assert float(density_ideal(t + 273.15, p, h)) == pytest.approx(from_library(t, p, h), rel=7e-5)


@pytest.mark.parametrize("row", SATURATION, ids=named)
def test_the_saturation_pressures_of_table_3(row):
    t = row["t [degC]"]
    assert agrees(saturation_pressure(float(t) + 273.15), row["p_ws [Pa]"], SATURATION_UNITS[t])
    assert agrees(magnus_saturation_pressure(float(t) + 273.15), row["p_ws [Pa]"], MAGNUS_UNITS[t])


@pytest.mark.parametrize("row", SATURATION, ids=named)
def test_the_humidity_ratios_of_table_2(row):
    t = row["t [degC]"]
    x = vapour_mole_fraction(float(t) + 273.15, 101325.0, 1.0)
    assert agrees(RATIO * x / (1 - x), row["humidity ratio at 101325 Pa"], HUMIDITY_RATIO_UNITS[t])


@pytest.mark.parametrize("row", SATURATION, ids=named)
def test_the_humidity_ratios_of_table_2_are_those_of_a_real_gas(row):
    t = float(row["t [degC]"])
    assert agrees(humid_air("W", "T", t + 273.15, "P", 101325, "R", 1.0), row["humidity ratio at 101325 Pa"])


@pytest.mark.parametrize("row", SATURATION, ids=named)
def test_the_library_lacks_the_enhancement_factor_in_them(row):
    # W = 0.621945 p_w/(p - p_w) with p_w = p_ws, where the tables take f p_ws: 0.4 % at 5 degC, 0.6 % at 50 degC.
    t, p = float(row["t [degC]"]), 101325.0
    real = float(row["humidity ratio at 101325 Pa"])
    assert psychrolib.GetSatHumRatio(t, p) == pytest.approx(real, rel=7e-3)
    assert psychrolib.GetSatHumRatio(t, p) < real * (1 - 3.5e-3)
    enhanced = float(enhancement_factor(t + 273.15, p)) * psychrolib.GetSatVapPres(t)
    assert 0.621945 * enhanced / (p - enhanced) == pytest.approx(real, rel=6e-4)


def humidity(row, saturation):
    """Relative humidity of air with a humidity ratio W: the mole fraction is W/(W + M_v/M_a)."""
    w = float(row["humidity ratio"])
    return w / (w + RATIO) * float(row["p [Pa]"]) / saturation


def test_the_volume_of_dry_air_in_table_2():
    row = VOLUMES["dry air"]
    # Exception: 0.84438 m3/kg against 0.8443; CoolProp gives 0.84434, with the molar mass of ASHRAE RP-1485, 2e-5 larger.
    assert agrees(1 / density(float(row["t [degC]"]) + 273.15, float(row["p [Pa]"]), 0.0), "0.8443", "0.9")
    assert row["volume per mass of dry air [m3/kg]"] == "0.8443"


def test_the_volume_of_example_1():
    row = VOLUMES["Example 1"]
    t_k, p, w = float(row["t [degC]"]) + 273.15, float(row["p [Pa]"]), float(row["humidity ratio"])
    h = humidity(row, float(saturation_pressure(t_k) * enhancement_factor(t_k, p)))
    assert agrees((1 + w) / density(t_k, p, h), row["volume per mass of dry air [m3/kg]"])


def test_the_volume_of_moist_air_as_an_ideal_gas():
    row = VOLUMES["GetMoistAirVolume"]
    t_k, p, w = float(row["t [degC]"]) + 273.15, float(row["p [Pa]"]), float(row["humidity ratio"])
    found = (1 + w) / density_ideal(t_k, p, humidity(row, float(magnus_saturation_pressure(t_k))))
    # Exception: printed with 15 digits; the gas constant differs by 2e-5, as above.
    assert float(found) == pytest.approx(float(row["volume per mass of dry air [m3/kg]"]), rel=2.5e-5)
