"""Control of a check standard (NIST/SEMATECH e-Handbook of Statistical Methods, 2.2.2 and 2.3.5).

A baseline of K values has the mean C and the standard deviation s with K - 1 degrees of freedom. A new value is out of control
beyond

    C +- k s                                        Shewhart limits
    C +- t(1 - alpha/2; K-1) s                      the same with Student's t (2.3.5.2)
    C +- t(1 - alpha/2; K-1) s sqrt(1 + 1/K)        limits for one further value: right for a short baseline too

and an exponentially weighted mean of the values, w_i = lambda x_i + (1 - lambda) w_(i-1) from w_0 = C, beyond

    C +- k s sqrt(lambda/(2 - lambda))              (2.2.2.1.1) which sees a small shift that lasts.
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtrit

from calib.arrays import Floats
from calib.errors import CalibError

FEWEST_VALUES = 10  # values of a baseline, before limits are worked out from it (common practice, no source)
MOST_VALUES = 25  # then it stays as it is: limits that went on learning would follow a slow drift
FALSE_ALARM = 0.0027  # of a value in control, as beyond 3 standard deviations
WEIGHT = 0.2  # lambda of the weighted mean
TREND = 7  # values in a row that rise, or that fall: by chance twice in 7! = 5040 times (ISO 7870-2:2013, from memory)
_ALARM = 3.0


@dataclass(frozen=True)
class Baseline:
    """Values of a check standard while it was in control."""

    count: int
    mean: float
    standard_deviation: float


@dataclass(frozen=True)
class ControlLimits:
    """Limits of what is in control, both inside."""

    low: float
    centre: float
    high: float

    def holds(self, value: float) -> bool:
        """Whether a value is in control."""
        return self.low <= value <= self.high


def baseline(values: Sequence[float]) -> Baseline:
    """Mean and standard deviation of a baseline; raises CalibError for fewer than two values."""
    if len(values) < 2:
        raise CalibError(f"{len(values)} value(s) make no baseline: at least 2 are needed")
    array = np.asarray(values, dtype=float)
    return Baseline(array.size, float(array.mean()), float(array.std(ddof=1)))


def shewhart_limits(base: Baseline, k: float = _ALARM) -> ControlLimits:
    """C +- k s."""
    return _about(base.mean, k * base.standard_deviation)


def t_limits(base: Baseline, alpha: float = FALSE_ALARM) -> ControlLimits:
    """C +- t s: alpha is the probability of a false alarm for many values of the baseline (2.3.5.2)."""
    return _about(base.mean, _t(base, alpha) * base.standard_deviation)


def prediction_limits(base: Baseline, alpha: float = FALSE_ALARM) -> ControlLimits:
    """C +- t s sqrt(1 + 1/K): alpha is the false-alarm probability of one further normal value, however short the baseline."""
    return _about(base.mean, _t(base, alpha) * base.standard_deviation * math.sqrt(1.0 + 1.0 / base.count))


def weighted_means(values: Sequence[float], base: Baseline, weight: float = WEIGHT) -> Floats:
    """(n,) exponentially weighted means of the values that follow a baseline, 0 < weight <= 1."""
    means, last = [], base.mean
    for value in values:
        last = weight * value + (1.0 - weight) * last
        means.append(last)
    return np.array(means)


def weighted_mean_limits(base: Baseline, weight: float = WEIGHT, k: float = _ALARM) -> ControlLimits:
    """C +- k s sqrt(lambda/(2 - lambda)): limits of the weighted mean in the long run (2.2.2.1.1)."""
    return _about(base.mean, k * base.standard_deviation * math.sqrt(weight / (2.0 - weight)))


def in_trend(values: Sequence[float]) -> NDArray[np.bool_]:
    """(n,) whether each of some values is one of seven or more in a row that rise, or that fall, none equal to the one before."""
    ways, among = np.sign(np.diff(np.asarray(values, dtype=float))), np.zeros(len(values), dtype=bool)
    first = 0
    for end in range(1, ways.size + 1):
        if end == ways.size or ways[end] != ways[first]:
            if ways[first] and end - first + 1 >= TREND:
                among[first : end + 1] = True
            first = end
    return among


def _t(base: Baseline, alpha: float) -> float:
    return float(stdtrit(base.count - 1, 1.0 - alpha / 2.0))


def _about(centre: float, half_width: float) -> ControlLimits:
    return ControlLimits(centre - half_width, centre, centre + half_width)
