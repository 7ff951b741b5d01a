"""Velocity from pressure, mass flow and vanes: exact roots, inverses, and a vane built from its balance of torques.

Near zero pressure: quadrature by scipy and mpmath, parabolic cylinder functions; u of 0.6: tests/measurement/test_low_velocities.
"""

import math

import mpmath
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate, special

from calib.airflow.velocity import (
    LOW_PRESSURE_LIMIT,
    LowPressure,
    actual_velocity,
    density_exponent,
    flagged,
    low_pressure_text,
    near_zero,
    pressure_sensitivity,
    refused,
    relative_velocity_uncertainty,
    scaled_from_calibration_density,
    similarity_scale,
    standard_velocity,
    velocity_from_pressure,
    velocity_near_zero,
    velocity_pressure,
)
from calib.errors import CalibError

velocity = st.floats(0.1, 60.0)
pressure = st.floats(0.01, 2500.0)
density = st.floats(0.7, 1.6)


@pytest.mark.parametrize(("dp", "rho", "v"), [(0.6, 1.2, 1.0), (2.4, 1.2, 2.0), (60.0, 1.2, 10.0), (0.5, 1.0, 1.0)])
def test_a_velocity_pressure_gives_its_velocity(dp, rho, v):
    assert float(velocity_from_pressure(dp, rho)) == pytest.approx(v, rel=1e-15)


@pytest.mark.parametrize("dp", [0.0, -0.0, -0.3, -50.0])
def test_a_pressure_of_zero_or_below_gives_no_velocity_and_no_sensitivity(dp):
    assert float(velocity_from_pressure(dp, 1.2)) == 0.0
    assert float(pressure_sensitivity(dp, 1.2)) == 0.0


def test_a_pressure_that_is_no_number_gives_no_number():
    assert math.isnan(float(velocity_from_pressure(float("nan"), 1.2)))


@given(velocity, density)
def test_there_and_back_is_the_same_velocity(v, rho):
    assert float(velocity_from_pressure(velocity_pressure(v, rho), rho)) == pytest.approx(v, rel=1e-14)


@given(pressure, density)
def test_four_times_the_pressure_is_twice_the_velocity_and_four_times_the_density_half(dp, rho):
    v = float(velocity_from_pressure(dp, rho))
    assert float(velocity_from_pressure(4 * dp, rho)) == pytest.approx(2 * v)
    assert float(velocity_from_pressure(dp, 4 * rho)) == pytest.approx(v / 2)


@given(pressure, density)
def test_the_sensitivity_is_that_of_central_differences(dp, rho):
    step = 1e-4 * dp
    difference = float(velocity_from_pressure(dp + step, rho) - velocity_from_pressure(dp - step, rho)) / (2 * step)
    assert float(pressure_sensitivity(dp, rho)) == pytest.approx(difference, rel=1e-7)


@given(pressure, density, st.floats(1e-4, 0.2))
def test_the_relative_uncertainty_is_the_sensitivity_times_that_of_the_pressure(dp, rho, share):
    u = share * dp
    by_sensitivity = float(pressure_sensitivity(dp, rho)) * u / float(velocity_from_pressure(dp, rho))
    assert float(relative_velocity_uncertainty(dp, u)) == pytest.approx(by_sensitivity)


@pytest.mark.parametrize("dp", [0.0, -1.0])
def test_a_velocity_that_is_not_there_is_infinitely_uncertain(dp):
    assert float(relative_velocity_uncertainty(dp, 0.5)) == math.inf


def test_an_offset_of_half_a_pascal_is_35_percent_of_one_metre_per_second():
    # By the exact root: dp = 0.6 Pa at 1 m/s in 1.2 kg/m3; sqrt(1.1/0.6) = 1.354.
    indicated = float(velocity_from_pressure(velocity_pressure(1.0, 1.2) + 0.5, 1.2))
    assert indicated == pytest.approx(math.sqrt(1.1 / 0.6), rel=1e-15)
    assert round(100 * (indicated - 1.0)) == 35
    # The first order says 42 %, and at 10 m/s both say 0.4 %.
    assert round(100 * float(relative_velocity_uncertainty(0.6, 0.5))) == 42
    assert round(100 * (float(velocity_from_pressure(60.5, 1.2)) / 10 - 1), 2) == 0.42
    assert round(100 * float(relative_velocity_uncertainty(60.0, 0.5)), 2) == 0.42


def test_arrays_run_over_the_points_of_a_traverse():
    dp = np.array([[-0.1, 0.0], [0.6, 2.4]])
    assert velocity_from_pressure(dp, 1.2) == pytest.approx(np.array([[0.0, 0.0], [1.0, 2.0]]))
    assert pressure_sensitivity(dp, np.full((2, 1), 1.2)) == pytest.approx(np.array([[0.0, 0.0], [1 / 1.2, 1 / 2.4]]))
    assert relative_velocity_uncertainty(dp, 0.06) == pytest.approx(np.array([[np.inf, np.inf], [0.05, 0.0125]]))


@pytest.mark.parametrize("m", [-2.0, -1.0, 0.0, 0.3, 1.0, 2.5, 5.0])
def test_the_mean_velocity_is_that_of_a_published_integral(m):
    """E sqrt(max(z, 0)) for z normal about m: Gamma(3/2) exp(-m^2/4) D_(-3/2)(-m)/sqrt(2 pi) (DLMF 12.5.1, from memory)."""
    expected = math.gamma(1.5) * math.exp(-(m**2) / 4) * special.pbdv(-1.5, -m)[0] / math.sqrt(2 * math.pi)
    mean, _ = velocity_near_zero(0.4 * m, 0.4, 1.2)
    assert float(mean) / math.sqrt(2 * 0.4 / 1.2) == pytest.approx(expected, abs=1e-11)


@pytest.mark.parametrize("m", [-6.0, -5.0, -2.0, -1.0, 0.0, 0.3, 1.0, 2.5, 5.0])
def test_the_mean_velocity_is_that_of_its_integral_in_many_digits(m):
    with mpmath.workdps(30):
        expected = float(mpmath.quad(lambda z: mpmath.sqrt(z) * mpmath.npdf(z, m), [0, 1, 3, 6, 10, 20]))
    mean, _ = velocity_near_zero(0.4 * m, 0.4, 1.2)
    assert float(mean) / math.sqrt(2 * 0.4 / 1.2) == pytest.approx(expected, rel=1e-8, abs=1e-14)


@given(st.floats(-8, 5), st.floats(1e-3, 10), st.floats(0.9, 1.4))
def test_the_value_is_that_of_quadrature_and_no_standard_deviation_exceeds_its_uncertainty(m, u, rho):
    def moment(power):
        """Of s^2 = z, in which the integrand is smooth at 0."""

        def integrand(s):
            return 2 * s ** (power + 1) * math.exp(-((s**2 - m) ** 2) / 2) / math.sqrt(2 * math.pi)

        last = math.sqrt(max(m, 0) + 9)
        return integrate.quad(integrand, 0, last, points=[math.sqrt(max(m, 0.01))], epsabs=1e-13)[0]

    mean, u_mean = (float(each) for each in velocity_near_zero(m * u, u, rho))
    scale = math.sqrt(2 * u / rho)
    assert mean / scale == pytest.approx(moment(1), abs=1e-9)
    assert math.sqrt(max(moment(2) - moment(1) ** 2, 0.0)) <= 0.533
    assert u_mean / scale == pytest.approx(0.6, rel=1e-14)


def test_of_several_points_each_is_what_it_is_alone():
    dp, u, rho = np.array([0.2, -0.5, 1.4]), np.array([0.3, 0.5, 0.4]), np.array([1.2, 1.1, 1.3])
    means, _ = velocity_near_zero(dp, u, rho)
    alone = [float(velocity_near_zero(*each)[0]) for each in zip(dp, u, rho, strict=True)]
    assert means == pytest.approx(alone, rel=1e-14)


def test_a_pressure_is_near_zero_where_u_is_more_than_a_tenth_of_twice_the_pressure():
    near = near_zero([5.1, 5.0, 4.9, 0.0, -1.0, 0.0], [1.0, 1.0, 1.0, 1.0, 1.0, 0.0])
    assert near.tolist() == [False, False, True, True, True, False]


@pytest.mark.parametrize("dp", [-9.0, -40.0])
def test_far_below_zero_the_air_stands(dp):
    # No part of a normal distribution with u = 1 Pa lies nine times that above its mean; 0.6 sqrt(2 x 1/0.5) = 1.2 m/s.
    mean, u_mean = velocity_near_zero(dp, 1.0, 0.5)
    assert float(mean) == 0.0
    assert float(velocity_near_zero(-8.9, 1.0, 0.5)[0]) > 0.0
    assert float(u_mean) == pytest.approx(1.2, rel=1e-15)


@pytest.mark.parametrize(("v", "percent"), [(30.0, 0.10), (60.0, 0.38)])
def test_taking_air_for_incompressible_reads_a_little_high(v, percent):
    # Isentropic stagnation at 20 degC: dp = p [(1 + 0.2 M^2)^3.5 - 1] with rho = 1.4 p/a^2 and a = 343.2 m/s.
    p, sound = 101325.0, 343.2
    dp = p * ((1 + 0.2 * (v / sound) ** 2) ** 3.5 - 1)
    assert 100 * (float(velocity_from_pressure(dp, 1.4 * p / sound**2)) / v - 1) == pytest.approx(percent, abs=0.005)


@pytest.mark.parametrize("wrong", [0.0, -1.2, float("nan"), float("inf")])
def test_a_density_must_be_above_zero(wrong):
    for refusing in (
        lambda: velocity_from_pressure(1.0, wrong),
        lambda: pressure_sensitivity(1.0, wrong),
        lambda: velocity_pressure(1.0, wrong),
        lambda: actual_velocity(1.0, 1.2, wrong),
        lambda: standard_velocity(1.0, 1.2, np.array([1.2, wrong])),
    ):
        with pytest.raises(CalibError, match=f"density of the air {wrong:g} kg/m3: it must be above 0"):
            refusing()
    with pytest.raises(CalibError, match=f"reference density {wrong:g} kg/m3"):
        actual_velocity(1.0, wrong, 1.2)
    with pytest.raises(CalibError, match=f"calibration density {wrong:g} kg/m3"):
        scaled_from_calibration_density(1.0, 1.2, wrong)


@pytest.mark.parametrize(
    ("dp", "bound", "is_refused", "is_flagged"),
    [
        (0.4, 0.5, True, False),
        (0.5, 0.5, True, False),
        (0.51, 0.5, False, True),
        (2.49, 0.5, False, True),
        (2.5, 0.5, False, False),
        (10.0, 0.5, False, False),
        (0.0, 0.0, True, False),
        (-1.0, 0.5, True, False),
        (0.1, 0.0, False, False),
        (float("nan"), 0.5, True, False),
        (1.0, float("nan"), True, False),
        (1.0, float("inf"), True, False),
        # On a limit, but for the last bits of 0.1 + 0.2.
        (0.1 + 0.2, 0.3, True, False),
        (1.5, 0.1 + 0.2, False, False),
        (1.0, 2 * (0.1 * (1 + 1e-9)), False, False),
    ],
)
def test_a_low_pressure_is_refused_or_flagged(dp, bound, is_refused, is_flagged):
    decision = LowPressure(dp, bound)
    assert (decision.refused, decision.flagged) == (is_refused, is_flagged)


@given(pressure, st.floats(0.001, 1000.0))
def test_a_pressure_is_never_both_refused_and_flagged(dp, bound):
    decision = LowPressure(dp, bound)
    assert not (decision.refused and decision.flagged)
    assert decision.refused or decision.flagged or decision.relative_uncertainty <= LOW_PRESSURE_LIMIT * (1 + 1e-8)


def test_arrays_are_decided_as_their_values_are():
    dp, bound = np.array([0.4, 0.5, 1.0, 2.5]), 0.5
    assert refused(dp, bound).tolist() == [True, True, False, False]
    assert flagged(dp, bound).tolist() == [False, False, True, False]


def test_a_refused_pressure_is_told_in_plain_words():
    said = low_pressure_text(LowPressure(0.4, 0.5))
    assert said.startswith(
        "velocity pressure 0.4 Pa is not above its expanded uncertainty 0.5 Pa: it cannot be told from zero; measure"
    )


def test_a_flagged_pressure_is_told_with_the_number():
    said = low_pressure_text(LowPressure(1.0, 0.5))
    assert said.startswith(
        "velocity pressure 1 Pa with its expanded uncertainty 0.5 Pa leaves the velocity uncertain by 25 %:"
    )


def test_nothing_is_said_of_a_pressure_that_is_high_enough():
    assert low_pressure_text(LowPressure(60.0, 0.5)) == ""


@given(velocity, density, density)
def test_a_thermal_anemometer_keeps_the_mass_flow(v_std, reference, rho):
    v = float(actual_velocity(v_std, reference, rho))
    assert v * rho == pytest.approx(v_std * reference)
    assert float(standard_velocity(v, reference, rho)) == pytest.approx(v_std)


def test_thin_air_is_faster_than_a_thermal_anemometer_indicates():
    assert float(actual_velocity(10.0, 1.2, 1.0)) == pytest.approx(12.0)


# A vane of its own: the air turns it with rho (c v^2 - e v n), friction holds it with a constant torque. It indicates x = n.
DRIVE, DRAG = 1.8, 1.7


def indicated(v, rho, friction):
    return (DRIVE * v * v - friction / rho) / (DRAG * v)


def calibrated(x, rho_0, friction):
    """The calibration curve at rho_0: the velocity at which the vane indicates x, the larger root of its balance."""
    return (DRAG * x + math.sqrt((DRAG * x) ** 2 + 4 * DRIVE * friction / rho_0)) / (2 * DRIVE)


@given(st.floats(0.5, 30.0), density, density, st.floats(0.0, 0.2))
def test_the_scaled_curve_gives_the_velocity_of_a_vane_with_constant_friction(v, rho, rho_0, friction):
    s = float(similarity_scale(rho, rho_0))
    x = indicated(v, rho, friction)
    assert calibrated(x * s, rho_0, friction) / s == pytest.approx(v, rel=1e-12)


@given(st.floats(0.5, 30.0), density, density, st.floats(0.0, 0.2))
def test_the_exponent_is_the_slope_of_the_logarithms(v, rho, rho_0, friction):
    x, step = indicated(v, rho, friction), 1e-5

    def log_velocity(log_rho):
        s = float(similarity_scale(math.exp(log_rho), rho_0))
        return math.log(calibrated(x * s, rho_0, friction) / s)

    at = x * float(similarity_scale(rho, rho_0))
    curve_slope = (calibrated(at + step, rho_0, friction) - calibrated(at - step, rho_0, friction)) / (2 * step)
    found = float(density_exponent(at, calibrated(at, rho_0, friction), curve_slope))
    difference = (log_velocity(math.log(rho) + step) - log_velocity(math.log(rho) - step)) / (2 * step)
    assert found == pytest.approx(difference, rel=1e-5, abs=1e-8)


@given(st.floats(0.01, 0.5), st.floats(0.9, 1.1), st.floats(0.5, 30.0), density, density)
def test_of_a_straight_line_only_the_starting_velocity_depends_on_the_density(a, b, x, rho, rho_0):
    s = float(similarity_scale(rho, rho_0))
    v = (a + b * x * s) / s
    assert v == pytest.approx(a * math.sqrt(rho_0 / rho) + b * x)
    # d ln v/d ln rho = -a sqrt(rho_0/rho)/(2 v), from that sum.
    assert float(density_exponent(x * s, a + b * x * s, b)) == pytest.approx(-a * math.sqrt(rho_0 / rho) / (2 * v))


def test_the_exponents_of_no_friction_and_of_nothing_but_friction():
    assert float(density_exponent(4.0, 4.0, 1.0)) == 0.0
    assert float(density_exponent(4.0, 0.3, 0.0)) == -0.5


def test_at_the_density_of_the_calibration_nothing_is_scaled():
    assert float(similarity_scale(1.18, 1.18)) == 1.0
    assert float(scaled_from_calibration_density(5.0, 1.18, 1.18)) == 5.0


@given(pressure, density, density, st.floats(0.8, 1.2))
def test_a_probe_and_manometer_calibrated_together_know_the_velocity_pressure(dp, rho, rho_0, factor):
    # The pair indicates dp = v^2 rho/(2 factor^2): its curve at rho_0 gives v = factor sqrt(2 dp/rho_0).
    curve = factor * math.sqrt(2 * dp / rho_0)
    found = float(scaled_from_calibration_density(curve, rho, rho_0))
    assert found == pytest.approx(factor * float(velocity_from_pressure(dp, rho)))
