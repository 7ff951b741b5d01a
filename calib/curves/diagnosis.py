"""What a least-squares fit says of itself: leave-one-out, lack of fit, points that stand out.

All of it from the whitened problem: rows of the Jacobian and residuals, each divided by the standard uncertainty of its point.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc, ndtri, stdtrit

from calib.arrays import Floats

_SIGNIFICANCE = 0.05


@dataclass(frozen=True)
class Whitened:
    """A fit of n points with p coefficients at its solution."""

    jacobian: Floats  # (n, p) d(model)/d(coefficient) over u of the point
    residuals: Floats  # (n,) residual over u of the point
    scatter_known: bool  # False: u is one common value estimated from these residuals

    @property
    def degrees_of_freedom(self) -> int:
        """n - p."""
        return int(self.jacobian.shape[0] - self.jacobian.shape[1])


def leverage(fit: Whitened) -> Floats:
    """(n,) leverage of each point: diagonal of J (J^T J)^-1 J^T, from 0 to 1; 1 means the curve goes through the point."""
    q, _ = np.linalg.qr(fit.jacobian)
    return np.asarray(np.einsum("ij,ij->i", q, q))


def leave_one_out(fit: Whitened) -> Floats:
    """(n,) whitened residual of each point from the curve fitted without it: r_i/(1 - h_i); infinite where h_i = 1.

    Source: NIST/SEMATECH e-Handbook 4.4.4 names it (deleted residuals); the identity is that of linear least squares.
    """
    apart = 1.0 - leverage(fit)
    return np.divide(fit.residuals, apart, out=np.full_like(apart, np.inf), where=apart > 1e-12)


def outliers(fit: Whitened) -> list[int]:
    """Places of points that stand out at 5 % after Bonferroni: named for a person to judge, never dropped from the fit.

    One after the other, the one that stands out most first: the next is judged by the curve without it, since a point far off pulls
    the curve away from its neighbours. With known u the residual over its own standard uncertainty is compared with the normal
    distribution; with unknown u the residual studentised without its point, with Student's t of n - p - 1 degrees of freedom.
    """
    left = list(range(fit.residuals.size))
    named: list[int] = []
    while len(left) - fit.jacobian.shape[1] >= 2:
        rest = _refitted(fit, left)
        size = _standing_out(rest)
        place = int(np.argmax(size))
        if size[place] <= _limit(rest):
            break
        named.append(left.pop(place))
    return sorted(named)


def _refitted(fit: Whitened, left: list[int]) -> Whitened:
    jacobian, residuals = fit.jacobian[left], fit.residuals[left]
    change, *_ = np.linalg.lstsq(jacobian, residuals)
    return Whitened(jacobian, residuals - jacobian @ change, fit.scatter_known)


def _standing_out(fit: Whitened) -> Floats:
    apart = np.sqrt(np.clip(1.0 - leverage(fit), 1e-12, None))
    standardised = np.abs(fit.residuals) / apart
    if fit.scatter_known:
        return standardised
    degrees = fit.degrees_of_freedom
    variance = float(np.sum(fit.residuals**2)) / degrees
    internal = standardised**2 / variance if variance > 0 else np.zeros_like(standardised)
    return np.asarray(np.sqrt(internal * (degrees - 1) / np.clip(degrees - internal, 1e-300, None)))


def _limit(fit: Whitened) -> float:
    quantile = 1.0 - _SIGNIFICANCE / (2 * fit.residuals.size)
    return float(ndtri(quantile) if fit.scatter_known else stdtrit(fit.degrees_of_freedom - 1, quantile))


@dataclass(frozen=True)
class LackOfFit:
    """F test of lack of fit against pure error (NIST/SEMATECH e-Handbook 4.4.4.6)."""

    f: float
    degrees_of_freedom: tuple[int, int]  # of lack of fit, of pure error
    probability: float  # of an F at least as large, were the curve right


def lack_of_fit(x: Floats, fit: Whitened) -> LackOfFit | None:
    """Lack of fit, where some indications were compared more than once; None where none was.

    With equal weights the pure error is the scatter of the residuals about their mean at each indication.
    """
    places, place = np.unique(x, return_inverse=True)
    counts = np.bincount(place)
    means = np.bincount(place, fit.residuals) / counts
    pure = float(np.sum((fit.residuals - means[place]) ** 2))
    lacking = float(np.sum(fit.residuals**2)) - pure
    above, below = places.size - fit.jacobian.shape[1], x.size - places.size
    # Without a repeated indication each residual is its own mean: the pure error is 0 to the bit.
    if above < 1 or pure <= 0:
        return None
    f = (lacking / above) / (pure / below)
    return LackOfFit(f, (above, below), float(fdtrc(above, below, f)))
