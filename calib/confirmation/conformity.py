"""Decision rule, guard band, probability of conformity (JCGM 106:2012, ILAC-G8:09/2019; clauses from memory).

Tolerance interval: design * (1 +- tolerance). Rules, agreed for a job before measuring:

- simple: accepted where the value lies within the tolerance interval (JCGM 106, 8.2);
- guarded: accepted where it lies within the acceptance interval, narrower by w = U at each limit (JCGM 106, 8.3.2);
- guarded non-binary: within the acceptance interval "pass"; within the tolerance interval "conditional pass"; outside by no
  more than w "conditional fail"; further out "fail" (ILAC-G8, 4.2.3).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr, stdtr

from calib.confirmation.words import DECISION_RULES, GUARDED, SIMPLE
from calib.errors import CalibError

# A limit counts as inside. Values are compared after rounding to this fraction of the design value, since binary floats put
# 0.1 * 0.9 + 0.006 above 0.096.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class ToleranceIntervals:
    """Tolerance intervals of n results, in the unit of the results."""

    lower: NDArray[np.float64]  # (n,)
    upper: NDArray[np.float64]  # (n,)


def tolerance_intervals(design: NDArray[np.float64], tolerance: NDArray[np.float64]) -> ToleranceIntervals:
    """Tolerance intervals design * (1 +- tolerance); `tolerance` is relative [1]."""
    half_width = np.abs(design) * tolerance
    return ToleranceIntervals(design - half_width, design + half_width)


def margin(value: NDArray[np.float64], interval: ToleranceIntervals) -> NDArray[np.float64]:
    """Distance to the nearer limit, positive inside, rounded to 1e-9 of the middle; both limits finite, the middle not 0."""
    inside = np.minimum(value - interval.lower, interval.upper - value)
    grain = _grain(interval)
    return np.asarray(np.round(inside / grain) * grain)


def _grain(interval: ToleranceIntervals) -> NDArray[np.float64]:
    return _ROUNDING * 0.5 * np.abs(interval.upper + interval.lower)


def conformity(
    value: NDArray[np.float64], expanded_uncertainty: NDArray[np.float64], interval: ToleranceIntervals, rule: str
) -> NDArray[np.str_]:
    """Statement of conformity of each result under one rule of DECISION_RULES; arrays are (n,).

    Raises CalibError for another rule.
    """
    if rule not in DECISION_RULES:
        raise CalibError(f"{rule!r} is no decision rule: use one of {', '.join(DECISION_RULES)}")
    inside = margin(value, interval)
    if rule == SIMPLE:
        return np.where(inside >= 0, "pass", "fail")
    grain = _grain(interval)
    w = np.round(expanded_uncertainty / grain) * grain
    guard = inside - w >= -0.5 * grain
    if rule == GUARDED:
        return np.where(guard, "pass", "fail")
    near = inside + w >= -0.5 * grain
    return np.select([guard, inside >= 0, near], ["pass", "conditional pass", "conditional fail"], "fail")


def probability_of_conformity(
    value: NDArray[np.float64],
    standard_uncertainty: NDArray[np.float64],
    interval: ToleranceIntervals,
    degrees_of_freedom: NDArray[np.float64] | None = None,
) -> NDArray[np.float64]:
    """Probability that the quantity lies within its tolerance interval: F(z_U) - F(z_L) (JCGM 106, 7.4, equation 9).

    F is the normal distribution, or Student's t with the effective degrees of freedom where they are given: then a result that
    lies U inside one limit has the probability that its coverage factor promises. Standard uncertainties above 0; arrays are (n,).
    """
    above = (interval.upper - value) / standard_uncertainty
    below = (interval.lower - value) / standard_uncertainty
    if degrees_of_freedom is None:
        return np.asarray(ndtr(above) - ndtr(below))
    finite = np.isfinite(degrees_of_freedom)
    nu = np.where(finite, degrees_of_freedom, 1.0)
    student = stdtr(nu, above) - stdtr(nu, below)
    return np.where(finite, student, ndtr(above) - ndtr(below))
