"""Weighted least-squares polynomials (ISO/TS 28037 clause 6, extended to higher degrees).

The abscissa is first brought to t = (x - centre)/half_width in [-1, 1] and the system solved by QR, so that the condition number
stays small for any unit of x.
"""

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import chdtrc

from calib.errors import CurveError


@dataclass(frozen=True)
class Polynomial:
    """Fitted polynomial y(x) = sum over k of b_k t^k, t = (x - centre)/half_width, with what its fit says."""

    centre: float  # [unit of x]
    half_width: float  # [unit of x], above 0
    coefficients: NDArray[np.float64]  # (p,) in powers of t [unit of y]
    covariance: NDArray[np.float64]  # (p, p) of the coefficients [unit of y squared]
    degrees_of_freedom: float  # n - p
    chi_squared: float  # sum((residual/d)^2); with unknown d, the sum of squared residuals [unit of y squared]
    residuals: NDArray[np.float64]  # (n,) y - y(x) [unit of y]

    @property
    def degree(self) -> int:
        """Degree of the polynomial."""
        return self.coefficients.size - 1

    @property
    def probability(self) -> float:
        """Probability of a chi-squared at least as large, were the model and every d right (ISO/TS 28037, 6.3)."""
        return float(chdtrc(self.degrees_of_freedom, self.chi_squared))

    def powers(self, x: ArrayLike) -> NDArray[np.float64]:
        """(..., p) powers t^0 ... t^(p-1) at x: the row vectors j(x)."""
        return _powers(np.asarray(x, dtype=float), self.centre, self.half_width, self.degree)

    def value(self, x: ArrayLike) -> NDArray[np.float64]:
        """Value y(x) [unit of y]."""
        return np.asarray(self.powers(x) @ self.coefficients)

    def slope(self, x: ArrayLike) -> NDArray[np.float64]:
        """Derivative dy/dx at x [unit of y per unit of x]."""
        if self.degree == 0:
            return np.zeros_like(np.asarray(x, dtype=float))
        order = np.arange(1, self.degree + 1)
        return np.asarray(self.powers(x)[..., :-1] @ (order * self.coefficients[1:])) / self.half_width

    def standard_uncertainty(self, x: ArrayLike) -> NDArray[np.float64]:
        """Standard uncertainty of y(x) from the scatter of the points: u^2 = j C j^T [unit of y]."""
        return np.asarray(np.sqrt(np.sum(self.parts(x) ** 2, axis=-1)))

    def parts(self, x: ArrayLike) -> NDArray[np.float64]:
        """(..., p) orthogonal signed parts j(x) L of that uncertainty, C = L L^T: values at two x share them [unit of y]."""
        return np.asarray(self.powers(x) @ cholesky_of(self.covariance))

    def in_powers_of_x(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Coefficients in powers of x itself, and their covariance: for print, and for comparison with published fits."""
        size = self.degree + 1
        to_x = np.zeros((size, size))
        for k in range(size):
            for m in range(k + 1):
                to_x[m, k] = math.comb(k, m) * (-self.centre) ** (k - m) / self.half_width**k
        return to_x @ self.coefficients, to_x @ self.covariance @ to_x.T

    def in_unit(self, scale: float, offset: float) -> "Polynomial":
        """The same curve where x and y are numbers in another unit: x = scale * x' + offset, y = scale * y'."""
        return replace(
            self,
            centre=(self.centre - offset) / scale,
            half_width=self.half_width / scale,
            coefficients=self.coefficients / scale,
            covariance=self.covariance / scale**2,
            residuals=self.residuals / scale,
        )

    def inverse(self, y: float, u_y: float, low: float, high: float) -> tuple[float, float]:
        """The x in [low, high] with y(x) = y, and u(x) = sqrt(u^2(y) + u^2(y(x)))/|dy/dx| (ISO/TS 28037 clause 11).

        Raises CurveError where y is not passed exactly once between low and high.
        """
        own, _ = self.in_powers_of_x()
        own[0] -= y
        roots = np.roots(own[::-1])
        real = roots[np.abs(roots.imag) < 1e-9 * (1.0 + np.abs(roots))].real
        slack = 1e-9 * (high - low)  # a root at an end may come out a rounding error beyond it
        inside = np.clip(real[(real >= low - slack) & (real <= high + slack)], low, high)
        if inside.size != 1:
            raise CurveError(
                f"the value {y:g} is passed {inside.size} times between {low:g} and {high:g}: no single inverse"
            )
        x = float(inside[0])
        u = math.hypot(u_y, float(self.standard_uncertainty(x))) / abs(float(self.slope(x)))
        return x, u

    def scaled(self, factor: float) -> "Polynomial":
        """The same curve with its covariance multiplied by `factor`."""
        return replace(self, covariance=self.covariance * factor)


def cholesky_of(covariance: NDArray[np.float64]) -> NDArray[np.float64]:
    """L with C = L L^T for a covariance matrix that may be singular (a curve through its points has no scatter)."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.clip(values, 0.0, None)))


def _powers(x: NDArray[np.float64], centre: float, half_width: float, degree: int) -> NDArray[np.float64]:
    t = (x - centre) / half_width
    powers = np.ones((*x.shape, degree + 1))
    for k in range(degree):
        powers[..., k + 1] = powers[..., k] * t
    return powers


def _fit(x: NDArray[np.float64], y: NDArray[np.float64], weight: NDArray[np.float64], degree: int) -> Polynomial:
    distinct = np.unique(x).size
    if distinct <= degree:
        raise CurveError(
            f"{distinct} different indication(s) make no curve of degree {degree}: compare at more indications"
        )
    low, high = float(x.min()), float(x.max())
    centre, half_width = 0.5 * (low + high), 0.5 * (high - low) or 1.0
    powers = _powers(x, centre, half_width, degree)
    q, r = np.linalg.qr(powers * weight[:, np.newaxis])
    coefficients = np.linalg.solve(r, q.T @ (y * weight))
    inverse = np.linalg.inv(r)
    residuals = y - powers @ coefficients
    chi_squared = math.fsum((residuals * weight) ** 2)
    return Polynomial(
        centre, half_width, coefficients, inverse @ inverse.T, x.size - degree - 1, chi_squared, residuals
    )


def weighted(x: NDArray[np.float64], y: NDArray[np.float64], u: NDArray[np.float64], degree: int) -> Polynomial:
    """Fit with known standard uncertainties u of y, weights 1/u^2: C = (X^T U^-1 X)^-1 (ISO/TS 28037, 6.3).

    x, y, u are (n,) with n - (degree + 1) >= 0 and u > 0. The covariance is what u claims; nothing is scaled here.
    Raises CurveError.
    """
    if not np.all(u > 0):
        raise CurveError(
            f"point(s) {', '.join(str(k + 1) for k in np.flatnonzero(~(u > 0)))}: the uncertainty must be above 0"
        )
    return _fit(x, y, 1.0 / u, degree)


def unweighted(x: NDArray[np.float64], y: NDArray[np.float64], degree: int) -> Polynomial:
    """Fit with unknown equal uncertainties: s^2 = sum(residual^2)/(n-p) scales the covariance (ISO/TS 28037 Annex E; GUM H.3).

    x and y are (n,) with n - (degree + 1) >= 1. Raises CurveError.
    """
    fit = _fit(x, y, np.ones_like(y), degree)
    if fit.degrees_of_freedom < 1:
        raise CurveError(f"{x.size} points leave nothing to estimate the scatter of a curve of degree {degree} from")
    return fit.scaled(fit.chi_squared / fit.degrees_of_freedom)
