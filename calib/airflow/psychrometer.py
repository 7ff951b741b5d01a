"""Relative humidity from the temperatures of a psychrometer: the dry bulb and the wet one, in moving air.

    h = [E(t_w) - A (1 + B t_w) p (t - t_w)]/E(t)       E(t) = f(p, t) p_sv(t)

t and t_w are the temperatures of the dry and of the wet bulb [degC], p the absolute pressure [Pa]; A = 6.53e-4/K, B = 9.44e-4/K.

Validity: a wet bulb from 0 (water, no ice) to 60 degC, not above the dry bulb, in air that moves at 3 m/s and more past it; the
ranges of `calib.airflow.air`. Air that stands brings up to a fifth more in A, and wants a coefficient of its own.

Source: WMO-No. 8, Part I, Chapter 4, Annex 4.B, from memory; E of CIPM-2007.
"""

import math

import numpy as np
from numpy.typing import ArrayLike

from calib.airflow.air import vapour_mole_fraction, vapour_mole_fraction_sensitivities, within_range
from calib.arrays import Floats
from calib.errors import CalibError

COEFFICIENT = 6.53e-4  # A [1/K]
_GROWTH = 9.44e-4  # B [1/K]
_ZERO_CELSIUS = 273.15  # [K]

# Half-width of the coefficient's relative error, taken as rectangular: CoolProp 8.0 and PsychroLib 2.5.0, whose wet bulb is that of
# thermodynamics, correspond to coefficients up to 4 % below this one from 5 to 30 degC and up to 9 % to 45 degC, always within 0.7
# percent of relative humidity; ventilation and wick count above it.
COEFFICIENT_HALF_WIDTH = 0.09
COEFFICIENT_RELATIVE_UNCERTAINTY = COEFFICIENT_HALF_WIDTH / math.sqrt(3.0)


def _bulbs(dry: ArrayLike, wet: ArrayLike) -> tuple[Floats, Floats]:
    """Temperatures [K] that go together; raises CalibError."""
    said = "wet-bulb temperature {} degC: it is known here from {} to {} degC, where water does not freeze; check value and unit"
    t, t_w = np.broadcast_arrays(
        np.asarray(dry, dtype=float), within_range(wet, _ZERO_CELSIUS, _ZERO_CELSIUS + 60.0, said, _ZERO_CELSIUS)
    )
    above = np.flatnonzero(t_w > t + 1e-9)
    if above.size:
        high, low = (float(each.flat[above[0]]) - _ZERO_CELSIUS for each in (t_w, t))
        raise CalibError(
            f"wet-bulb temperature {high:.9g} degC above the dry bulb's {low:.9g} degC: water cools it; were they exchanged?"
        )
    return t, t_w


def _saturated(temperature: Floats, pressure: Floats) -> Floats:
    """E [Pa]."""
    return np.asarray(vapour_mole_fraction(temperature, pressure, 1.0) * pressure)


def _saturated_slopes(temperature: Floats, pressure: Floats) -> tuple[Floats, Floats]:
    """dE/dt [Pa/K] and dE/dp [1]."""
    by_temperature, by_pressure, per_humidity = vapour_mole_fraction_sensitivities(temperature, pressure, 1.0)
    return np.asarray(by_temperature * pressure), np.asarray(by_pressure * pressure + per_humidity)


def relative_humidity(dry: ArrayLike, wet: ArrayLike, pressure: ArrayLike) -> Floats:
    """Relative humidity h [1] from dry and wet bulb [K] and absolute pressure [Pa].

    Raises CalibError outside the ranges, for a wet bulb above the dry one, and where no water would be left in the air.
    """
    t, t_w = _bulbs(dry, wet)
    p = np.asarray(pressure, dtype=float)
    depression = COEFFICIENT * (1.0 + _GROWTH * (t_w - _ZERO_CELSIUS)) * p * (t - t_w)
    h = np.asarray((_saturated(t_w, p) - depression) / _saturated(t, p))
    below = np.flatnonzero(h < 0)
    if below.size:
        high, low = (float(each.flat[below[0]]) - _ZERO_CELSIUS for each in (t, t_w))
        raise CalibError(
            f"dry bulb {high:.9g} degC with wet bulb {low:.9g} degC: no air is so dry; check both, and the wick"
        )
    return np.asarray(np.minimum(h, 1.0))


def relative_humidity_sensitivities(
    dry: ArrayLike, wet: ArrayLike, pressure: ArrayLike
) -> tuple[Floats, Floats, Floats, Floats]:
    """Partial derivatives of `relative_humidity` by dry bulb [1/K], wet bulb [1/K], pressure [1/Pa] and ln A [1].

    Arguments and errors as for `relative_humidity`.
    """
    h = relative_humidity(dry, wet, pressure)
    t, t_w = _bulbs(dry, wet)
    p = np.asarray(pressure, dtype=float)
    a = COEFFICIENT * (1.0 + _GROWTH * (t_w - _ZERO_CELSIUS))
    saturated = _saturated(t, p)
    (dry_by_t, dry_by_p), (wet_by_t, wet_by_p) = _saturated_slopes(t, p), _saturated_slopes(t_w, p)
    return (
        np.asarray((-a * p - h * dry_by_t) / saturated),
        np.asarray((wet_by_t + a * p - COEFFICIENT * _GROWTH * p * (t - t_w)) / saturated),
        np.asarray((wet_by_p - a * (t - t_w) - h * dry_by_p) / saturated),
        np.asarray(-a * p * (t - t_w) / saturated),
    )
