"""Nonlinear least squares: curves y = f(b, x) whose shape physics gives, such as King's law or a power law.

    minimise sum over i of ((y_i - f(b, x_i))/u_i)^2;    C = (J^T U^-1 J)^-1,    J = df/db at the minimum

Levenberg-Marquardt (J. J. More, 1978, as in MINPACK) comes near the minimum; Gauss-Newton steps by the singular values of the
scaled Jacobian then go on until the parameters move no more. Only these judge convergence.

Validity: errors of y independent, x exactly known; f smooth near the minimum; scatter small enough that f is straight over the
uncertainties of b. Several minima may exist: the one that `start` leads to is found.
"""

from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from calib.arrays import Floats
from calib.curves.generalised import MOST_ITERATIONS, NOISE, of_weight, settled
from calib.curves.regression import refuse_points
from calib.errors import CurveError

# f(b, x): parameters (p,), real or complex, and places (n, ...) -> values (n,)
ResponseModel = Callable[[NDArray[Any], Floats], NDArray[Any]]
# df/db(b, x): parameters (p,) and places (n, ...) -> (n, p)
Jacobian = Callable[[Floats, Floats], Floats]

# Of a scaled Jacobian: parameters are told apart where every direction of them changes the curve by more than this.
SINGULAR = 1e-13
# Of the imaginary parts that tell derivatives: its square is nothing beside any parameter.
STEP = 1e-30
# Levenberg-Marquardt goes on through long flat valleys.
TIGHT = 1e-15
MOST_EVALUATIONS = 2000


@dataclass(frozen=True)
class NonlinearFit:
    """Fitted parameters with what the iteration says. A fit that does not converge raises CurveError instead."""

    parameters: Floats  # (p,)
    covariance: Floats  # (p, p) of the parameters
    degrees_of_freedom: int  # n - p
    chi_squared: float  # sum((residual/u)^2); with unknown scatter, the sum of squared residuals [unit of y squared]
    residuals: Floats  # (n,) y - f(b, x) [unit of y]
    iterations: int  # evaluations of Levenberg-Marquardt and Gauss-Newton steps

    @property
    def standard_uncertainty(self) -> Floats:
        """(p,) standard uncertainties of the parameters."""
        return np.sqrt(np.diag(self.covariance))

    def scaled(self, factor: float) -> "NonlinearFit":
        """The same fit with its covariance multiplied by `factor`."""
        return replace(self, covariance=self.covariance * factor)


@dataclass(frozen=True)
class _Problem:
    """What is minimised."""

    model: ResponseModel
    jacobian: Jacobian
    x: Floats  # (n, ...)
    y: Floats  # (n,)
    u: Floats  # (n,) 1 where the scatter is unknown
    known: bool  # whether u is what is known of the scatter

    def distances(self, b: Floats) -> Floats:
        """(n,) what the model lies above the points, over u; a step to where it is not finite is never taken."""
        return (self.model(b, self.x) - self.y) / self.u

    def slopes(self, b: Floats) -> Floats:
        """(n, p) derivatives of the model over u."""
        return self.jacobian(b, self.x) / self.u[:, np.newaxis]

    def chi_squared(self, b: Floats) -> float:
        """Sum of squared residuals over u."""
        return float(np.sum(self.distances(b) ** 2))


@dataclass(frozen=True)
class _Step:
    """One Gauss-Newton step from b."""

    change: Floats  # (p,)
    covariance: Floats  # (p, p) = (J^T U^-1 J)^-1, times s^2 where the scatter is unknown
    moved: float  # largest change of a parameter, in parts of its uncertainty


def nonlinear_weighted(
    model: ResponseModel,
    x: Floats,
    y: Floats,
    u: Floats,
    start: Floats,
    jacobian: Jacobian | None = None,
    *,
    near: bool = False,
) -> NonlinearFit:
    """Fit with known standard uncertainties u of y: C = (J^T U^-1 J)^-1, not scaled by chi-squared.

    y and u are (n,), u above 0, x is (n, ...), `start` (p,) with p at most n; `near` the minimum, the Gauss-Newton steps are tried
    first and spare the way there. Without `jacobian`, see `complex_step`. Raises CurveError.
    """
    refuse_points(~(u > 0) | np.isinf(u), "the uncertainty must be above 0 and finite")
    return _fit(_Problem(model, jacobian or _by_complex_step(model), x, y, u, known=True), start, near=near)


def nonlinear_unweighted(
    model: ResponseModel,
    x: Floats,
    y: Floats,
    start: Floats,
    jacobian: Jacobian | None = None,
    *,
    near: bool = False,
) -> NonlinearFit:
    """Fit with unknown equal scatter: C = s^2 (J^T J)^-1, s^2 = sum(residual^2)/(n-p).

    y is (n,), x is (n, ...), `start` (p,) with p below n; `near` as for `weighted`. Without `jacobian`, see `complex_step`.
    Raises CurveError.
    """
    if y.size == start.size:
        raise CurveError(f"{y.size} points leave nothing to estimate the scatter of {start.size} parameters from")
    return _fit(
        _Problem(model, jacobian or _by_complex_step(model), x, y, np.ones_like(y), known=False), start, near=near
    )


def complex_step(model: ResponseModel, b: Floats, x: Floats) -> Floats:
    """(n, p) derivatives df/db_k = Im f(b + i h e_k)/h, h so small that they are as exact as f itself.

    For models of analytic functions (+, -, *, /, powers, exp, log, sqrt, sin ...): abs, minimum, maximum, comparisons and `.real`
    lose the imaginary part, and such a model needs its own Jacobian (J. N. Lyness, C. B. Moler, 1967, from memory). Raises
    CurveError where it is lost altogether.
    """
    columns = []
    for k in range(b.size):
        shifted = b.astype(complex)
        shifted[k] += 1j * STEP
        column = model(shifted, x)
        if not np.iscomplexobj(column):
            raise CurveError("the model loses imaginary parts: give its Jacobian")
        columns.append(column.imag / STEP)
    return np.column_stack(columns)


def _by_complex_step(model: ResponseModel) -> Jacobian:
    return lambda b, x: complex_step(model, b, x)


@np.errstate(all="ignore")
def _fit(problem: _Problem, start: Floats, *, near: bool) -> NonlinearFit:
    from scipy.optimize import least_squares  # noqa: PLC0415 (a quarter of a second, which no stored curve needs)

    n, p = problem.y.size, start.size
    if n < p:
        raise CurveError(f"{n} points determine no {p} parameters: compare at more places, or fix a parameter")
    refuse_points(
        ~np.isfinite(problem.distances(start)),
        "value or model is not finite at the start: correct it, or start elsewhere",
    )
    if near:
        with suppress(CurveError):  # not so near after all
            return _polished(problem, start, 0)
    solution = least_squares(
        problem.distances,
        start,
        problem.slopes,
        method="lm",
        x_scale="jac",
        ftol=TIGHT,
        xtol=TIGHT,
        gtol=TIGHT,
        max_nfev=MOST_EVALUATIONS,
    )
    return _polished(problem, solution.x, solution.nfev)


def _polished(problem: _Problem, b: Floats, evaluations: int) -> NonlinearFit:
    """Gauss-Newton steps until nothing moves; raises CurveError where they do not come to rest."""
    moved: list[float] = []
    while len(moved) < MOST_ITERATIONS:
        step = _step(problem, b)
        moved.append(step.moved)
        if settled(moved):
            residuals = -problem.distances(b) * problem.u
            dof, chi_squared = problem.y.size - b.size, problem.chi_squared(b)
            spent = evaluations + len(moved)
            return NonlinearFit(b, step.covariance, dof, chi_squared, residuals, spent)
        b = _not_worse(problem, b, step.change)
    far = np.argsort(-np.abs(problem.distances(b)))[:3]
    raise CurveError(
        f"no convergence in {evaluations + len(moved)} iterations; farthest from the curve are points "
        f"{', '.join(str(k + 1) for k in far)}: check these, start nearer, or take a curve of fewer parameters"
    )


def _step(problem: _Problem, b: Floats) -> _Step:
    slopes, distances = problem.slopes(b), problem.distances(b)
    nowhere = np.asarray(~np.isfinite(slopes).all(axis=1))
    refuse_points(nowhere, "the slope of the model is not finite there: start elsewhere")
    size = np.maximum(np.linalg.norm(slopes, axis=0), np.finfo(float).tiny)
    across, singular, directions = np.linalg.svd(slopes / size, full_matrices=False)
    if singular[-1] <= SINGULAR:  # of columns of length 1
        alike = np.flatnonzero(of_weight(np.abs(directions[-1])))
        raise CurveError(
            f"these {problem.y.size} points do not tell apart the parameter(s) {', '.join(str(k + 1) for k in alike)}: "
            "fix one, compare at more places, or start elsewhere"
        )
    inverse_root = directions.T / singular / size[:, np.newaxis]
    change = -inverse_root @ (across.T @ distances)
    scatter = 1.0 if problem.known else problem.chi_squared(b) / (problem.y.size - b.size)
    covariance = scatter * inverse_root @ inverse_root.T
    against = np.maximum(np.sqrt(np.diag(covariance)) + NOISE * np.abs(b), np.finfo(float).tiny)
    return _Step(change, covariance, float(np.max(np.abs(change) / against)))


def _not_worse(problem: _Problem, b: Floats, change: Floats) -> Floats:
    """The whole step, or the largest half, quarter ... of it that does not raise chi-squared by more than rounding."""
    limit = problem.chi_squared(b) * (1.0 + 1e-12)
    for halvings in range(30):
        trial = b + change / 2**halvings
        if problem.chi_squared(trial) <= limit:
            return np.asarray(trial)
    return b
