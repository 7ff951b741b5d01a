"""Drift of an error of indication, and the time until it reaches a limit (ILAC-G24 / OIML D 10, control chart methods).

Two views of one history at one indication.

*Line*: the errors against time, straight line by generalised least squares with the uncertainties that the certificates state.
Adjustments are taken out: y_i = e_left,i - sum over later calibrations j of (e_found,j - e_left,j), the error as the instrument
stands now. Of a comparison's uncertainty the independent part is its own; the reference part is one draw for the certificate, so it
cancels in an adjustment. Whether a laboratory's next certificate repeats it (then it moves the level of the line and not its
slope) or draws it anew (then the slope) is not stated: the line is fitted as if drawn anew, and the variance of whatever is
read off it is the larger of the two. If chi^2 exceeds its 95 % quantile for n-2 degrees of freedom, variances are multiplied by
chi^2/(n-2) and k is Student's t; never scaled below 1, and else k = 2.

*Changes*: the changes d_i between calibrations alone, as steps of a drifting random walk with variance per time w^2:

    b = sum d_i/sum t_i,   w^2 = sum (d_i - b t_i)^2/t_i/(m-1),   u^2(tau) = w^2 (tau + tau^2/sum t_i),   k = t with m-1

They need no stated uncertainty and show how the instrument wandered; the line shows where it went.
"""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtri

from calib.arrays import Floats
from calib.confirmation.history import (
    DAYS_IN_A_YEAR,
    CalibrationErrors,
    Changes,
    ErrorPoints,
    History,
    unbroken,
    years_between,
)
from calib.uncertainty.coverage import coverage_factor

FEWEST_CALIBRATIONS = 3  # of a line
FEWEST_CHANGES = 3
_LONGEST_LOOK = 10.0  # years


@dataclass(frozen=True)
class Drift:
    """Drift at one indication, from the last calibration on. In the unit of the indication."""

    since: date  # the last calibration
    level: float  # error then, as the instrument was left
    rate: float  # [unit/year]
    rate_uncertainty: float  # standard
    coverage_factor: float
    degrees_of_freedom: float  # infinite where the uncertainties are those that certificates state
    calibrations: int
    variance: Callable[[Floats], Floats]  # of the error at times since the last calibration [years]

    def error(self, years: ArrayLike) -> Floats:
        """Error to be expected at times since the last calibration [years]; below 0 before it."""
        return self.level + self.rate * np.asarray(years, dtype=float)

    def band(self, years: ArrayLike) -> Floats:
        """Half-width of the confidence band there."""
        return self.coverage_factor * np.sqrt(self.variance(np.asarray(years, dtype=float)))

    @property
    def rate_band(self) -> float:
        """Half-width of the confidence interval of the rate [unit/year]."""
        return self.coverage_factor * self.rate_uncertainty


@dataclass(frozen=True)
class DriftLine(Drift):
    """Drift by the line through the errors."""

    years: Floats  # (n,) times of the calibrations, 0 for the last
    errors: Floats  # (n,) with adjustments taken out
    expanded_uncertainties: Floats  # (n,) k = 2
    chi_squared: float
    scale: float  # of the variances, 1 where chi^2 does not reject


def drift_line(history: History, x: float) -> DriftLine | None:
    """The line through the errors at an indication; None where fewer than three calibrations tell of it without a break."""
    run = unbroken(history, x)
    if len({calibration.on for calibration in run}) < FEWEST_CALIBRATIONS:
        return None
    years = np.array([years_between(run[-1].on, calibration.on) for calibration in run])
    errors, anew, repeated = _errors(run, x)
    design = np.column_stack([np.ones(years.size), years])
    inverse = np.linalg.inv(anew)
    estimator = np.linalg.solve(design.T @ inverse @ design, design.T @ inverse)
    level, rate = estimator @ errors
    residual = errors - design @ (level, rate)
    chi_squared, dof = float(residual @ inverse @ residual), len(run) - 2
    scale = chi_squared / dof if chi_squared > chdtri(dof, 0.05) else 1.0
    covariances = [scale * estimator @ covariance @ estimator.T for covariance in (anew, repeated)]
    own = float(dof) if scale > 1 else np.inf
    return DriftLine(
        run[-1].on,
        float(level),
        float(rate),
        float(np.sqrt(max(covariance[1, 1] for covariance in covariances))),
        float(coverage_factor(own)),
        own,
        len(run),
        lambda at: np.maximum(*(_along(covariance, at) for covariance in covariances)),
        years,
        errors,
        2.0 * np.sqrt(np.diag(anew)),
        chi_squared,
        scale,
    )


def _along(covariance: Floats, years: Floats) -> Floats:
    return np.asarray(covariance[0, 0] + 2.0 * years * covariance[0, 1] + years**2 * covariance[1, 1])


def _errors(run: History, x: float) -> tuple[Floats, Floats, Floats]:
    """Errors y (n,) with adjustments taken out; their covariances with the reference part drawn anew each time, and repeated."""
    n = len(run)
    left = [calibration.as_left.at(x) for calibration in run]
    as_found = [_found(calibration).at(x) for calibration in run]
    stacked = [*as_found, *left]
    combined = np.hstack([np.zeros((n, n)), np.eye(n)])
    for j, calibration in enumerate(run):
        if calibration.adjusted:  # the first may have nothing as found, and none before it
            combined[:j, j] -= 1.0
            combined[:j, n + j] += 1.0
    values = np.array([float(point.error) for point in stacked])
    own = np.diag([float(point.independent) ** 2 for point in stacked])
    reference = np.array([float(point.reference) for point in stacked])
    common = np.outer(reference, reference)
    certificates = np.tile(np.arange(n), 2)
    laboratories = np.tile(np.unique([calibration.laboratory for calibration in run], return_inverse=True)[1], 2)
    anew, repeated = (
        own + np.where(np.equal.outer(group, group), common, 0.0) for group in (certificates, laboratories)
    )
    return combined @ values, combined @ anew @ combined.T, combined @ repeated @ combined.T


def _found(calibration: CalibrationErrors) -> ErrorPoints:
    return calibration.as_left if calibration.as_found is None else calibration.as_found


def wandering(history: History, changes: Changes, x: float) -> Drift | None:
    """Drift by the changes at an indication, the first column of `seen`; None where fewer than three are known."""
    known = np.isfinite(changes.change[:, 0])
    d, t = changes.change[known, 0], changes.years[known]
    level = float(history[-1].as_left.at(x).error) if history else np.nan
    if d.size < FEWEST_CHANGES or np.isnan(level):
        return None
    total, dof = float(t.sum()), d.size - 1
    rate = float(d.sum()) / total
    per_time = float(((d - rate * t) ** 2 / t).sum()) / dof
    return Drift(
        history[-1].on,
        level,
        rate,
        float(np.sqrt(per_time / total)),
        float(coverage_factor(float(dof))),
        float(dof),
        d.size + 1,
        lambda at: per_time * (np.abs(at) + at**2 / total),
    )


def time_to(limit: float, drift: Drift, corrected: float = 0.0) -> float | None:
    """Time since the last calibration until |error| + band reaches a limit [years]; None where it does not in ten years.

    `corrected` is the part of the error that users correct for. 0 where the limit is reached already. The days are tried one after
    the other: neither term need rise throughout.
    """
    years = np.arange(0.0, _LONGEST_LOOK * DAYS_IN_A_YEAR) / DAYS_IN_A_YEAR
    reached = np.abs(drift.error(years) - corrected) + drift.band(years) >= limit
    return float(years[np.argmax(reached)]) if reached.any() else None
