"""Generalised least-squares polynomials: uncertainty in both variables, and covariances (ISO/TS 28037 clauses 7 to 10).

    y_i = p(xi_i) + e_i,    x_i = xi_i + d_i,    p(x) = sum over k of b_k t^k,    minimise (d, e) V^-1 (d, e)^T

| uncertainty                                        | clause | function                              |
|----------------------------------------------------|--------|---------------------------------------|
| y only, independent                                | 6      | `calib.curves.regression.weighted`    |
| x and y, independent                               | 7      | `distance_regression`                 |
| x and y, covariance within each pair (x_i, y_i)    | 8      | `distance_regression`                 |
| y only, covariances between points                 | 9      | `gauss_markov_regression`             |
| x and y, any covariances                           | 10     | `generalised_gauss_markov_regression` |

The standard treats straight lines; degrees above 1 are the same method with p'(xi) in the place of the slope. Each iteration
linearises p at the adjusted xi and solves for the coefficients by Cholesky whitening and QR (Gauss-Helmert model; A. J. Pope,
1972, from memory). Its fixed points are the stationary points of the sum of squares, not those of a linearised one. V may be
singular, as it is where all x share one unknown offset; the errors that remain across the curve may not.

Validity: n up to about a thousand points (dense matrices); uncertainties of x small against the distance over which the slope
changes. Of several minima the one near the unweighted fit is found. The covariance of the coefficients is that of the model
linearised at the adjusted points (ISO/TS 28037, 7.3; D. York et al., Am. J. Phys. 72 (2004) 367), not scaled by chi-squared.
"""

from collections.abc import Sequence
from contextlib import suppress
from dataclasses import dataclass

import numpy as np
from numpy.polynomial.polynomial import polyval

from calib.arrays import Floats, Truths
from calib.curves.regression import Polynomial, named, refuse_points, weighted
from calib.errors import CurveError

MOST_ITERATIONS = 200
# An iteration has settled when no step moves anything by more than SMALL of its uncertainty; or when the steps are below
# STILL_SMALL and PATIENCE of them bring no further gain: the rounding of floats. NOISE, as a part of the size of what moves, is
# added to the uncertainty, since rounding moves what has next to no uncertainty too.
SMALL = 1e-12
STILL_SMALL = 1e-6
PATIENCE = 10
NOISE = 1e-3
# An eigenvalue of a correlation matrix that is negative by no more than this is the rounding of its entries.
NEGATIVE = 1e-10
# Points whose uncertainty, given the errors of the others, is no more than this part of the whole are fully correlated.
LEAST_OWN = 1e-7


@dataclass(frozen=True)
class GeneralisedFit:
    """Fitted polynomial with what the iteration says. A fit that does not converge raises CurveError instead."""

    polynomial: Polynomial  # residuals are y - p(x) at the x given; chi_squared is the minimum of (d, e) V^-1 (d, e)^T
    adjusted_x: Floats  # (n,) xi: the estimates of the true x [unit of x]
    normalised_residuals: Floats  # (n,) distance from the curve over its standard uncertainty [1]
    iterations: int  # steps taken
    last_move: float  # by which part of its uncertainty the last step moved a point of the curve at most [1]
    converged: bool  # whether that is as little as the constants of this module ask for


@dataclass(frozen=True)
class _Points:
    """Points brought to t, with the three blocks of V."""

    t: Floats  # (n,)
    y: Floats  # (n,)
    of_t: Floats  # (n, n) covariance within t
    of_t_and_y: Floats  # (n, n) covariance of t_i with y_k
    of_y: Floats  # (n, n) covariance within y


@dataclass(frozen=True)
class _Step:
    """One linearised solution."""

    coefficients: Floats  # (p,)
    xi: Floats  # (n,) in t
    inverse_root: Floats  # (p, p) R^-1: the covariance of the coefficients is R^-1 R^-T
    chi_squared: float
    normalised_residuals: Floats  # (n,)
    moved: float  # largest move of a point of the curve, or of xi along it, over its uncertainty


def distance_regression(
    x: Floats,
    y: Floats,
    u_x: Floats,
    u_y: Floats,
    degree: int,
    covariance_xy: Floats | None = None,
) -> GeneralisedFit:
    """Fit with standard uncertainties of x and y, points independent of one another (ISO/TS 28037 clauses 7 and 8).

    x, y, u_x, u_y are (n,), u_x and u_y above 0; `covariance_xy` (n,) is cov(x_i, y_i), 0 where it is not given, with
    |cov(x_i, y_i)| at most u_x u_y. Where some x are exactly known: `generalised_gauss_markov_regression`. Raises CurveError.
    """
    refuse_points(~((u_x > 0) & (u_y > 0)) | np.isinf(u_x + u_y), "both uncertainties must be above 0 and finite")
    within = np.zeros_like(u_x) if covariance_xy is None else covariance_xy
    refuse_points(
        ~(np.abs(within) <= u_x * u_y * (1.0 + NEGATIVE)), "the covariance of x and y exceeds u(x) u(y): correct either"
    )
    return _fit(x, y, np.diag(u_x**2), np.diag(within), np.diag(u_y**2), degree)


def gauss_markov_regression(x: Floats, y: Floats, covariance_y: Floats, degree: int) -> GeneralisedFit:
    """Fit with a covariance matrix (n, n) of y, x exactly known (Gauss-Markov regression, ISO/TS 28037 clause 9).

    C = (X^T V^-1 X)^-1. V must be positive definite: with errors common to several points goes an own part of each. Raises
    CurveError.
    """
    _check_covariance(covariance_y, y.size, 1)
    nothing = np.zeros_like(covariance_y)
    return _fit(x, y, nothing, nothing, covariance_y, degree)


def generalised_gauss_markov_regression(x: Floats, y: Floats, covariance: Floats, degree: int) -> GeneralisedFit:
    """Fit with a covariance matrix (2n, 2n) of (x_1 ... x_n, y_1 ... y_n) (ISO/TS 28037 clause 10).

    It may be singular; the rows of an x that is exactly known are 0. Raises CurveError.
    """
    _check_covariance(covariance, y.size, 2)
    n = x.size
    return _fit(x, y, covariance[:n, :n], covariance[:n, n:], covariance[n:, n:], degree)


def _check_covariance(covariance: Floats, n: int, blocks: int) -> None:
    """Raise CurveError unless the matrix is (blocks n, blocks n), symmetric and positive semi-definite; names the points."""
    size = n * blocks
    if covariance.shape != (size, size):
        raise CurveError(f"the covariance matrix of {n} points must be {size} by {size}, not {covariance.shape}")
    variance = np.diag(covariance)
    wrong = ~np.isfinite(covariance) | np.diag(variance < 0)
    _refuse_entries(wrong, n, "covariances must be finite and variances not below 0")
    u = np.sqrt(variance)[:, np.newaxis]
    unequal = np.abs(covariance - covariance.T) > NEGATIVE * u * u.max()
    _refuse_entries(unequal, n, "the covariance matrix is not symmetric there: cov(a, b) is cov(b, a)")
    _refuse_entries((covariance != 0) & (u == 0), n, "a covariance, but no variance: give the variance")
    scale = np.where(u > 0, u, np.inf)
    why = "the covariance matrix is not positive semi-definite: lower the covariances there"
    _refuse_entries(np.diag(_below(covariance / (scale * scale.T), -NEGATIVE * size)), n, why)


def _below(correlation: Floats, limit: float) -> Truths:
    """Which rows make up the directions in which a correlation matrix is below a limit."""
    values, vectors = np.linalg.eigh(correlation)
    return of_weight(np.linalg.norm(vectors[:, values < limit], axis=1))


def of_weight(parts: Floats) -> Truths:
    """Which of them have a large part in a direction, from their parts of it (n,), 0 or above."""
    return np.asarray(parts > 0.3 * parts.max())


def _refuse_entries(wrong: Truths, n: int, why: str) -> None:
    """Name the points in whose rows an entry of the matrix is wrong."""
    rows = np.asarray(wrong.any(axis=1))  # those of y last, after those of x if there are any
    refuse_points(rows[:n] | rows[-n:], why)


def _fit(
    x: Floats,
    y: Floats,
    of_x: Floats,
    of_x_and_y: Floats,
    of_y: Floats,
    degree: int,
) -> GeneralisedFit:
    start = weighted(x, y, np.ones_like(y), degree)
    centre, width = start.centre, start.half_width
    points = _Points((x - centre) / width, y, of_x / width**2, of_x_and_y / width, of_y)
    last, iterations = _iterate(points, start.coefficients)
    b = last.coefficients
    covariance = last.inverse_root @ last.inverse_root.T
    residuals = y - polyval(points.t, b)
    polynomial = Polynomial(centre, width, b, covariance, x.size - b.size, last.chi_squared, residuals)
    return GeneralisedFit(
        polynomial, centre + width * last.xi, last.normalised_residuals, iterations, last.moved, converged=True
    )


@np.errstate(over="ignore", invalid="ignore")
def _iterate(points: _Points, coefficients: Floats) -> tuple[_Step, int]:
    """The step that moves nothing any more, and how many were taken; raises CurveError where there is none."""
    step = _step(points, coefficients, points.t)
    moved = [step.moved]
    # Adjusted points may fall together, and no longer determine the coefficients, or run away to where floats end.
    with suppress(ValueError):
        while not settled(moved) and len(moved) < MOST_ITERATIONS:
            step = _step(points, step.coefficients, step.xi)
            moved.append(step.moved)
    if settled(moved):
        return step, len(moved)
    far = np.argsort(-np.abs(step.normalised_residuals))[:3]
    raise CurveError(
        f"no convergence in {len(moved)} iterations; farthest from the curve are points "
        f"{', '.join(str(k + 1) for k in far)}: check these and their uncertainties, or take a lower degree"
    )


def settled(moved: Sequence[float]) -> bool:
    """Whether an iteration has come to rest, by the largest move of each step so far, in parts of the uncertainty."""
    before, latest = moved[:-PATIENCE], moved[-PATIENCE:]
    at_rounding = bool(before) and max(latest) <= STILL_SMALL and min(latest) >= 0.9 * min(before)
    return moved[-1] <= SMALL or at_rounding


def _step(points: _Points, b: Floats, xi: Floats) -> _Step:
    """Solve y - p(xi) - p'(xi) (t - xi) = A db + errors across the curve, whose covariance is (-p', 1) V (-p', 1)^T."""
    from scipy.linalg import solve_triangular  # noqa: PLC0415 (a tenth of a second, which no stored curve needs)

    powers = np.vander(xi, b.size, increasing=True)
    slope = powers[:, :-1] @ (np.arange(1, b.size) * b[1:])
    with_t = points.of_t_and_y - points.of_t * slope  # (n, n) covariance of t with the errors across the curve
    across = points.of_y - points.of_t_and_y.T * slope - slope[:, np.newaxis] * with_t
    u = _uncertainty_across(points, slope, across)
    root = _root(across, u)
    distance = points.y - powers @ b - slope * (points.t - xi)
    whitened = solve_triangular(root, np.column_stack([powers, distance]), lower=True)
    q, r = np.linalg.qr(whitened[:, :-1])
    inverse_root = solve_triangular(r, np.eye(b.size))
    change = inverse_root @ (q.T @ whitened[:, -1])
    left = whitened[:, -1] - whitened[:, :-1] @ change
    adjusted = points.t - with_t @ solve_triangular(root, left, lower=True, trans="T")
    moves = np.abs([powers @ change, slope * (adjusted - xi)]) / (u + NOISE * np.max(np.abs(points.y)))
    return _Step(b + change, adjusted, inverse_root, float(left @ left), distance / u, float(moves.max()))


def _uncertainty_across(points: _Points, slope: Floats, across: Floats) -> Floats:
    """(n,) standard uncertainties of the errors across the curve; refuses points that have none."""
    variance = np.diag(across)
    apart = np.diag(points.of_y) + slope**2 * np.diag(points.of_t)
    refuse_points(
        ~(variance > NEGATIVE * apart), "no uncertainty remains across the curve: add the point's own, independent part"
    )
    return np.sqrt(variance)


def _root(across: Floats, u: Floats) -> Floats:
    """(n, n) lower root L of the covariance L L^T across the curve; raises CurveError where errors are fully correlated."""
    correlation = across / np.outer(u, u)
    try:
        root = np.linalg.cholesky(correlation)
    except np.linalg.LinAlgError:
        root = np.zeros_like(correlation)
    if not np.diag(root).min() > LEAST_OWN:
        together = named(_below(correlation, LEAST_OWN))
        raise CurveError(f"{together}: their errors are fully correlated: add to each its own, independent part")
    return np.asarray(u[:, np.newaxis] * root)
