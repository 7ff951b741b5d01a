"""The relative humidity from wet and dry bulb: a printed table, and the wet bulb of thermodynamics by two libraries.

Source: reference_data/psychrometer, class C (from memory).
"""

import psychrolib
import pytest

from calib.airflow.psychrometer import relative_humidity
from tests.humid_air import humid_air
from tests.reference import agrees, rows

# The table's own coefficient is not known: its digits are met within a unit of the last where they are not within half of one.
UNITS = "1.0"


@pytest.mark.parametrize(
    "row", rows("psychrometer", "table"), ids=lambda row: f"{row['t [degC]']} less {row['depression [K]']}"
)
def test_the_humidity_is_that_of_the_table(row):
    dry = float(row["t [degC]"]) + 273.15
    humidity = float(relative_humidity(dry, dry - float(row["depression [K]"]), 1e5))
    assert agrees(100.0 * humidity, row["humidity [%]"], UNITS)


@pytest.mark.parametrize("pressure", [80e3, 101325.0])
@pytest.mark.parametrize(
    ("dry", "wet"), [(5.0, 3.0), (10.0, 5.0), (20.0, 19.0), (20.0, 12.0), (30.0, 22.0), (40.0, 28.0), (45.0, 33.0)]
)
def test_the_humidity_is_that_of_thermodynamics_within_a_percent_of_it(dry, wet, pressure):
    """An aspirated psychrometer comes close to adiabatic saturation: 0.7 percent of relative humidity, seen."""
    psychrolib.SetUnitSystem(psychrolib.SI)
    of_water = float(relative_humidity(dry + 273.15, wet + 273.15, pressure))
    assert of_water == pytest.approx(psychrolib.GetRelHumFromTWetBulb(dry, wet, pressure), abs=0.007)
    real_gas = humid_air("R", "T", dry + 273.15, "B", wet + 273.15, "P", pressure)
    assert of_water == pytest.approx(real_gas, abs=0.007)
