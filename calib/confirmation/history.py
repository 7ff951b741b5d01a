"""History of an instrument's errors of indication over its calibrations (VIM 4.20; ILAC-G24 / OIML D 10).

    error of indication     e = indication - reference, taken at the same indications all through the history
    change over interval i  d_i(x) = e_found,i(x) - e_left,i-1(x): as found at its end, as left at its beginning

Indications differ a little from certificate to certificate: errors are interpolated linearly between neighbouring points.
Nothing here reads a clock, and nothing stores.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import pairwise

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats

DAYS_IN_A_YEAR = 365.25
MONTHS_IN_A_YEAR = 12

# Beyond its last point a certificate speaks for a quarter of the gap to the point before: nominal points are set anew each time,
# and never come out at the very same indication (common practice, no source).
_REACH = 0.25


@dataclass(frozen=True)
class ErrorPoints:
    """Errors of indication of one certificate in one phase, at rising indications. Arrays (m,), all in one unit."""

    indication: Floats
    error: Floats  # indication - reference
    independent: (
        Floats  # standard uncertainty of the comparison's own repeatability and resolution; 0 where not stated apart
    )
    reference: Floats  # U/k of the reference value: common to the points of the certificate

    def at(self, x: ArrayLike) -> "ErrorPoints":
        """The same at other indications, interpolated linearly; NaN where the certificate does not reach."""
        asked = np.asarray(x, dtype=float)
        low, high = self._ends()
        outside = (asked < low) | (asked > high)
        columns = (self.error, self.independent, self.reference)
        interpolated = [np.where(outside, np.nan, np.interp(asked, self.indication, column)) for column in columns]
        return ErrorPoints(asked, *interpolated)

    def _ends(self) -> tuple[float, float]:
        points = self.indication
        if points.size < 2:
            return float(points[0]), float(points[0])
        return float(points[0] - _REACH * (points[1] - points[0])), float(
            points[-1] + _REACH * (points[-1] - points[-2])
        )


def error_points(reference: Floats, indication: Floats, independent: Floats, u_reference: Floats) -> ErrorPoints:
    """Errors from the comparisons of one phase, at least one; of several at one indication the mean, with the largest U/k."""
    nodes, place, count = np.unique(indication, return_inverse=True, return_counts=True)
    error = np.bincount(place, indication - reference) / count
    own = np.sqrt(np.bincount(place, independent**2)) / count
    largest = np.zeros_like(nodes)
    np.maximum.at(largest, place, u_reference)
    return ErrorPoints(nodes, error, own, largest)


@dataclass(frozen=True)
class CalibrationErrors:
    """What one certificate says of the instrument's errors."""

    on: date
    certificate: str
    laboratory: str
    as_found: ErrorPoints | None  # absent: it was not compared as found
    as_left: ErrorPoints  # as left; those as found where it was not adjusted
    repaired_before: bool = False  # since the calibration before
    accepted: bool = True

    @property
    def adjusted(self) -> bool:
        """Whether it was compared again after an adjustment."""
        return self.as_left is not self.as_found

    @property
    def tells_change(self) -> bool:
        """Whether it shows what happened since the calibration before: compared as found, and not repaired meanwhile."""
        return self.as_found is not None and not self.repaired_before


History = Sequence[CalibrationErrors]  # in the order of their days


def one_a_day(history: History) -> tuple[CalibrationErrors, ...]:
    """Of several certificates of one day the last, which is the one that counts for the gate.

    A certificate that was typed wrong and recorded again is no further calibration: counted twice it would narrow every band.
    """
    last_of_days: list[CalibrationErrors] = []
    for calibration in history:
        if last_of_days and last_of_days[-1].on == calibration.on:
            before = last_of_days.pop()
            calibration = replace(calibration, repaired_before=before.repaired_before or calibration.repaired_before)  # noqa: PLW2901 (the same day)
        last_of_days.append(calibration)
    return tuple(last_of_days)


@dataclass(frozen=True)
class Changes:
    """Changes of the error over m intervals, at p indications."""

    until: tuple[date, ...]  # (m,) ends of the intervals
    years: Floats  # (m,) their lengths
    change: Floats  # (m, p) d_i(x); NaN where a certificate does not reach


def changes_between(history: History, x: ArrayLike) -> Changes:
    """Changes between successive calibrations at indications x (p,).

    An interval counts where the certificate at its end has comparisons as found, and no repair lies between: what a repair
    changed is not what time did.
    """
    asked = np.atleast_1d(np.asarray(x, dtype=float))
    ends, years, changes = [], [], []
    for before, after in pairwise(history):
        if after.as_found is not None and after.tells_change and after.on > before.on:
            ends.append(after.on)
            years.append(years_between(before.on, after.on))
            changes.append(after.as_found.at(asked).error - before.as_left.at(asked).error)
    return Changes(tuple(ends), np.array(years), np.array(changes).reshape(len(changes), asked.size))


def years_between(first: date, last: date) -> float:
    """Time from a day to another [years of 365.25 days]."""
    return (last - first).days / DAYS_IN_A_YEAR


def unbroken(history: History, x: float) -> History:
    """The latest part of the history that nothing breaks at an indication.

    It is broken before a certificate that does not tell the change since the one before, and after one that does not reach x.
    """
    start = len(history)
    for place in range(len(history) - 1, -1, -1):
        calibration = history[place]
        if np.isnan(calibration.as_left.at(x).error) or (
            calibration.as_found is not None and np.isnan(calibration.as_found.at(x).error)
        ):
            break
        start = place
        if not calibration.tells_change:
            break
    return history[start:]
