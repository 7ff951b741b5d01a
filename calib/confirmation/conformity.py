"""Decision rule, guard band, probability of conformity (JCGM 106:2012, ILAC-G8:09/2019; clauses from memory).

Rules, agreed for a job before measuring:

- simple: accepted where the value lies within the tolerance interval (JCGM 106, 8.2);
- guarded: accepted where it lies within the acceptance interval, narrower by w at each limit (JCGM 106, 8.3.2);
- guarded non-binary: within the acceptance interval "pass"; within the tolerance interval "conditional pass"; outside by no
  more than w "conditional fail"; further out "fail" (ILAC-G8, 4.2.3).

The guard band is w = U where there are two limits. A flow with one limit, a minimum or a maximum, can be wrong on one side only:
there w = k u with the one-sided k of the same coverage probability (`guard_bands`).

Decision (2026-11). The probability of conformity uses Student's t, so that it agrees with k. Cost: certificates and global risks,
which have no degrees of freedom, keep the normal distribution: two in one program.

Decision (2026-11-29): the guarded rules take the one-sided k for one limit, so that a result on the acceptance limit conforms
with the coverage probability that U promises. Options: w = U there too (k = 2 for one limit: 97.7 %); a decision rule of its own,
which each job would have to agree on. Cost: at one limit the risk of a wrong pass is up to 4.55 % where it is up to 2.3 % at each
of two; the rule in words and every statement name k.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import stdtr

from calib.confirmation.words import DECISION_RULES, GUARDED, SIMPLE
from calib.errors import CalibError
from calib.uncertainty.coverage import coverage_factor, exact_probability

# A limit counts as inside. Values are compared after rounding to this fraction of the middle of the tolerance interval, or of its
# upper limit where the middle is 0, since binary floats put 0.1 * 0.9 + 0.006 above 0.096.
_ROUNDING = 1e-9


@dataclass(frozen=True)
class ToleranceIntervals:
    """Tolerance intervals of n results, in the unit of the results; a limit that there is none of is infinite."""

    lower: NDArray[np.float64]  # (n,)
    upper: NDArray[np.float64]  # (n,)

    @property
    def one_limit(self) -> NDArray[np.bool_]:
        """(n,) whether there is one limit only, a minimum or a maximum."""
        return np.isfinite(self.lower) ^ np.isfinite(self.upper)

    def at(self, rows: NDArray[np.bool_] | NDArray[np.int64]) -> "ToleranceIntervals":
        """Those of some results."""
        return ToleranceIntervals(self.lower[rows], self.upper[rows])


def margin(value: NDArray[np.float64], interval: ToleranceIntervals) -> NDArray[np.float64]:
    """Distance to the nearer limit, positive inside, rounded to 1e-9 of the middle, of the only limit, or of both about 0."""
    return np.asarray(_grains_inside(value, interval) * _grain(interval))


def _grains_inside(value: NDArray[np.float64], interval: ToleranceIntervals) -> NDArray[np.float64]:
    """The same in whole grains."""
    return np.asarray(np.round(np.minimum(value - interval.lower, interval.upper - value) / _grain(interval)))


def _grain(interval: ToleranceIntervals) -> NDArray[np.float64]:
    lower, upper = (np.where(np.isfinite(limit), limit, 0.0) for limit in (interval.lower, interval.upper))
    middle = np.abs(upper + lower) * np.where(interval.one_limit, 1.0, 0.5)
    return np.asarray(_ROUNDING * np.select([middle > 0, upper > 0], [middle, upper], 1.0))


@dataclass(frozen=True)
class GuardBands:
    """Guard bands of n results under a decision rule; arrays (n,)."""

    width: NDArray[np.float64]  # w, in the unit of the results; 0 where the rule has none
    factor: NDArray[np.float64]  # k with w = k u
    one_sided: NDArray[np.bool_]  # whether k is one-sided


def guard_bands(
    expanded_uncertainty: NDArray[np.float64],
    coverage_factor_of_u: NDArray[np.float64],
    degrees_of_freedom: NDArray[np.float64],
    interval: ToleranceIntervals,
    rule: str,
    coverage_probability: float,
) -> GuardBands:
    """Guard bands w of a decision rule: U at two limits, U k_1/k_2 at one; none by simple acceptance.

    k_1 is the quantile of t with the effective degrees of freedom at the coverage probability P, k_2 that at (1 + P)/2: w = 1.69 u
    where U = 2.00 u (ISO 14253-1:2017 has 1.65 u for 95 %; JCGM 106, 8.3.2; both from memory). Arrays are (n,).
    """
    if rule == SIMPLE:
        none = np.zeros_like(expanded_uncertainty)
        return GuardBands(none, none, np.zeros(none.shape, dtype=bool))
    one_sided = interval.one_limit
    share = np.ones_like(expanded_uncertainty)
    nu, probability = degrees_of_freedom[one_sided], exact_probability(coverage_probability)
    share[one_sided] = coverage_factor(nu, 2.0 * probability - 1.0) / coverage_factor(nu, probability)
    return GuardBands(expanded_uncertainty * share, coverage_factor_of_u * share, one_sided)


def conformity(
    value: NDArray[np.float64], guard_band: NDArray[np.float64], interval: ToleranceIntervals, rule: str
) -> NDArray[np.str_]:
    """Statement of conformity of each result under one rule of DECISION_RULES; arrays are (n,).

    `guard_band` w is U, or what `guard_bands` says; simple acceptance does not ask for it. Raises CalibError for another rule.
    """
    if rule not in DECISION_RULES:
        raise CalibError(f"{rule!r} is no decision rule: use one of {', '.join(DECISION_RULES)}")
    inside = _grains_inside(value, interval)
    if rule == SIMPLE:
        return np.where(inside >= 0, "pass", "fail")
    w = np.round(guard_band / _grain(interval))
    guard = inside >= w
    if rule == GUARDED:
        return np.where(guard, "pass", "fail")
    near = inside >= -w
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
    nu = np.inf if degrees_of_freedom is None else degrees_of_freedom  # t of infinite ones is the normal distribution
    return np.asarray(stdtr(nu, above) - stdtr(nu, below))
