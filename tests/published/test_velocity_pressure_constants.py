"""The trade's constants V = C sqrt(p_v/rho) in feet per minute, inches of water and pounds per cubic foot: which inch each embeds.

Source: reference_data/velocity_pressure, class C (from memory, recomputed), its table class D.
"""

import pytest

from calib.airflow.air import density
from calib.airflow.velocity import velocity_from_pressure
from calib.quantities import unit
from tests.ideal_air import density_ideal
from tests.reference import agrees, printed, rows

CONSTANTS = rows("velocity_pressure", "constants")
STANDARD_AIR = printed("velocity_pressure", "standard_air")
# Exception: 1096.7 embeds an inch of 248.596 Pa, water between 68 and 70 degF; with that of 68 degF it is 1096.80.
CONSTANT_UNITS = {"1096.7": "1"}
INCHES = ("inH2O(4degC)", "inH2O(60degF)", "inH2O(68degF)")


def fpm(pressure, inch, pounds):
    """Velocity [ft/min] of a pressure in such inches of water at a density [lb/ft3]."""
    v = velocity_from_pressure(unit("pressure", inch).to_si(pressure), unit("density", "lb/ft3").to_si(pounds))
    return unit("air velocity", "fpm").from_si(v)


@pytest.mark.parametrize("row", CONSTANTS, ids=lambda row: row["printed"])
def test_the_constant_comes_from_its_inch(row):
    found = fpm(1.0, row["inch of water"], float(row["density [lb/ft3]"]))
    assert agrees(found, row["printed"], CONSTANT_UNITS.get(row["printed"], "0.5"))


@pytest.mark.parametrize("row", CONSTANTS, ids=lambda row: row["printed"])
def test_the_constant_comes_from_no_other_inch(row):
    for other in set(INCHES) - {row["inch of water"]}:
        assert not agrees(fpm(1.0, other, float(row["density [lb/ft3]"])), row["printed"], "1")


def test_the_inches_make_a_tenth_of_a_percent_of_the_velocity():
    assert agrees(100 * (fpm(1.0, INCHES[0], 0.075) / fpm(1.0, INCHES[2], 0.075) - 1), "0.09")


@pytest.mark.parametrize("row", rows("velocity_pressure", "table"), ids=lambda row: row["velocity [fpm]"])
def test_the_table_of_velocity_pressures(row):
    assert agrees(fpm(float(row["velocity pressure [inH2O]"]), "inH2O(68degF)", 0.075), row["velocity [fpm]"])


def test_standard_air():
    assert agrees(unit("density", "lb/ft3").to_si(0.075), STANDARD_AIR["standard air"])


def test_dry_air_at_20_degrees():
    text = STANDARD_AIR["dry air at 20 degC and 101325 Pa"]
    assert agrees(density_ideal(293.15, 101325.0, 0.0), text)
    # Exception: the printed density is that of an ideal gas; the real one is 1.2046 kg/m3.
    assert agrees(density(293.15, 101325.0, 0.0), text, "0.6")
