"""Reliability of a family of instruments: how many are still in tolerance at the end of an interval (ILAC-G24 / OIML D 10).

Each interval ends with one answer: found in tolerance after a time t_i, or not. When it left the tolerance is not seen: it lies
somewhere between the two calibrations. So the exponential model R(t) = exp(-lambda t) has the likelihood

    ln L = -lambda sum(t_i, in tolerance) + sum(ln(1 - exp(-lambda t_i)), out of tolerance)

(a fit to exact times of failure is not the model for such counts).
"""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.optimize import brentq
from scipy.special import betaincinv, chdtri

from calib.arrays import Floats
from calib.errors import CalibError


@dataclass(frozen=True)
class FoundInterval:
    """One interval of one instrument, and how it was found at its end."""

    tag: str
    certificate: str
    months: float  # since the calibration before
    in_tolerance: bool


@dataclass(frozen=True)
class Proportion:
    """A fraction in tolerance with its two-sided confidence limits."""

    passed: int
    count: int
    low: float
    high: float


def proportion(passed: int, count: int, confidence: float = 0.95) -> Proportion:
    """Exact confidence limits of a proportion (Clopper-Pearson; e-Handbook 7.2.4.1); raises CalibError for none observed."""
    if not 0 <= passed <= count or count == 0:
        raise CalibError(f"{passed} of {count} is no proportion")
    tail = (1.0 - confidence) / 2.0
    low = 0.0 if passed == 0 else float(betaincinv(passed, count - passed + 1, tail))
    high = 1.0 if passed == count else float(betaincinv(passed + 1, count - passed, 1.0 - tail))
    return Proportion(passed, count, low, high)


@dataclass(frozen=True)
class Rate:
    """Rate lambda at which instruments leave the tolerance [1/month], with its two-sided confidence limits."""

    estimate: float
    low: float
    high: float  # infinite where all were found out of tolerance

    def months(self, target: float) -> tuple[float, float, float]:
        """Interval at whose end a fraction `target` is still in tolerance, -ln(R)/lambda: estimate, shortest, longest [months]."""
        return interval_for(self.estimate, target), interval_for(self.high, target), interval_for(self.low, target)


def interval_for(rate: float, target: float) -> float:
    """-ln(R)/lambda; infinite for a rate of 0."""
    return math.inf if rate == 0 else -math.log(target) / rate


def exponential_rate(intervals: Sequence[FoundInterval], confidence: float = 0.95) -> Rate:
    """Maximum likelihood estimate of lambda from interval-censored answers; limits by the likelihood ratio.

    Where none was out of tolerance the estimate is 0, and the upper limit is exact. Raises CalibError for no interval at all.
    """
    months = np.array([interval.months for interval in intervals])
    out = np.array([not interval.in_tolerance for interval in intervals], dtype=bool)
    if months.size == 0 or not np.all(months > 0):
        raise CalibError("a rate needs at least one interval, each longer than nothing")
    likelihood = _Likelihood(float(months[~out].sum()), months[out])
    if not out.any():
        return Rate(0.0, 0.0, highest_rate(0, likelihood.passed, (1.0 + confidence) / 2.0))
    best = math.inf if out.all() else likelihood.best()
    least = likelihood.value(best) - float(chdtri(1, 1.0 - confidence)) / 2.0
    return Rate(best, likelihood.lower_limit(best, least), likelihood.upper_limit(best, least))


def highest_rate(failures: int, total: float, confidence: float) -> float:
    """One-sided upper limit chi^2(confidence; 2 r + 2)/(2 T) of a rate, for r failures at known times in a total time T.

    Exact where the watch ended at a set time; for r = 0 also where failures would be seen at calibrations only.
    """
    return float(chdtri(2 * failures + 2, 1.0 - confidence)) / (2.0 * total)


@dataclass(frozen=True)
class _Likelihood:
    passed: float  # sum of the months of those in tolerance
    out: Floats  # months of those out of tolerance

    def value(self, rate: float) -> float:
        if math.isinf(rate):  # the best, where all were out of tolerance
            return 0.0
        return -rate * self.passed + float(np.log(-np.expm1(-rate * self.out)).sum())

    def slope(self, rate: float) -> float:
        return -self.passed + float((self.out / np.expm1(rate * self.out)).sum())

    def best(self) -> float:
        """The slope falls throughout; from 1/lambda - t < t/(exp(lambda t) - 1) < 1/lambda it is 0 between these two rates."""
        low, high = self.out.size / (self.passed + float(self.out.sum())), self.out.size / self.passed
        return float(brentq(self.slope, low, high, xtol=1e-15, rtol=1e-13))

    def lower_limit(self, best: float, least: float) -> float:
        """Where ln L falls below `least` on the way down from the best rate; ln(1 - exp(-lambda t)) is below ln(lambda t)."""
        lowest = math.exp((least - float(np.log(self.out).sum())) / self.out.size)
        # Where all were out, ln(1 - exp(-x)) is above -1/(exp(x) - 1).
        inside = best if math.isfinite(best) else math.log1p(-self.out.size / least) / float(self.out.min())
        return self._crossing(lowest, inside, least)

    def upper_limit(self, best: float, least: float) -> float:
        """The same on the way up, where ln L is below -lambda sum(t_i, in tolerance); infinite where the best rate is."""
        if math.isinf(best):
            return math.inf
        return self._crossing(best, -least / self.passed, least)

    def _crossing(self, low: float, high: float, least: float) -> float:
        return float(brentq(lambda rate: self.value(rate) - least, low, high, xtol=1e-15, rtol=1e-13))
