"""The standard atmosphere: its slope by differences, and where it ends."""

import pytest

from calib.airflow.standard_atmosphere import (
    WEATHER,
    WEATHER_RELATIVE_UNCERTAINTY,
    standard_pressure,
    standard_pressure_sensitivity,
)
from calib.errors import CalibError


@pytest.mark.parametrize("altitude", [-300.0, 0.0, 450.0, 2500.0])
def test_the_slope_is_that_of_central_differences(altitude):
    difference = float(standard_pressure(altitude + 0.5) - standard_pressure(altitude - 0.5))
    assert float(standard_pressure_sensitivity(altitude)) == pytest.approx(difference, rel=1e-7)


def test_at_sea_level_a_metre_is_twelve_pascal():
    """rho g of air at 15 degC: 1.225 kg/m3 times 9.80665 m/s2."""
    assert float(standard_pressure_sensitivity(0.0)) == pytest.approx(-1.225 * 9.80665, rel=1e-4)


@pytest.mark.parametrize("altitude", [-501.0, 4001.0])
def test_an_altitude_that_it_is_not_taken_for_is_named(altitude):
    with pytest.raises(
        CalibError, match=f"altitude {altitude:g} m: the pressure of the air follows from it between -500 and 4000 m"
    ):
        standard_pressure(altitude)


def test_weather_moves_the_pressure_by_up_to_4_percent_taken_as_rectangular():
    # 97 to 105 kPa at sea level, half-width over their middle; GUM 4.3.7: u^2 = a^2/3.
    assert pytest.approx((105 - 97) / (105 + 97), abs=0.0005) == WEATHER
    assert pytest.approx(0.04**2 / 3, rel=1e-14) == WEATHER_RELATIVE_UNCERTAINTY**2
