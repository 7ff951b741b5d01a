"""Densities of moist air by five formulas at eleven states.

Source: reference_data/air_density, class D: each column computed by its own formula, without this package.
"""

import pytest

from calib.airflow.air import density
from tests.ideal_air import density_ideal
from tests.reference import agrees, rows

ROWS = rows("air_density", "densities")
# Exception: the gas constant of dry air in the ideal column is 287.055 J/(kg K), that of CIPM-2007's
# molar mass and R is 287.048: 2.5e-5 apart, up to 3.3 units of the last digit.
IDEAL_UNITS = "3.5"
# Relative differences of the other formulas from CIPM-2007 that their nature allows: the two ideal gases lack 1 - Z = 4 to 6e-4;
# IEC 61400-12-1 has a vapour pressure fitted to one exponential, which at 50 degC is 0.1 % of the density away; the real gas of
# CoolProp has its own molar mass, 2e-5 larger, and virial coefficients.
APART = {"ideal gas with Magnus": 7e-4, "IEC 61400-12-1": 1.2e-3, "PsychroLib": 6e-4, "CoolProp": 5e-5}


def state(row):
    return float(row["t [degC]"]) + 273.15, float(row["p [Pa]"]), float(row["h"])


def named(row):
    return f"{row['t [degC]']} degC, {row['h']}"


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_the_real_gas_is_that_of_cipm_2007(row):
    assert agrees(density(*state(row)), row["CIPM-2007"])


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_the_ideal_gas_has_the_saturation_pressure_of_magnus(row):
    assert agrees(density_ideal(*state(row)), row["ideal gas with Magnus"], IDEAL_UNITS)


@pytest.mark.parametrize("formula", APART)
@pytest.mark.parametrize("row", ROWS, ids=named)
def test_another_formula_is_no_further_away_than_its_nature_allows(row, formula):
    assert float(density(*state(row))) == pytest.approx(float(row[formula]), rel=APART[formula])


@pytest.mark.parametrize("row", ROWS, ids=named)
def test_an_ideal_gas_is_lighter_than_the_real_one(row):
    assert density_ideal(*state(row)) < density(*state(row))
    assert float(row["PsychroLib"]) < float(row["CoolProp"])
