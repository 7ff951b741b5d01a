"""Density of moist air: the formula written a second time from its printed coefficients, laws of gases, and ranges.

Source of the coefficients: reference_data/cipm_2007 (class C, from memory). The derivatives are checked by the complex step, which
is exact to rounding, on that second formula, and by central differences on the first.
"""

import cmath

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.airflow.air import (
    CARBON_DIOXIDE,
    FORMULA_RELATIVE_UNCERTAINTY,
    LARGEST_DIFFERENCE,
    compressibility,
    density,
    density_sensitivities,
    enhancement_factor,
    saturation_pressure,
    vapour_mole_fraction,
    within_range,
)
from calib.errors import CalibError
from tests.ideal_air import density_ideal, magnus_saturation_pressure
from tests.reference import printed

K = {symbol: float(text) for symbol, text in printed("cipm_2007", "coefficients").items()}

temperature = st.floats(233.15, 333.15)
pressure = st.floats(60e3, 110e3)
humidity = st.floats(0.0, 1.0)
ROOM = (293.15, 101325.0, 0.5)


def formula(t_k, p, h):
    """The formula once more, for complex numbers."""
    t = t_k - 273.15
    saturation = cmath.exp(K["A"] * t_k * t_k + K["B"] * t_k + K["C"] + K["D"] / t_k)
    x = h * (K["alpha"] + K["beta"] * p + K["gamma"] * t * t) * saturation / p
    first = K["a0"] + K["a1"] * t + K["a2"] * t * t + (K["b0"] + K["b1"] * t) * x + (K["c0"] + K["c1"] * t) * x * x
    z = 1 - p / t_k * first + (p / t_k) ** 2 * (K["d"] + K["e"] * x * x)
    return p * K["Ma"] / (z * K["R"] * t_k) * (1 - x * (1 - K["Mv"] / K["Ma"]))


def slope(number, state):
    """Derivative of the second formula by its argument of that number, by the complex step."""
    step = 1e-30
    moved = [complex(value, step if place == number else 0.0) for place, value in enumerate(state)]
    return formula(*moved).imag / step


@given(temperature, pressure, humidity)
def test_the_density_is_that_of_the_formula_written_again(t_k, p, h):
    assert float(density(t_k, p, h)) == pytest.approx(formula(t_k, p, h).real, rel=1e-13)


@given(temperature, pressure, humidity)
def test_the_sensitivities_are_those_of_the_complex_step(t_k, p, h):
    found = density_sensitivities(t_k, p, h)
    for number in range(3):
        assert float(found[number]) == pytest.approx(slope(number, (t_k, p, h)), rel=1e-11)


@pytest.mark.parametrize("state", [ROOM, (263.15, 90e3, 0.8), (323.15, 105e3, 0.2), (303.15, 70e3, 0.9)])
@pytest.mark.parametrize(("number", "step"), [(0, 0.01), (1, 5.0), (2, 1e-3)])
def test_the_sensitivities_are_those_of_central_differences(state, number, step):
    above, below = list(state), list(state)
    above[number] += step
    below[number] -= step
    difference = float(density(*above) - density(*below)) / (2.0 * step)
    assert float(density_sensitivities(*state)[number]) == pytest.approx(difference, rel=1e-6)


@given(temperature, pressure, humidity)
def test_warm_air_and_humid_air_are_lighter_and_pressed_air_is_heavier(t_k, p, h):
    by_temperature, by_pressure, by_humidity = density_sensitivities(t_k, p, h)
    assert by_temperature < 0
    assert by_pressure > 0
    assert by_humidity < 0


@given(temperature, pressure, humidity)
def test_air_is_nearly_an_ideal_gas(t_k, p, h):
    # Up to 110 kPa the real gas is heavier by 1 - Z < 0.15 %; the vapour of Magnus lacks the enhancement factor, 0.5 % of 12 %.
    assert float(density_ideal(t_k, p, h)) == pytest.approx(float(density(t_k, p, h)), rel=2e-3)


def test_dry_ideal_air_has_the_density_of_its_molar_mass():
    # 28.96546 g/mol at 0 degC and 101,325 Pa: 22.414 L/mol (the molar volume of an ideal gas) make 1.2923 g/L.
    assert float(density_ideal(273.15, 101325.0, 0.0)) == pytest.approx(28.96546 / 22.41397, rel=2e-6)


def test_half_the_pressure_is_half_the_density_of_an_ideal_dry_gas():
    assert float(density_ideal(290.0, 110e3, 0.0)) == pytest.approx(
        float(density_ideal(290.0, 66e3, 0.0)) / 0.6, rel=1e-14
    )


def test_air_of_a_dew_point_is_saturated_there():
    # A mole fraction f p_sv/p at 100 % is the whole of what the air can hold.
    x = float(vapour_mole_fraction(293.15, 1e5, 1.0))
    assert x == pytest.approx(float(enhancement_factor(293.15, 1e5) * saturation_pressure(293.15)) / 1e5, rel=1e-15)
    assert float(vapour_mole_fraction(293.15, 1e5, 0.25)) == pytest.approx(x / 4, rel=1e-15)


def test_the_two_saturation_pressures_agree_within_half_a_percent():
    t_k = np.linspace(233.15, 333.15, 101)
    assert magnus_saturation_pressure(t_k) == pytest.approx(saturation_pressure(t_k), rel=5e-3)


def test_water_boils_at_40_degrees_in_7_4_kilopascals():
    # The saturation pressure of water at 40 degC, 7.38 kPa, from steam tables (from memory).
    assert float(saturation_pressure(313.15)) == pytest.approx(7380.0, abs=5.0)


def test_arrays_run_over_the_states_and_broadcast():
    t_k, p, h = np.array([280.0, 290.0, 300.0]), 1e5, np.array([0.2, 0.4, 0.6])
    one_by_one = [float(density(t_k[place], p, h[place])) for place in range(3)]
    assert density(t_k, p, h) == pytest.approx(one_by_one, rel=1e-15)
    grid = density(t_k[:, np.newaxis], p, h)
    assert grid.shape == (3, 3)
    assert np.diagonal(grid) == pytest.approx(one_by_one, rel=1e-15)
    assert all(one.shape == (3, 3) for one in density_sensitivities(t_k[:, np.newaxis], np.full((1, 1), p), h))


@pytest.mark.parametrize(
    ("state", "said"),
    [
        (
            (333.16, 1e5, 0.5),
            "air temperature 60.01 degC: the density of air is known here from -40 to 60 degC; check value and unit",
        ),
        ((21.0, 1e5, 0.5), "air temperature -252.15 degC: the density"),
        (
            (293.15, 101.325, 0.5),
            "absolute air pressure 101.325 Pa: the density of air is known here from 60000 to 110000 Pa",
        ),
        ((293.15, 110001.0, 0.5), "absolute air pressure 110001 Pa"),
        ((293.15, 1e5, 45.0), "relative humidity 45: it lies between 0 and 1; check value and unit"),
        ((293.15, 1e5, -0.01), "relative humidity -0.01"),
        ((float("nan"), 1e5, 0.5), "air temperature nan degC"),
        ((293.15, 1e5, float("nan")), "relative humidity nan"),
        ((np.array([293.15, 233.0]), 1e5, 0.5), "air temperature -40.15 degC"),
    ],
)
@pytest.mark.parametrize("function", [density, density_sensitivities, vapour_mole_fraction])
def test_what_was_not_verified_is_refused_with_number_and_range(function, state, said):
    with pytest.raises(CalibError) as refusal:
        function(*state)
    assert str(refusal.value).startswith(said)


@pytest.mark.parametrize(
    ("function", "arguments"),
    [
        (saturation_pressure, (200.0,)),
        (enhancement_factor, (293.15, 50e3)),
        (compressibility, (293.15, 50e3, 0.01)),
        (compressibility, (340.0, 1e5, 0.01)),
    ],
)
def test_the_parts_of_the_formula_have_the_same_range(function, arguments):
    with pytest.raises(CalibError, match="known here from"):
        function(*arguments)


@pytest.mark.parametrize(("beside", "is_within"), [(0.9e-9, True), (1.1e-9, False)])
@pytest.mark.parametrize(("limit", "outwards"), [(60.0, -1), (110.0, 1)])
def test_a_value_within_a_range_may_miss_its_ends_by_1e_9_of_the_higher_one(limit, outwards, beside, is_within):
    value = limit + outwards * 110.0 * beside
    if is_within:
        assert within_range(value, 60.0, 110.0, "{} {} {}") == value
    else:
        with pytest.raises(CalibError, match="60 110"):
            within_range(value, 60.0, 110.0, "{} {} {}")


@pytest.mark.parametrize("t_celsius", [-40.0, 60.0])
@pytest.mark.parametrize("p", [60e3, 110e3])
@pytest.mark.parametrize("h", [0.0, 1.0])
def test_the_limits_belong_to_the_range_although_minus_40_degrees_misses_it_by_a_bit(t_celsius, p, h):
    t_k = t_celsius + 273.15
    assert float(density(t_k, p, h)) == pytest.approx(formula(t_k, p, h).real, rel=1e-13)


def test_the_slopes_make_the_spread_of_simulated_densities():
    """GUM 5.1.2 beside draws; 200,000 know a standard deviation to 0.16 %, and the second order of the formula is smaller."""
    rng = np.random.default_rng(20080101)
    at = [np.array([273.15, 293.15, 318.15]), np.array([101325.0, 95000.0, 84000.0]), np.array([0.9, 0.5, 0.2])]
    u = [np.array([0.2, 0.5, 1.0]), np.array([50.0, 100.0, 300.0]), np.array([0.02, 0.05, 0.1])]
    t, p, h = (rng.normal(value, spread, (200_000, 3)) for value, spread in zip(at, u, strict=True))
    drawn = density(t, p, np.clip(h, 0.0, 1.0))
    parts = [slope * spread for slope, spread in zip(density_sensitivities(*at), u, strict=True)]
    assert [np.sign(part).tolist() for part in parts] == [[-1] * 3, [1] * 3, [-1] * 3]
    assert drawn.std(axis=0) == pytest.approx(np.linalg.norm(parts, axis=0), rel=0.01)


def test_the_formula_covers_carbon_dioxide_of_occupied_rooms():
    # CIPM-2007: M_a = [28.96546 + 12.011 (x_CO2 - 0.0004)] g/mol, from memory; 2000 umol/mol instead of 400.
    heavier = 12.011 * (0.002 - 0.0004) / 28.96546
    assert heavier == pytest.approx(CARBON_DIOXIDE, abs=0.05e-4)


def test_the_uncertainty_of_the_formula_is_that_of_two_rectangles():
    # GUM 4.3.7: a half-width a gives a^2/3.
    assert (LARGEST_DIFFERENCE, CARBON_DIOXIDE) == (6.0e-4, 6.6e-4)
    variance = FORMULA_RELATIVE_UNCERTAINTY**2
    assert variance == pytest.approx((LARGEST_DIFFERENCE**2 + CARBON_DIOXIDE**2) / 3)
