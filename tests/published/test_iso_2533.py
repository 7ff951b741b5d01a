"""The pressure of the standard atmosphere: ISO 2533 and 2017 ASHRAE Handbook - Fundamentals, Table 1.

Source: reference_data/standard_atmosphere; ISO 2533 class C (from memory), ASHRAE class A.
"""

import psychrolib
import pytest

from calib.airflow.standard_atmosphere import standard_pressure
from tests.reference import agrees, rows


@pytest.mark.parametrize("row", rows("standard_atmosphere", "iso_2533"), ids=lambda row: row["H [m]"])
def test_the_pressure_is_that_of_iso_2533(row):
    assert agrees(standard_pressure(float(row["H [m]"])) / 100.0, row["p [hPa]"])


@pytest.mark.parametrize("row", rows("standard_atmosphere", "ashrae"), ids=lambda row: row["Z [m]"])
def test_the_pressure_is_that_of_the_ashrae_table(row):
    assert agrees(standard_pressure(float(row["Z [m]"])), row["p [Pa]"])


@pytest.mark.parametrize("altitude", [-400.0, 35.0, 640.0, 1600.0, 3300.0])
def test_the_pressure_is_that_of_psychrolib(altitude):
    """Its exponent is rounded to 5.2559: up to 2 parts in 10^6 here."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    assert float(standard_pressure(altitude)) == pytest.approx(psychrolib.GetStandardAtmPressure(altitude), rel=3e-6)
