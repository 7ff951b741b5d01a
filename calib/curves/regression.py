"""Weighted least-squares polynomials (ISO/TS 28037 clause 6, extended to higher degrees).

The abscissa is first brought to t = (x - centre)/half_width in [-1, 1]. The normal equations are then solved in integers: a float
is an integer times a power of two, so that sums of powers, elimination and residuals are exact whatever the condition number, and
each result is rounded once. Points that the curve passes through leave residuals of exactly 0.
"""

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import accumulate
from operator import mul

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from calib.arrays import Floats, Truths
from calib.errors import CurveError


@dataclass(frozen=True)
class Polynomial:
    """Fitted polynomial y(x) = sum over k of b_k t^k, t = (x - centre)/half_width, with what its fit says."""

    centre: float  # [unit of x]
    half_width: float  # [unit of x], above 0
    coefficients: Floats  # (p,) in powers of t [unit of y]
    covariance: Floats  # (p, p) of the coefficients [unit of y squared]
    degrees_of_freedom: float  # n - p
    chi_squared: float  # sum((residual/d)^2); with unknown d, the sum of squared residuals [unit of y squared]
    residuals: Floats  # (n,) y - y(x) [unit of y]

    @property
    def degree(self) -> int:
        """Degree of the polynomial."""
        return self.coefficients.size - 1

    @property
    def probability(self) -> float:
        """Probability of a chi-squared at least as large, were the model and every d right (ISO/TS 28037, 6.3)."""
        return float(chdtrc(self.degrees_of_freedom, self.chi_squared))

    def powers(self, x: ArrayLike) -> Floats:
        """(..., p) powers t^0 ... t^(p-1) at x: the row vectors j(x)."""
        return _powers(np.asarray(x, dtype=float), self.centre, self.half_width, self.degree)

    def value(self, x: ArrayLike) -> Floats:
        """Value y(x) [unit of y]."""
        return np.asarray(self.powers(x) @ self.coefficients)

    def slope(self, x: ArrayLike) -> Floats:
        """Derivative dy/dx at x [unit of y per unit of x]."""
        order = np.arange(1, self.degree + 1)
        return np.asarray(self.powers(x)[..., :-1] @ (order * self.coefficients[1:])) / self.half_width

    def standard_uncertainty(self, x: ArrayLike) -> Floats:
        """Standard uncertainty of y(x) from the scatter of the points: u^2 = j C j^T [unit of y]."""
        return np.asarray(np.sqrt(np.sum(self.parts(x) ** 2, axis=-1)))

    def parts(self, x: ArrayLike) -> Floats:
        """(..., p) orthogonal signed parts j(x) L of that uncertainty, C = L L^T: values at two x share them [unit of y]."""
        return np.asarray(self.powers(x) @ cholesky_of(self.covariance))

    def in_powers_of_x(self) -> tuple[Floats, Floats]:
        """Coefficients in powers of x itself, and their covariance: for print, and for comparison with published fits.

        Worked in fractions and rounded once, since the terms cancel where x is far from 0.
        """
        to_x = _to_powers_of_x(self.centre, self.half_width, self.degree)
        coefficients = _product(to_x, [[Fraction(value)] for value in self.coefficients.tolist()])
        covariance = [[Fraction(value) for value in row] for row in self.covariance.tolist()]
        in_x = _product(_product(to_x, covariance), list(zip(*to_x, strict=True)))
        return np.array(coefficients, dtype=float).ravel(), np.array(in_x, dtype=float)

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
        own = self.coefficients.copy()
        own[0] -= y
        roots = np.roots(own[::-1])
        real = self.centre + self.half_width * roots[roots.imag == 0].real
        inside = np.clip(real, low, high)  # a root at an end may come out a rounding error beyond it
        inside = inside[np.isclose(real, inside, rtol=0.0, atol=1e-9 * (high - low))]
        if inside.size != 1:
            raise CurveError(
                f"the value {y:g} is passed {inside.size} times between {low:g} and {high:g}: no single inverse"
            )
        x = float(inside.item())
        u = math.hypot(u_y, float(self.standard_uncertainty(x))) / abs(float(self.slope(x)))
        return x, u

    def scaled(self, factor: float) -> "Polynomial":
        """The same curve with its covariance multiplied by `factor`."""
        return replace(self, covariance=self.covariance * factor)


def cholesky_of(covariance: Floats) -> Floats:
    """L with C = L L^T for a covariance matrix that may be singular (a curve through its points has no scatter)."""
    values, vectors = np.linalg.eigh(covariance)
    return np.asarray(vectors * np.sqrt(np.clip(values, 0.0, None)))


def _powers(x: Floats, centre: float, half_width: float, degree: int) -> Floats:
    t = (x - centre) / half_width
    powers = np.ones((*x.shape, degree + 1))
    for k in range(degree):
        powers[..., k + 1] = powers[..., k] * t
    return powers


def _to_powers_of_x(centre: float, half_width: float, degree: int) -> list[list[Fraction]]:
    """(p, p) matrix that takes coefficients in powers of t to those in powers of x."""
    c, h = Fraction(centre), Fraction(half_width)
    orders = range(degree + 1)
    return [[math.comb(k, m) * (-c) ** (k - m) / h**k if k >= m else Fraction() for k in orders] for m in orders]


def _product(left: Sequence[Sequence[Fraction]], right: Sequence[Sequence[Fraction]]) -> list[list[Fraction]]:
    columns = list(zip(*right, strict=True))
    return [[sum((a * b for a, b in zip(row, column, strict=True)), Fraction()) for column in columns] for row in left]


def named(points: Truths) -> str:
    """Numbers, counted from 1, of the points that are marked (n,), for a message."""
    return f"point(s) {', '.join(str(k + 1) for k in np.flatnonzero(points))}"


def refuse_points(wrong: Truths, why: str) -> None:
    """Raise CurveError that names the points that are `wrong` (n,); pass where there are none."""
    if wrong.any():
        raise CurveError(f"{named(wrong)}: {why}")


def scale_of(x: Floats, degree: int) -> tuple[float, float]:
    """Centre and half-width of x (n,), which bring t into [-1, 1]; raises CurveError where x is too few for the degree."""
    distinct = len(set(x.tolist()))
    if distinct <= degree:
        raise CurveError(
            f"{distinct} different indication(s) make no curve of degree {degree}: compare at more indications"
        )
    low, high = float(x.min()), float(x.max())
    return 0.5 * low + 0.5 * high, 0.5 * high - 0.5 * low or 1.0


def _integers(values: Iterable[float]) -> tuple[list[int], int]:
    """Floats as integers over one common power of two, exactly."""
    ratios = [value.as_integer_ratio() for value in values]
    common = max(below for _, below in ratios)
    return [above * (common // below) for above, below in ratios], common


def _moments(t: list[int], y: list[int], w: list[int], degree: int) -> list[list[int]]:
    """Lower triangle of the sums of w^2 a b, where a and b run through t^0 ... t^degree, then y."""
    columns, moments = [], []
    for column in [*accumulate([t] * degree, _each_times, initial=w), _each_times(w, y)]:
        columns.append(column)
        moments.append([sum(map(mul, column, other)) for other in columns])
    return moments


def _each_times(left: list[int], right: list[int]) -> list[int]:
    return list(map(mul, left, right))


def _sweep(matrix: list[list[int]]) -> int:
    """Sweep a symmetric matrix [[S, r], [r^T, q]], its lower triangle, by all rows but the last, in place.

    It becomes d [[-S^-1, b], [b^T, q - r^T b]] with S b = r; returns d, the determinant of S. All divisions are exact (J. H.
    Goodnight, The American Statistician 33 (1979) 149; E. H. Bareiss, Math. Comp. 22 (1968) 565; both from memory).
    """
    before, size = 1, len(matrix)
    for k in range(size - 1):
        column = [*matrix[k][:k], *(row[k] for row in matrix[k:])]
        pivot = column[k]
        for m, row in enumerate(matrix):
            if m != k:
                factor = column[m]
                row[:] = [
                    (pivot * first - factor * other) // before if n != k else first
                    for n, (first, other) in enumerate(zip(row, column, strict=False))
                ]
        matrix[k][k] = -before
        before = pivot
    return before


def _solved(x: Floats, y: Floats, weight: Floats, scale: tuple[float, float], degree: int) -> Polynomial:
    """Solution of the normal equations in integers, each result rounded once."""
    *t, centre, half_width = _integers([*x.tolist(), *scale])[0]
    t = [t_k - centre for t_k in t]
    (y_whole, y_unit), (w, w_unit) = _integers(y.tolist()), _integers(weight.tolist())
    swept = _moments(t, y_whole, w, degree)
    d = _sweep(swept)
    *inverse, (*b, square) = swept
    widths = [half_width**k for k in range(degree + 1)]
    coefficients = np.array([b_k * width / (d * y_unit) for b_k, width in zip(b, widths, strict=True)])
    covariance = np.zeros((degree + 1, degree + 1))
    for k, row in enumerate(inverse):
        factor = -widths[k] * w_unit**2
        covariance[k, : k + 1] = [c_jk * width * factor / d for c_jk, width in zip(row, widths, strict=False)]
        covariance[: k + 1, k] = covariance[k, : k + 1]
    chi_squared = square / (d * (w_unit * y_unit) ** 2)
    residuals = np.array(_residuals(t, y_whole, b, d, y_unit))
    return Polynomial(*scale, coefficients, covariance, x.size - degree - 1, chi_squared, residuals)


def _residuals(t: list[int], y: list[int], b: list[int], d: int, unit: int) -> list[float]:
    """(y - sum b_k t^k/d)/unit, each rounded once."""
    fitted = [0] * len(t)
    for coefficient in reversed(b):
        fitted = [value * t_k + coefficient for value, t_k in zip(fitted, t, strict=True)]
    below = d * unit
    return [(value * d - own) / below for value, own in zip(y, fitted, strict=True)]


def _fit(x: Floats, y: Floats, weight: Floats, degree: int) -> Polynomial:
    refuse_points(~(np.isfinite(x) & np.isfinite(y)), "indication and value must be finite numbers")
    scale = scale_of(x, degree)
    try:
        return _solved(x, y, weight, scale, degree)
    except OverflowError:
        raise CurveError("numbers too large or too small for a curve: give them in another unit") from None


def _weights(u: Floats) -> Floats:
    refuse_points(~(u > 0) | np.isinf(u), "the uncertainty must be above 0 and finite")
    with np.errstate(over="ignore"):
        return np.asarray(1.0 / u)


def weighted(x: Floats, y: Floats, u: Floats, degree: int) -> Polynomial:
    """Fit with known standard uncertainties u of y, weights 1/u^2: C = (X^T U^-1 X)^-1 (ISO/TS 28037, 6.3).

    x, y, u are (n,) with n - (degree + 1) >= 0 and u > 0. The covariance is what u claims; nothing is scaled here.
    Raises CurveError.
    """
    return _fit(x, y, _weights(u), degree)


def unweighted(x: Floats, y: Floats, degree: int) -> Polynomial:
    """Fit with unknown equal uncertainties: s^2 = sum(residual^2)/(n-p) scales the covariance (ISO/TS 28037 Annex E; GUM H.3).

    x and y are (n,) with n - (degree + 1) >= 1. Raises CurveError.
    """
    fit = _fit(x, y, np.ones_like(y), degree)
    if fit.degrees_of_freedom < 1:
        raise CurveError(f"{x.size} points leave nothing to estimate the scatter of a curve of degree {degree} from")
    return fit.scaled(fit.chi_squared / fit.degrees_of_freedom)
