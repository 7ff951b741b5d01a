"""Stability since calibration, from an instrument's own history (GUM 4.2; ILAC-G24 / OIML D 10).

Over m intervals of lengths t_i, on the average T, the error at an indication changed by d_i:

    s^2 = (1/m) sum d_i^2 T/t_i                    change to be expected in an interval T
    u(tau) = s max(sqrt(tau/T), tau/T)             standard uncertainty of the change at a time tau since the calibration
    nu = 2 m^2/(3 m - 1)                           degrees of freedom

Why so. A steady drift d_i = b t_i gives s = b T exactly, whatever the intervals; a random walk of variance w^2 t gives the
expectation s^2 = w^2 T. So one estimate is right for both, and the two laws of growth meet at T: the larger of them is taken on
either side. The mean square is about zero and not about the mean change, since readings are not corrected for a drift. Nothing is
taken off for the uncertainty of the comparisons: what a laboratory repeats from one calibration to the next has cancelled in d_i by
an amount that no certificate states. So s never claims less than was seen, and the cost is that a very stable instrument bears
the scatter of its calibrations. The degrees of freedom are those of a sum of squares whose neighbours correlate by -1/2 (one
certificate ends an interval and begins the next), the worst case; m of them would hold where the comparisons are exact.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats
from calib.confirmation.history import Changes

FEWEST_INTERVALS = 3  # intervals, below which history is silent


@dataclass(frozen=True)
class Stability:
    """Stability at p indications. Arrays (p,)."""

    per_interval: Floats  # s [unit of the indication]; NaN where fewer than three intervals are known
    mean_interval: Floats  # T [years]
    intervals: Floats  # m

    @property
    def degrees_of_freedom(self) -> Floats:
        """2 m^2/(3 m - 1); NaN where history is silent."""
        m = np.where(np.isnan(self.per_interval), np.nan, self.intervals)
        return 2.0 * m**2 / (3.0 * m - 1.0)

    def uncertainty(self, years: ArrayLike) -> Floats:
        """Standard uncertainty of the change at times since the calibration [years]: one, or (p,)."""
        share = np.asarray(years, dtype=float) / self.mean_interval
        return self.per_interval * np.maximum(np.sqrt(share), share)


def stability(changes: Changes, least: float = 0.0) -> Stability:
    """Stability from the changes of a history; s is not below `least`, the change that the digits would hide."""
    known = np.isfinite(changes.change)
    m = known.sum(axis=0).astype(float)
    years = np.where(known, changes.years[:, np.newaxis], 0.0)
    rate = np.where(known, changes.change, 0.0) ** 2 / changes.years[:, np.newaxis]
    enough = m >= FEWEST_INTERVALS
    count = np.where(enough, m, np.nan)
    mean = years.sum(axis=0) / count
    s = np.sqrt(rate.sum(axis=0) / count * mean)
    return Stability(np.maximum(s, least), mean, m)
