"""Pressure of the air from the altitude: ISO 2533, the standard atmosphere.

    p = p_0 (1 - L H/T_0)^(g/(R L))

H is the geopotential altitude [m], p_0 = 101 325 Pa, T_0 = 288.15 K, L = 0.0065 K/m, g = 9.806 65 m/s2, R = 287.052 87 J/(kg K).
A map's altitude differs from H by less than 3 m up to 4000 m.

Validity: -500 to 4000 m. The formula is one of a mean day. The weather moves the pressure by up to WEATHER about it: a barometer
tells more.

Source: ISO 2533:1975, clause 2, constants from memory.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from calib.airflow.air import inside
from calib.arrays import Floats

_AT_SEA_LEVEL = 101_325.0  # p_0 [Pa]
_TEMPERATURE = 288.15  # T_0 [K]
_LAPSE = 6.5e-3  # L [K/m]
_EXPONENT = 9.80665 / (287.05287 * _LAPSE)

LOWEST, HIGHEST = -500.0, 4000.0  # [m]

# Half-width of what weather does to the pressure, relative, taken as rectangular: at sea level 97 to 105 kPa but for rare storms
# (common practice, no source; from memory).
WEATHER = 0.04
WEATHER_RELATIVE_UNCERTAINTY = WEATHER / math.sqrt(3.0)


def _altitude(altitude: ArrayLike) -> Floats:
    said = "altitude {} m: the pressure of the air follows from it between {} and {} m; check value and unit"
    return inside(altitude, LOWEST, HIGHEST, said)


def standard_pressure(altitude: ArrayLike) -> Floats:
    """Pressure of the standard atmosphere [Pa] at a geopotential altitude [m]; raises CalibError outside -500 to 4000 m."""
    return np.asarray(_AT_SEA_LEVEL * (1.0 - _LAPSE * _altitude(altitude) / _TEMPERATURE) ** _EXPONENT)


def standard_pressure_sensitivity(altitude: ArrayLike) -> Floats:
    """dp/dH = -p (g/R)/(T_0 - L H) [Pa/m] at a geopotential altitude [m]; raises CalibError outside -500 to 4000 m."""
    h = _altitude(altitude)
    return np.asarray(-standard_pressure(h) * _EXPONENT * _LAPSE / (_TEMPERATURE - _LAPSE * h))
