"""Calibration curves whose shape physics gives (VIM 4.31): the response y of an instrument as a function of the value v.

    proportional    x = beta v                  through zero
    straight line   x = a + b v                 transmitters
    power law       ln x = alpha + beta ln v    pressure elements: v = c x^m with m = 1/beta
    King's law      x^2 = a + b v^n             thermal sensors with a voltage x; n free, or 1/2 as King derived it

The comparisons are fitted in the ordinate y(x) of each shape, where the indication's own scatter stands; the value comes back by
the inverse. Sources: ISO/TS 28037 for the weights; L. V. King, Phil. Trans. R. Soc. A 214 (1914) 373 for the law (from memory).
"""

import json
import math
from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import chdtrc

from calib.arrays import Floats
from calib.curves import nonlinear
from calib.curves.curve import CorrectionCurve, Curve, correction_curve_from_text, reference_degrees_written
from calib.curves.regression import Polynomial, cholesky_of
from calib.errors import CurveError


@dataclass(frozen=True)
class Shape:
    """One shape: the response y = r(v; theta) to a value v, its derivatives and its inverse. Arrays (n,), theta (p,)."""

    name: str  # as the records keep it
    title: str
    parameters: tuple[str, ...]
    equation: str
    ordinate: Callable[[Floats], Floats]  # y(x)
    ordinate_slope: Callable[[Floats], Floats]  # dy/dx
    # Of v or y and each coefficient by itself, one value or (n,).
    response: Callable[..., Floats]  # r(v; theta)
    response_slope: Callable[..., Floats]  # dr/dv
    gradient: Callable[..., Floats]  # (n, p) dr/dtheta
    inverse: Callable[..., Floats]  # v(y; theta)
    positive: bool  # whether indications and values must be above 0
    # theta to start from, given v and y; None where the response is linear in theta, and any does
    start: Callable[[Floats, Floats], Floats] | None = None

    def check(self, x: Floats, v: Floats) -> None:
        """Raise CurveError where a comparison lies outside what the shape can describe."""
        wrong = (x <= 0) | (v <= 0)
        if self.positive and wrong.any():
            place = int(np.argmax(wrong))
            raise CurveError(
                f"comparison {place + 1} (reference {v[place]:g}, indication {x[place]:g}): {self.title} needs both above 0"
            )


PROPORTIONAL = Shape(
    name="proportional",
    title="proportional through zero",
    parameters=("β",),
    equation="x = β v",
    ordinate=lambda x: x,
    ordinate_slope=np.ones_like,
    response=lambda v, beta: beta * v,
    response_slope=np.full_like,
    gradient=lambda v, _beta: v[:, np.newaxis],
    inverse=lambda y, beta: y / beta,
    positive=False,
)

POWER = Shape(
    name="power",
    title="power law",
    parameters=("α", "β"),
    equation="ln x = α + β ln v",
    ordinate=np.log,
    ordinate_slope=lambda x: 1.0 / x,
    response=lambda v, alpha, beta: alpha + beta * np.log(v),
    response_slope=lambda v, _alpha, beta: beta / v,
    gradient=lambda v, _alpha, _beta: np.column_stack((np.ones_like(v), np.log(v))),
    inverse=lambda y, alpha, beta: np.exp((y - alpha) / beta),
    positive=True,
)

KING_SQUARE_ROOT = Shape(
    name="king square root",
    title="King's law with n = 1/2",
    parameters=("a", "b"),
    equation="x² = a + b √v",
    ordinate=np.square,
    ordinate_slope=lambda x: 2.0 * x,
    response=lambda v, a, b: a + b * np.sqrt(v),
    response_slope=lambda v, _a, b: 0.5 * b / np.sqrt(v),
    gradient=lambda v, _a, _b: np.column_stack((np.ones_like(v), np.sqrt(v))),
    inverse=lambda y, a, b: np.square(np.clip(y - a, 0.0, None) / b),
    positive=True,
)

KING = Shape(
    name="king",
    title="King's law",
    parameters=("a", "b", "n"),
    equation="x² = a + b vⁿ",
    ordinate=np.square,
    ordinate_slope=lambda x: 2.0 * x,
    response=lambda v, a, b, n: a + b * v**n,
    response_slope=lambda v, _a, b, n: b * n * v ** (n - 1.0),
    gradient=lambda v, _a, b, n: np.column_stack((np.ones_like(v), v**n, b * v**n * np.log(v))),
    inverse=lambda y, a, b, n: (np.clip(y - a, 0.0, None) / b) ** (1.0 / n),
    positive=True,
    start=lambda v, y: np.array([*np.polyfit(np.sqrt(v), y, 1)[::-1], 0.5]),
)

LINE = Shape(
    name="line",
    title="straight line",
    parameters=("a", "b"),
    equation="x = a + b v",
    ordinate=lambda x: x,
    ordinate_slope=np.ones_like,
    response=lambda v, a, b: a + b * v,
    response_slope=lambda v, _a, b: np.full_like(v, b),
    gradient=lambda v, _a, _b: np.column_stack((np.ones_like(v), v)),
    inverse=lambda y, a, b: (y - a) / b,
    positive=False,
)

RESPONSE_SHAPES = {shape.name: shape for shape in (PROPORTIONAL, LINE, POWER, KING_SQUARE_ROOT, KING)}

# What may be expected of an instrument that indicates another quantity than it measures, simplest first.
CANDIDATES = {"voltage": (PROPORTIONAL, LINE, KING_SQUARE_ROOT, KING), "pressure": (PROPORTIONAL, POWER)}


@dataclass(frozen=True)
class ResponseFit:
    """A fitted shape, with what its fit says."""

    shape: Shape
    coefficients: Floats  # (p,) theta
    covariance: Floats  # (p, p)
    degrees_of_freedom: float  # n - p
    chi_squared: float  # sum((residual/u)^2); with unknown u, the sum of squared residuals
    residuals: Floats  # (n,) in the indication, x - x(v) [unit of x]
    jacobian: Floats  # (n, p) derivative of the indication by the coefficients [unit of x]
    iterations: int

    @property
    def probability(self) -> float:
        """Probability of a chi-squared at least as large, were the shape and every u right."""
        return float(chdtrc(self.degrees_of_freedom, self.chi_squared))

    def scaled(self, factor: float) -> "ResponseFit":
        """The same fit with its covariance multiplied by `factor`."""
        return replace(self, covariance=self.covariance * factor)


def fit_response(shape: Shape, v: Floats, x: Floats, u: Floats | None) -> ResponseFit:
    """Fit a shape to reference values v and indications x, (n,) each; raises CurveError.

    `u` (n,) is the standard uncertainty of each indication's own scatter; None where it is unknown: then equal weights in the
    shape's ordinate y(x), and s^2 = sum(residual^2)/(n-p) scales the covariance. A fit that does not converge says so.
    """
    shape.check(x, v)
    distinct = np.unique(v).size
    p = len(shape.parameters)
    if distinct < p:
        raise CurveError(f"{distinct} different reference value(s) make no {shape.title}: compare at {p} or more")
    y, slope = shape.ordinate(x), shape.ordinate_slope(x)
    start = np.zeros(p) if shape.start is None else shape.start(v, y)
    if u is None:
        fit = nonlinear.nonlinear_unweighted(_model(shape), v, y, start, _gradient(shape), near=True)
    else:
        fit = nonlinear.nonlinear_weighted(_model(shape), v, y, slope * u, start, _gradient(shape), near=True)
    return ResponseFit(
        shape,
        fit.parameters,
        fit.covariance,
        fit.degrees_of_freedom,
        fit.chi_squared,
        fit.residuals / slope,
        shape.gradient(v, *fit.parameters) / slope[:, np.newaxis],
        fit.iterations,
    )


def _model(shape: Shape) -> Callable[[Floats, Floats], Floats]:
    return lambda theta, v: shape.response(v, *theta)


def _gradient(shape: Shape) -> Callable[[Floats, Floats], Floats]:
    return lambda theta, v: shape.gradient(v, *theta)


@dataclass(frozen=True)
class WeightedShape:
    """One of several shapes that speak about the scatter of a curve."""

    shape: Shape
    coefficients: Floats  # (p,) theta
    covariance: Floats  # (p, p)
    weight: float  # those of all shapes add to 1

    def value(self, x: Floats) -> Floats:
        """Value v(y(x); theta)."""
        return self.shape.inverse(self.shape.ordinate(x), *self.coefficients)

    def directions(self, x: Floats) -> Floats:
        """(n, p) parts of dv/dtheta along the orthogonal directions of the covariance; 0 where the shape gives no value but 0."""
        return _directions(self.shape, x, self.coefficients, self.covariance)


def _directions(shape: Shape, x: Floats, theta: Floats, covariance: Floats) -> Floats:
    """dv/dtheta = -(dr/dtheta)/(dr/dv), along the orthogonal directions of a covariance."""
    v = shape.inverse(shape.ordinate(x), *theta)
    with np.errstate(divide="ignore", invalid="ignore"):
        gradient = np.nan_to_num(-shape.gradient(v, *theta) / shape.response_slope(v, *theta)[:, np.newaxis])
    return np.asarray(gradient @ cholesky_of(covariance))


@dataclass(frozen=True)
class AveragedResponses:
    """Scatter of a curve about which several shapes speak."""

    shapes: tuple[WeightedShape, ...]
    degrees_of_freedom: float


@dataclass(frozen=True)
class ResponseCurve(Curve):
    """Calibration curve of an instrument that indicates another quantity than it measures, or of a shape through zero.

    Where its scatter is averaged over shapes k with the weights w_k, it has the parts sqrt(w_k) u_k along each one's directions,
    and sqrt(w_k) (v_k - v) of each: its coefficients are then those of all shapes, followed by a 0 for each of the latter.
    """

    fit: ResponseFit  # its covariance already multiplied by `scale`
    averaged: AveragedResponses | None = None  # where the shape was chosen on the residuals that tell the scatter

    @property
    def coefficients(self) -> Floats:
        """(p,) coefficients."""
        if self.averaged is None:
            return self.fit.coefficients
        own = [each.coefficients for each in self.averaged.shapes]
        return np.concatenate([*own, np.zeros(len(own))])

    @property
    def covariance(self) -> Floats:
        """(p, p) covariance of the coefficients."""
        if self.averaged is None:
            return self.fit.covariance
        whole, first = np.eye(self.coefficients.size), 0
        for each in self.averaged.shapes:
            end = first + each.coefficients.size
            whole[first:end, first:end] = each.covariance
            first = end
        return whole

    @property
    def degrees_of_freedom(self) -> float:
        """Degrees of freedom of the scatter: n-p, or those of the average over the shapes."""
        return (self.fit if self.averaged is None else self.averaged).degrees_of_freedom

    def value(self, x: ArrayLike) -> Floats:
        """Value v(y(x); theta); raises MeasuringIntervalError outside the measuring interval."""
        return self.fit.shape.inverse(self.fit.shape.ordinate(self.inside(x)), *self.fit.coefficients)

    def sensitivity(self, x: ArrayLike) -> Floats:
        """dv/dx = y'(x)/(dr/dv)."""
        indication = np.atleast_1d(self.inside(x))
        shape, theta = self.fit.shape, self.fit.coefficients
        slope = shape.ordinate_slope(indication) / shape.response_slope(self.value(indication), *theta)
        return slope.reshape(np.shape(x))

    def error_sensitivity(self, x: ArrayLike) -> Floats:
        """|dv/dx|: limits of error are stated in what the instrument indicates."""
        return np.abs(self.sensitivity(x))

    def scatter_parts(self, x: ArrayLike) -> Floats:
        """(..., p) parts of dv/dtheta = -(dr/dtheta)/(dr/dv) along the orthogonal directions of the covariance."""
        indication = np.atleast_1d(self.inside(x))
        shape, theta = self.fit.shape, self.fit.coefficients
        if self.averaged is None:
            parts = _directions(shape, indication, theta, self.fit.covariance)
        else:
            v = shape.inverse(shape.ordinate(indication), *theta)
            of_each = [(math.sqrt(each.weight), each) for each in self.averaged.shapes]
            own = [root * each.directions(indication) for root, each in of_each]
            apart = [root * (each.value(indication) - v) for root, each in of_each]
            parts = np.column_stack([*own, *apart])
        return parts.reshape((*np.shape(x), parts.shape[1]))

    def value_with(self, x: Floats, coefficients: Floats) -> Floats:
        """v(y(x); theta) with (n, p) other coefficients."""
        shape, y = self.fit.shape, self.fit.shape.ordinate(x)
        if self.averaged is None:
            return shape.inverse(y, *coefficients.T)
        v = value = shape.inverse(y, *self.fit.coefficients)
        shapes, first = self.averaged.shapes, 0
        for error, each in zip(coefficients[:, -len(shapes) :].T, shapes, strict=True):
            end, of_shape = first + each.coefficients.size, each.value(x)
            other = each.shape.inverse(each.shape.ordinate(x), *coefficients[:, first:end].T)
            value = value + math.sqrt(each.weight) * (other - of_shape + error * (of_shape - v))
            first = end
        return value

    def as_text(self) -> str:
        """The curve as the records keep it: JSON, floats with all their digits."""
        own = self.fit
        return json.dumps(
            {
                "shape": own.shape.name,
                "coefficients": own.coefficients.tolist(),
                "covariance": own.covariance.tolist(),
                "degrees_of_freedom": own.degrees_of_freedom,
                "chi_squared": own.chi_squared,
                "residuals": own.residuals.tolist(),
                "jacobian": own.jacobian.tolist(),
                "iterations": own.iterations,
                "scale": self.scale,
                "stated_repeatability": self.stated_repeatability,
                "reference_indications": self.reference_indications.tolist(),
                "reference_uncertainties": self.reference_uncertainties.tolist(),
                **reference_degrees_written(self),
                **self._later(),
            }
        )

    def _later(self) -> dict[str, object]:
        """What curves of earlier editions of the rule have not; left out where there is none."""
        if self.averaged is None:
            return {}
        shapes = [
            {
                "shape": each.shape.name,
                "coefficients": each.coefficients.tolist(),
                "covariance": each.covariance.tolist(),
                "weight": each.weight,
            }
            for each in self.averaged.shapes
        ]
        return {"averaged": {"shapes": shapes, "degrees_of_freedom": self.averaged.degrees_of_freedom}}


def curve_from_text(text: str) -> Curve:
    """The curve that `as_text` wrote, of any shape."""
    written = json.loads(text)
    if "shape" not in written:
        return correction_curve_from_text(text)
    fit = ResponseFit(
        RESPONSE_SHAPES[written["shape"]],
        np.array(written["coefficients"]),
        np.array(written["covariance"]),
        written["degrees_of_freedom"],
        written["chi_squared"],
        np.array(written["residuals"]),
        np.array(written["jacobian"]),
        written["iterations"],
    )
    return ResponseCurve(
        written["scale"],
        written["stated_repeatability"],
        np.array(written["reference_indications"]),
        np.array(written["reference_uncertainties"]),
        fit,
        _averaged_from(written.get("averaged")),
        reference_degrees_of_freedom=written.get("reference_degrees_of_freedom", math.inf),
    )


def _averaged_from(written: dict[str, Any] | None) -> AveragedResponses | None:
    if written is None:
        return None
    shapes = (
        WeightedShape(
            RESPONSE_SHAPES[each["shape"]], np.array(each["coefficients"]), np.array(each["covariance"]), each["weight"]
        )
        for each in written["shapes"]
    )
    return AveragedResponses(tuple(shapes), written["degrees_of_freedom"])


def fit_of(curve: Curve) -> Polynomial | ResponseFit:
    """What the fit of a curve said of itself when it was made: coefficients, residuals, chi-squared."""
    return curve.polynomial if isinstance(curve, CorrectionCurve) else response_of(curve).fit


def response_of(curve: Curve) -> ResponseCurve:
    """The curve as a response curve; each curve is that or a correction curve."""
    assert isinstance(curve, ResponseCurve)  # noqa: S101
    return curve
