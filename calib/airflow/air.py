"""Density of moist air, CIPM-2007.

    rho = p M_a/(Z R T) [1 - x_v (1 - M_v/M_a)]        x_v = h f(p, t) p_sv(T)/p

p is the absolute pressure [Pa], T the thermodynamic temperature [K], t = T - 273.15 K, h the relative humidity [1], x_v the mole
fraction of water vapour, f the enhancement factor, p_sv the saturation vapour pressure over water, Z the compressibility factor.
Below 0 degC the humidity counts against water too (WMO-No. 8 defines it so; from memory).

Dry air holds 400 umol/mol of carbon dioxide here. The gas constant is the one that the formula was published with: it belongs to
its coefficients and is not brought up to date.

Validity: -40 to 60 degC, 60 to 110 kPa, 0 to 100 %. The publication itself states 15 to 27 degC and 600 to 1100 hPa, with a
relative standard uncertainty of 22e-6; how far the formula holds beyond is said at FORMULA_RELATIVE_UNCERTAINTY.

Source: A. Picard, R. S. Davis, M. Glaeser, K. Fujii, Metrologia 45 (2008) 149, coefficients from memory.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats
from calib.errors import CalibError

GAS_CONSTANT = 8.314472  # R [J/(mol K)]
MOLAR_MASS_OF_DRY_AIR = 28.96546e-3  # M_a [kg/mol]
MOLAR_MASS_OF_WATER = 18.01528e-3  # M_v [kg/mol]
_LIGHTER = 1.0 - MOLAR_MASS_OF_WATER / MOLAR_MASS_OF_DRY_AIR
_ZERO_CELSIUS = 273.15  # [K]

# Half-widths of the relative error, each taken as rectangular:
# the largest difference from the real-gas equations of CoolProp 8.0, seen over the whole range of validity (5.97e-4 at 60 degC,
# 60 kPa and 100 %; 2.0e-4 below 0 degC, where those equations count humidity against ice; 0.5e-4 to 40 degC, 1.4e-4 to 50 degC);
LARGEST_DIFFERENCE = 6.0e-4
# and carbon dioxide between 400 and 2000 umol/mol in occupied rooms (common practice, no source): 12.011 * 0.0016/28.96546.
CARBON_DIOXIDE = 6.6e-4

# Relative standard uncertainty of the formula as it is used here: 5.15e-4, half of it in a velocity from pressure.
FORMULA_RELATIVE_UNCERTAINTY = math.hypot(LARGEST_DIFFERENCE, CARBON_DIOXIDE) / math.sqrt(3.0)

# Coefficients of the formula, by their letters in its appendix A1.
_SATURATION = (1.2378847e-5, -1.9121316e-2, 33.93711047, -6.3431645e3)  # A [K^-2], B [K^-1], C, D [K]
_ENHANCEMENT = (1.00062, 3.14e-8, 5.6e-7)  # alpha, beta [Pa^-1], gamma [K^-2]
_COMPRESSIBILITY_A = (1.58123e-6, -2.9331e-8, 1.1043e-10)  # a0 [K/Pa], a1 [Pa^-1], a2 [K^-1 Pa^-1]
_COMPRESSIBILITY_B = (5.707e-6, -2.051e-8)  # b0 [K/Pa], b1 [Pa^-1]
_COMPRESSIBILITY_C = (1.9898e-4, -2.376e-6)  # c0 [K/Pa], c1 [Pa^-1]
_COMPRESSIBILITY_DE = (1.83e-11, -0.765e-8)  # d, e [K^2/Pa^2]


def within_range(value: ArrayLike, lowest: float, highest: float, said: str, offset: float = 0.0) -> Floats:
    """The values, each between lowest and highest; raises CalibError with the first that is not. `said` holds {} for numbers."""
    values = np.asarray(value, dtype=float)
    # A limit typed in degrees Celsius is met although its last bit may be missed.
    near = 1e-9 * highest
    outside = values[~((values >= lowest - near) & (values <= highest + near))]
    if outside.size:
        value_text, low_text, high_text = (f"{limit - offset:.9g}" for limit in (outside[0], lowest, highest))
        raise CalibError(said.format(value_text, low_text, high_text))
    return values


def _temperature(value: ArrayLike) -> Floats:
    said = "air temperature {} degC: the density of air is known here from {} to {} degC; check value and unit"
    return within_range(value, 233.15, 333.15, said, _ZERO_CELSIUS)


def _pressure(value: ArrayLike) -> Floats:
    said = "absolute air pressure {} Pa: the density of air is known here from {} to {} Pa; check value and unit"
    return within_range(value, 60e3, 110e3, said)


def _humidity(value: ArrayLike) -> Floats:
    return within_range(value, 0.0, 1.0, "relative humidity {}: it lies between {} and {}; check value and unit")


def saturation_pressure(temperature: ArrayLike) -> Floats:
    """Saturation vapour pressure over water p_sv = 1 Pa exp(A T^2 + B T + C + D/T) [Pa] from the temperature [K].

    Source: CIPM-2007, equation A1.1, from memory. Raises CalibError outside -40 to 60 degC.
    """
    t_k, (a, b, c, d) = _temperature(temperature), _SATURATION
    return np.exp(a * t_k**2 + b * t_k + c + d / t_k)


def enhancement_factor(temperature: ArrayLike, pressure: ArrayLike) -> Floats:
    """Enhancement factor f = alpha + beta p + gamma t^2 [1] from temperature [K] and pressure [Pa].

    Source: CIPM-2007, equation A1.2, from memory. Raises CalibError outside -40 to 60 degC and 60 to 110 kPa.
    """
    t = _temperature(temperature) - _ZERO_CELSIUS
    alpha, beta, gamma = _ENHANCEMENT
    return np.asarray(alpha + beta * _pressure(pressure) + gamma * t**2)


def vapour_mole_fraction(temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike) -> Floats:
    """Mole fraction of water vapour x_v = h f p_sv/p [1] from temperature [K], pressure [Pa] and relative humidity [1].

    Raises CalibError outside the range of validity.
    """
    factor = enhancement_factor(temperature, pressure)
    return np.asarray(_humidity(humidity) * factor * saturation_pressure(temperature) / _pressure(pressure))


def _virial(t: Floats, x: Floats) -> tuple[Floats, Floats]:
    """First and second coefficient of the compressibility factor, in p/T [K/Pa] and its square, from t [degC] and x_v."""
    (a_0, a_1, a_2), (b_0, b_1), (c_0, c_1) = _COMPRESSIBILITY_A, _COMPRESSIBILITY_B, _COMPRESSIBILITY_C
    d, e = _COMPRESSIBILITY_DE
    return a_0 + a_1 * t + a_2 * t**2 + (b_0 + b_1 * t) * x + (c_0 + c_1 * t) * x**2, d + e * x**2


def compressibility(temperature: ArrayLike, pressure: ArrayLike, mole_fraction: ArrayLike) -> Floats:
    """Compressibility factor Z [1] from temperature [K], pressure [Pa] and mole fraction of water vapour [1].

        Z = 1 - p/T [a0 + a1 t + a2 t^2 + (b0 + b1 t) x_v + (c0 + c1 t) x_v^2] + (p/T)^2 (d + e x_v^2)

    Source: CIPM-2007, equation A1.4, from memory. Raises CalibError outside -40 to 60 degC and 60 to 110 kPa.
    """
    t_k = _temperature(temperature)
    first, second = _virial(t_k - _ZERO_CELSIUS, np.asarray(mole_fraction, dtype=float))
    ratio = _pressure(pressure) / t_k
    return np.asarray(1.0 - ratio * first + ratio**2 * second)


def density(temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike) -> Floats:
    """Density of moist air rho [kg/m3] from temperature [K], absolute pressure [Pa] and relative humidity [1]; real gas, CIPM-2007.

        rho = p M_a/(Z R T) [1 - x_v (1 - M_v/M_a)]

    Arguments are floats or arrays that broadcast. Raises CalibError outside -40 to 60 degC, 60 to 110 kPa, 0 to 100 %.
    """
    x = vapour_mole_fraction(temperature, pressure, humidity)
    t_k, p = _temperature(temperature), _pressure(pressure)
    z = compressibility(t_k, p, x)
    return np.asarray(p * MOLAR_MASS_OF_DRY_AIR / (z * GAS_CONSTANT * t_k) * (1.0 - x * _LIGHTER))


def vapour_mole_fraction_sensitivities(
    temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Partial derivatives of `vapour_mole_fraction` by temperature [1/K], pressure [1/Pa] and humidity [1].

    Arguments and errors as for `vapour_mole_fraction`.
    """
    t_k, p, h = _temperature(temperature), _pressure(pressure), _humidity(humidity)
    f, saturation = enhancement_factor(t_k, p), saturation_pressure(t_k)
    (a, b, _, d), (_, beta, gamma) = _SATURATION, _ENHANCEMENT
    growth = 2.0 * a * t_k + b - d / t_k**2  # d ln p_sv/dT
    f_by_t = 2.0 * gamma * (t_k - _ZERO_CELSIUS)
    return (
        np.asarray(h * saturation * (f_by_t + f * growth) / p),
        np.asarray(h * saturation * (beta - f / p) / p),
        np.asarray(f * saturation / p),
    )


def _compressibility_slopes(t_k: Floats, p: Floats, x: Floats) -> tuple[Floats, Floats, Floats]:
    """Partial derivatives of Z by temperature, pressure and mole fraction, each with the other two held."""
    t, ratio = t_k - _ZERO_CELSIUS, p / t_k
    first, second = _virial(t, x)
    by_ratio = -first + 2.0 * ratio * second
    (_, a_1, a_2), (b_0, b_1), (c_0, c_1) = _COMPRESSIBILITY_A, _COMPRESSIBILITY_B, _COMPRESSIBILITY_C
    first_by_t = a_1 + 2.0 * a_2 * t + b_1 * x + c_1 * x**2
    first_by_x = b_0 + b_1 * t + 2.0 * (c_0 + c_1 * t) * x
    second_by_x = 2.0 * _COMPRESSIBILITY_DE[1] * x
    return (
        np.asarray(-by_ratio * ratio / t_k - ratio * first_by_t),
        np.asarray(by_ratio / t_k),
        np.asarray(-ratio * first_by_x + ratio**2 * second_by_x),
    )


def density_sensitivities(
    temperature: ArrayLike, pressure: ArrayLike, humidity: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Partial derivatives of `density` by temperature [kg/m3/K], pressure [kg/m3/Pa] and humidity [kg/m3].

    The derivatives of the formula itself, exact but for rounding:

        d ln rho = dp/p - dT/T - dZ/Z - (1 - M_v/M_a) dx_v/[1 - x_v (1 - M_v/M_a)]

    Arguments and errors as for `density`.
    """
    t_k, p, h = _temperature(temperature), _pressure(pressure), _humidity(humidity)
    x, rho = vapour_mole_fraction(t_k, p, h), density(t_k, p, h)
    z = compressibility(t_k, p, x)
    x_by_t, x_by_p, x_by_h = vapour_mole_fraction_sensitivities(t_k, p, h)
    z_by_t, z_by_p, z_by_x = _compressibility_slopes(t_k, p, x)
    by_x = -z_by_x / z - _LIGHTER / (1.0 - _LIGHTER * x)  # d ln rho/dx_v
    return (
        np.asarray(rho * (-1.0 / t_k - z_by_t / z + by_x * x_by_t)),
        np.asarray(rho * (1.0 / p - z_by_p / z + by_x * x_by_p)),
        np.asarray(rho * by_x * x_by_h),
    )
