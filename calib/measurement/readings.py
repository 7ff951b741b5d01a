"""Readings as arrays, in SI: what the measurement model is given."""

from collections.abc import Sequence
from dataclasses import dataclass
from enum import IntEnum

import numpy as np
from numpy.typing import NDArray

from calib.curves.curve import Curve

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Truths = NDArray[np.bool_]


class Effect(IntEnum):
    """How the value of a reading depends on the density of the air."""

    NONE = 0
    PRESSURE = 1  # the corrected indication is a velocity pressure
    THERMAL = 2  # it is the velocity at a reference state
    VANE = 3  # friction of a vane, corrected by similarity
    PAIR = 4  # probe and manometer were calibrated together as a velocity, at the density of the calibration


@dataclass(frozen=True)
class Points:
    """The P points of n readings: those of a reading side by side, pass after pass, the readings in their order."""

    reading: Integers  # (P,) number of the reading, rising
    passage: Integers  # (P,) number of the pass, from 0 over all readings, rising
    weight: Floats  # (P,) weight in the mean of its pass; those of a pass add to 1


@dataclass(frozen=True)
class Air:
    """The air of n readings, where the density counts."""

    effect: Integers  # (n,) an Effect
    density: Floats  # (n,) [kg/m3]; any number above 0 where it does not count
    relative_uncertainty: Floats  # (n,) u(rho)/rho [1]; 0 where it does not count
    conditions: Integers  # (n,) readings with the same number share its error
    reference_density: Floats  # (n,) of the reference state (THERMAL) or of the calibration (VANE, PAIR) [kg/m3]


@dataclass(frozen=True)
class Probes:
    """Probes with a calibration of their own: they indicate the velocity that a coefficient of 1 would give."""

    calibration: Integers  # (n,) index into the curves; -1 where none was used
    stability_relative: Floats  # (n,) half-width of the change since calibration: this times the velocity ...
    stability_absolute: Floats  # (n,) ... plus this [m/s]
    stability_dof: Floats | None = None  # (n,) where it comes from a history; None: infinite


@dataclass(frozen=True)
class Hoods:
    """Hoods: the corrected indication is a flow. A pair has two points, the throttle open and set."""

    flow: Truths  # (n,) whether the reading is one of a hood
    resistance_ratio: Floats  # (n,) resistance with the throttle set over that when open [1]; NaN: no pair
    resistance_ratio_uncertainty: Floats  # (n,) its standard uncertainty [1]
    hood: Integers  # (n,) readings with the same number share its error


@dataclass(frozen=True)
class FoundFactors:
    """What the outlet factor carries of the very calibration that the reading uses; 0 where it used another."""

    scatter: Floats  # (n, p) relative parts in the directions of the calibration's curve [1]
    reference: Floats  # (n,) relative reference part [1]


@dataclass(frozen=True)
class Readings:
    """n readings with P points, in SI. Arrays are (P,) where they speak of an indication, else (n,)."""

    indication: Floats  # (P,) x [unit of what the instrument indicates]
    repeatability: Floats  # (P,) standard uncertainty of it; 0 where the passes show it
    repeatability_type_a: Truths  # (P,) from the observations (A), or declared (B)
    repeatability_dof: Floats  # (P,) n-1 of the observations, or infinite
    stability_limit: Floats  # (P,) half-width of the change since calibration; of a history sqrt(3) times its u
    resolution: Floats  # (n,) digital step of the instrument
    calibration: Integers  # (n,) index into `curves`
    outlet: Integers  # (n,) number of the outlet
    area: Floats  # (n,) A or A_e [m2]; 1 for a hood
    dimension_relative: Floats  # (n, 2) half-width of the area, relative, that each dimension brings [1]
    outlet_factor: Floats  # (n,) K [1]
    outlet_factor_relative: Floats  # (n,) u(K)/K or u(A_e)/A_e [1]
    outlet_factor_source: Integers  # (n,) outlets with the same number share the factor's error
    method_relative: Floats  # (n,) standard uncertainty of the method [1]
    curves: Sequence[Curve]
    outlet_factor_dof: Floats | None = None  # (n,); None: infinite
    method_dof: Floats | None = None  # (n,); None: infinite
    points: Points | None = None  # None: each reading is one point
    air: Air | None = None  # None: the density counts nowhere
    probes: Probes | None = None
    hoods: Hoods | None = None
    found_factors: FoundFactors | None = None
    stability_dof: Floats | None = None  # (n,) finite where the stability comes from a history (A); None: infinite

    @property
    def size(self) -> int:
        """Number of readings."""
        return self.calibration.size

    @property
    def of_points(self) -> Integers | slice:
        """Index that spreads an array of the readings over their points."""
        return slice(None) if self.points is None else self.points.reading
