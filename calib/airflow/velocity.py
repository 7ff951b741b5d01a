"""Air velocity from what an instrument indicates: velocity pressure, mass flow, or the turning of a vane.

Everything here holds for air as an incompressible fluid: a velocity from the velocity pressure is too high by the eighth part of
the squared Mach number, 0.1 % at 30 m/s (from the isentropic relation; ISO 3966 has the expansibility factor).
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats, Truths
from calib.errors import CalibError

# Relative expanded uncertainty of a velocity above which its velocity pressure is called low: common practice, no source.
LOW_PRESSURE_LIMIT = 0.10
# u(dp)/(2 dp) above which the root bends too much for its tangent, and what u(v) is then, in sqrt(2 u(dp)/rho): chosen by
# simulation (2 u covers 94.9 % of single points at dp = 0 and 99.0 % or more above, 95.9 % or more of traverses). No source.
NEAR_ZERO = 0.10
UNCERTAINTY_NEAR_ZERO = 0.6
# Decisions on a limit are taken after rounding to this, relative: a value on the limit is on it whatever its last bits are.
_ROUNDING = 1e-9


def _above_zero(value: ArrayLike, name: str) -> Floats:
    values = np.asarray(value, dtype=float)
    wrong = values[~(np.isfinite(values) & (values > 0))]
    if wrong.size:
        raise CalibError(f"{name} {wrong[0]:g} kg/m3: it must be above 0; check value and unit")
    return values


def velocity_from_pressure(pressure: ArrayLike, density: ArrayLike) -> Floats:
    """Velocity v = sqrt(2 dp/rho) [m/s] from velocity pressure dp [Pa] and density of the air rho [kg/m3]; ISO 3966.

    A pressure of zero or below gives 0: standing air (common practice, no source). `velocity_near_zero` takes in how well it is
    known. The velocity goes with rho^(-1/2).
    Raises CalibError for a density that is not above 0.
    """
    dp = np.asarray(pressure, dtype=float)
    return np.asarray(np.sqrt(2.0 * np.maximum(dp, 0.0) / _above_zero(density, "density of the air")))


def pressure_sensitivity(pressure: ArrayLike, density: ArrayLike) -> Floats:
    """Sensitivity coefficient dv/ddp = v/(2 dp) = 1/sqrt(2 dp rho) [m/s/Pa] of `velocity_from_pressure`; 0 where dp <= 0.

    Raises CalibError for a density that is not above 0.
    """
    dp, rho = np.broadcast_arrays(np.asarray(pressure, dtype=float), _above_zero(density, "density of the air"))
    root = np.sqrt(2.0 * np.maximum(dp, 0.0) * rho)
    return np.asarray(np.divide(1.0, root, out=np.zeros(dp.shape), where=dp > 0))


def velocity_pressure(velocity: ArrayLike, density: ArrayLike) -> Floats:
    """Velocity pressure dp = rho v^2/2 [Pa] of a velocity [m/s] at a density of the air [kg/m3].

    The inverse of `velocity_from_pressure` for v >= 0. Raises CalibError for a density that is not above 0.
    """
    return np.asarray(0.5 * _above_zero(density, "density of the air") * np.asarray(velocity, dtype=float) ** 2)


def relative_velocity_uncertainty(pressure: ArrayLike, u_pressure: ArrayLike) -> Floats:
    """Relative uncertainty u(v)/v = u(dp)/(2 dp) [1] that an uncertainty of the velocity pressure gives; infinite where dp <= 0.

    Both in [Pa]; with an expanded uncertainty it is the expanded one. First order (GUM 5.1.2): close to dp = u the root bends.
    """
    dp, u = np.broadcast_arrays(np.asarray(pressure, dtype=float), np.asarray(u_pressure, dtype=float))
    return np.asarray(np.divide(u, 2.0 * dp, out=np.full(dp.shape, np.inf), where=dp > 0))


def near_zero(pressure: ArrayLike, u_pressure: ArrayLike) -> Truths:
    """Whether u(dp)/(2 dp) is above NEAR_ZERO, both in [Pa]: also where dp <= 0, and nowhere where u(dp) = 0."""
    return np.asarray((relative_velocity_uncertainty(pressure, u_pressure) > NEAR_ZERO) & (np.asarray(u_pressure) > 0))


_BEYOND = 9.0  # standard deviations, beyond which a normal distribution holds nothing


def velocity_near_zero(pressure: ArrayLike, u_pressure: ArrayLike, density: ArrayLike) -> tuple[Floats, Floats]:
    """Mean velocity and its standard uncertainty [m/s], (P,) each, where the velocity pressure is hardly known from zero.

    u(dp) > 0 and dp up to 5 u(dp) [Pa], density rho [kg/m3], (P,) each. With D normal about dp with standard deviation u(dp), and
    v(D) = sqrt(2 D/rho), which is 0 for D <= 0 (the air stands there):

        v = E v(D) = sqrt(2 u/rho) E sqrt(max(z, 0)),   z normal about m = dp/u with standard deviation 1
        E sqrt(max(z, 0)) = integral of 2 s^2 phi(s^2 - m) ds from 0
        u(v) = UNCERTAINTY_NEAR_ZERO sqrt(2 u/rho)

    The standard deviation of v(D) is 0.533 sqrt(2 u/rho) at most, at m = 0.68. It is not taken, since D may lie far above a reading
    at zero or below, where the distribution about the reading is narrow.
    Source: JCGM 101, 4.1 and 5.1 (mean of a distribution propagated); u(v) by simulation.
    Raises CalibError for a density that is not above 0.

    Decision (2026-11-29). Options: the root of the reading and its slope (between two neighbouring readings U fell by a third; the
    value was biased); a distribution cut off at zero (biases a traverse by up to 7.7 %); a root with the sign of the pressure (by
    -3.9 %). Cost: about the truth dp = 0 a point reads high by half of sqrt(2 u/rho), which u(v) covers.
    """
    dp, u, rho = np.broadcast_arrays(
        *(np.asarray(each, dtype=float) for each in (pressure, u_pressure)), _above_zero(density, "density of the air")
    )
    unit = np.sqrt(2.0 * u / rho)
    m = np.maximum(dp / u, -_BEYOND)
    last = np.sqrt(m + _BEYOND)
    # Even in s, and nothing at the end: there the trapezoidal rule is exact to last bits with the 50 places that numpy takes.
    s = np.linspace(0.0, last, axis=-1)
    density_there = np.exp(-0.5 * (s**2 - m[..., np.newaxis]) ** 2) / math.sqrt(2.0 * math.pi)
    mean = np.trapezoid(2.0 * s**2 * density_there, s)
    return np.asarray(unit * mean), np.asarray(unit * UNCERTAINTY_NEAR_ZERO)


def refused(pressure: ArrayLike, expanded_uncertainty: ArrayLike) -> Truths:
    """Whether a velocity pressure dp cannot be told from zero: dp <= U(dp), both in [Pa]; also where either is not a number.

    U(dp) is 0 or above, so that a pressure of zero or below never can.
    """
    dp, bound = np.asarray(pressure, dtype=float), np.asarray(expanded_uncertainty, dtype=float)
    return np.asarray(~(dp > bound * (1.0 + _ROUNDING)))


def flagged(pressure: ArrayLike, expanded_uncertainty: ArrayLike) -> Truths:
    """Whether a velocity pressure stands but is low: U(dp)/(2 dp) above LOW_PRESSURE_LIMIT, both in [Pa]."""
    relative = relative_velocity_uncertainty(pressure, expanded_uncertainty)
    return np.asarray(~refused(pressure, expanded_uncertainty) & (relative > LOW_PRESSURE_LIMIT * (1.0 + _ROUNDING)))


@dataclass(frozen=True)
class LowPressure:
    """Decision on one velocity pressure by the expanded uncertainty of the manometer."""

    pressure: float  # velocity pressure dp [Pa]
    expanded_uncertainty: float  # U(dp) [Pa]

    @property
    def refused(self) -> bool:
        """Whether dp <= U: the pressure cannot be told from zero."""
        return bool(refused(self.pressure, self.expanded_uncertainty))

    @property
    def flagged(self) -> bool:
        """Whether the velocity stands with a relative expanded uncertainty above LOW_PRESSURE_LIMIT."""
        return bool(flagged(self.pressure, self.expanded_uncertainty))

    @property
    def relative_uncertainty(self) -> float:
        """Relative expanded uncertainty U/(2 dp) of the velocity [1]; infinite where dp <= 0."""
        return float(relative_velocity_uncertainty(self.pressure, self.expanded_uncertainty))


def low_pressure_text(decision: LowPressure) -> str:
    """The decision in plain words; empty where nothing is wrong."""
    dp, bound = (
        f"velocity pressure {decision.pressure:.3g} Pa",
        f"expanded uncertainty {decision.expanded_uncertainty:.3g} Pa",
    )
    if decision.refused:
        return f"{dp} is not above its {bound}: it cannot be told from zero; measure with another instrument or where air is faster"
    if decision.flagged:
        percent = 100.0 * decision.relative_uncertainty
        return f"{dp} with its {bound} leaves the velocity uncertain by {percent:.0f} %: another instrument may measure it better"
    return ""


def actual_velocity(standard_velocity: ArrayLike, reference_density: ArrayLike, density: ArrayLike) -> Floats:
    """Velocity v = v_std rho_ref/rho [m/s] of a thermal anemometer that indicates v_std at a reference density.

    A heated sensor answers to the mass flow rho v; its scale shows the velocity that this mass flow has at rho_ref [kg/m3].
    Common practice, no source: second to mass flow, the sensor also feels temperature. Raises CalibError for a density not above 0.
    """
    ratio = _above_zero(reference_density, "reference density") / _above_zero(density, "density of the air")
    return np.asarray(np.asarray(standard_velocity, dtype=float) * ratio)


def standard_velocity(velocity: ArrayLike, reference_density: ArrayLike, density: ArrayLike) -> Floats:
    """Velocity v_std = v rho/rho_ref [m/s] at the reference density that has the same mass flow; inverse of `actual_velocity`.

    Raises CalibError for a density that is not above 0.
    """
    ratio = _above_zero(density, "density of the air") / _above_zero(reference_density, "reference density")
    return np.asarray(np.asarray(velocity, dtype=float) * ratio)


def similarity_scale(density: ArrayLike, calibration_density: ArrayLike) -> Floats:
    """Scale s = sqrt(rho/rho_0) [1] that carries a vane's indication from the density rho to that of its calibration, rho_0.

    The torque of the air on a vane in a velocity v that turns at n is rho v^2 g(n/v). It balances the bearings' friction, taken as
    constant, so that n/v is a function of rho v^2 alone:

        x/v = phi(rho v^2)      for the indication x, proportional to n.

    At the density rho_0 the velocity v_0 = v s has the same rho_0 v_0^2 = rho v^2, hence the same x_0/v_0 = x/v: x_0 = x s. The
    calibration curve gives v_0 = f(x_0) there, and so

        v = f(x s)/s.

    x s is looked up in the curve, and so x s must lie in its measuring interval. For f(x) = a + b x this is
    v = a sqrt(rho_0/rho) + b x: only the part that friction makes depends on the density.
    Source: own derivation by similarity; friction torque taken as constant. Raises CalibError for a density not above 0.
    """
    return np.sqrt(_above_zero(density, "density of the air") / _above_zero(calibration_density, "calibration density"))


def density_exponent(scaled_indication: ArrayLike, curve_value: ArrayLike, curve_slope: ArrayLike) -> Floats:
    """Exponent d ln v/d ln rho = [x s f'(x s)/f(x s) - 1]/2 [1] of a vane's velocity v = f(x s)/s in the density.

    From the scaled indication x s, f(x s), both [m/s], and f'(x s) [1]. 0 for a vane without friction; -1/2 where f is constant.
    Source: as `similarity_scale`.
    """
    x_s, slope = np.asarray(scaled_indication, dtype=float), np.asarray(curve_slope, dtype=float)
    return np.asarray(0.5 * (x_s * slope / np.asarray(curve_value, dtype=float) - 1.0))


def scaled_from_calibration_density(velocity: ArrayLike, density: ArrayLike, calibration_density: ArrayLike) -> Floats:
    """Velocity v = f(dp) sqrt(rho_0/rho) [m/s] of a probe and manometer calibrated together as velocity against pressure.

    `velocity` is f(dp), the velocity that the curve gives at the density of the calibration, rho_0 [kg/m3]. Probe and manometer see
    the velocity pressure, so that rho v^2 is what they know. Raises CalibError for a density that is not above 0.
    """
    return np.asarray(np.asarray(velocity, dtype=float) / similarity_scale(density, calibration_density))
