"""Relative humidity by the wet bulb: its slopes by differences, its limits, and what it refuses."""

import pytest

from calib.airflow import psychrometer
from calib.airflow.air import enhancement_factor, saturation_pressure
from calib.airflow.psychrometer import (
    COEFFICIENT_RELATIVE_UNCERTAINTY,
    relative_humidity,
    relative_humidity_sensitivities,
)
from calib.errors import CalibError

ZERO = 273.15


def of_saturated_air(celsius, pressure):
    """E [Pa] of CIPM-2007, which has tests of its own."""
    return float(enhancement_factor(celsius + ZERO, pressure) * saturation_pressure(celsius + ZERO))


@pytest.mark.parametrize(("dry", "wet", "pressure"), [(24.0, 16.0, 97.5e3), (50.0, 40.0, 70e3), (8.0, 2.0, 101e3)])
def test_the_humidity_is_that_of_the_coefficients_of_the_source(dry, wet, pressure):
    """A = 6.53e-4/K, B = 9.44e-4/K (WMO-No. 8, Part I, Annex 4.B, from memory)."""
    lost = 6.53e-4 * (1.0 + 9.44e-4 * wet) * pressure * (dry - wet)
    expected = (of_saturated_air(wet, pressure) - lost) / of_saturated_air(dry, pressure)
    assert float(relative_humidity(dry + ZERO, wet + ZERO, pressure)) == pytest.approx(expected, rel=1e-11)


def test_the_uncertainty_of_the_coefficient_is_that_of_nine_percent_either_way():
    """Rectangular: over the root of 3 (GUM 4.3.7)."""
    half_width = COEFFICIENT_RELATIVE_UNCERTAINTY * 1.7320508075688772
    assert half_width == pytest.approx(0.09, rel=1e-14)


@pytest.mark.parametrize("above", [5e-10, 1e-9])
def test_a_wet_bulb_above_the_dry_one_by_a_last_bit_is_saturated_air(above):
    assert float(relative_humidity(18.0 + ZERO, 18.0 + ZERO + above, 98e3)) == 1.0


def test_air_of_no_humidity_at_all_is_let_be(monkeypatch):
    # The wet bulb at 0 degC, and a coefficient by which 8 K of depression at 2^16 Pa are just what is saturated there.
    monkeypatch.setattr(psychrometer, "COEFFICIENT", of_saturated_air(0.0, 2.0**16) / 2.0**19)
    assert float(relative_humidity(8.0 + ZERO, ZERO, 2.0**16)) == 0.0


@pytest.mark.parametrize(
    ("dry", "wet", "said"),
    [
        ([20.0, 20.0, 20.0], [19.0, 21.0, 22.0], "wet-bulb temperature 21 degC above the dry bulb's 20 degC"),
        ([20.0, 40.0, 41.0], [15.0, 10.0, 9.0], "dry bulb 40 degC with wet bulb 10 degC"),
    ],
)
def test_of_many_the_first_that_cannot_be_is_named(dry, wet, said):
    with pytest.raises(CalibError, match=said):
        relative_humidity([t + ZERO for t in dry], [t + ZERO for t in wet], 101325.0)


def test_a_wet_bulb_as_warm_as_the_dry_one_is_saturated_air():
    assert float(relative_humidity(18.0 + ZERO, 18.0 + ZERO, 98e3)) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize("state", [(24.0, 16.0, 97.5e3), (35.0, 30.0, 85e3), (8.0, 2.0, 101e3)])
@pytest.mark.parametrize(("place", "step"), [(0, 1e-3), (1, 1e-3), (2, 1.0)])
def test_the_slopes_are_those_of_central_differences(state, place, step):
    dry, wet, pressure = state
    above, below = [dry + ZERO, wet + ZERO, pressure], [dry + ZERO, wet + ZERO, pressure]
    above[place] += step
    below[place] -= step
    difference = float(relative_humidity(*above) - relative_humidity(*below)) / (2 * step)
    slope = relative_humidity_sensitivities(dry + ZERO, wet + ZERO, pressure)[place]
    assert float(slope) == pytest.approx(difference, rel=1e-6)


def test_the_slope_by_the_coefficient_is_that_of_a_larger_one(monkeypatch):
    at = (24.0 + ZERO, 16.0 + ZERO, 97.5e3)
    slope = float(relative_humidity_sensitivities(*at)[3])
    before = float(relative_humidity(*at))
    monkeypatch.setattr(psychrometer, "COEFFICIENT", psychrometer.COEFFICIENT * 1.001)
    assert float(relative_humidity(*at)) - before == pytest.approx(slope * 0.001, rel=1e-9)


@pytest.mark.parametrize(
    ("dry", "wet", "said"),
    [
        (20.0, 21.0, "wet-bulb temperature 21 degC above the dry bulb's 20 degC"),
        (4.0, -1.0, "wet-bulb temperature -1 degC: it is known here from 0 to 60 degC, where water does not freeze"),
        (40.0, 10.0, "dry bulb 40 degC with wet bulb 10 degC: no air is so dry"),
    ],
)
def test_what_no_psychrometer_shows_is_named(dry, wet, said):
    with pytest.raises(CalibError, match=said):
        relative_humidity(dry + ZERO, wet + ZERO, 101325.0)
