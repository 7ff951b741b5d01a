"""Calibration curves whose shape physics gives (VIM 4.31): the response y of an instrument as a function of the value v.

    proportional    x = beta v                  through zero
    power law       ln x = alpha + beta ln v    pressure elements: v = c x^m with m = 1/beta
    King's law      x^2 = a + b v^n             thermal sensors with a voltage x; n free, or 1/2 as King derived it

The comparisons are fitted in the ordinate y(x) of each shape, where the indication's own scatter stands; the value comes back by
the inverse. Sources: ISO/TS 28037 for the weights; L. V. King, Phil. Trans. R. Soc. A 214 (1914) 373 for the law (from memory).
"""

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.errors import CurveError

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Shape:
    """One shape: the response y = r(v; theta) to a value v, its derivatives and its inverse. Arrays (n,), theta (p,)."""

    name: str  # as the records keep it
    title: str
    parameters: tuple[str, ...]
    equation: str
    ordinate: Callable[[Floats], Floats]  # y(x)
    ordinate_slope: Callable[[Floats], Floats]  # dy/dx
    response: Callable[[Floats, Floats], Floats]  # r(v; theta)
    response_slope: Callable[[Floats, Floats], Floats]  # dr/dv
    gradient: Callable[[Floats, Floats], Floats]  # (n, p) dr/dtheta
    inverse: Callable[[Floats, Floats], Floats]  # v(y; theta)
    start: Callable[[Floats, Floats], Floats]  # theta to start from, given v and y
    linear: bool  # whether r is linear in theta
    positive: bool  # whether indications and values must be above 0

    def check(self, x: Floats, v: Floats) -> None:
        """Raise CurveError where a comparison lies outside what the shape can describe."""
        wrong = np.flatnonzero((x <= 0) | (v <= 0)) if self.positive else np.zeros(0, dtype=np.int64)
        if wrong.size:
            place = int(wrong[0])
            raise CurveError(
                f"comparison {place + 1} (reference {v[place]:g}, indication {x[place]:g}): {self.title} needs both above 0"
            )


def _line(v: Floats, y: Floats) -> Floats:
    slope, level = np.polyfit(v, y, 1)
    return np.array([level, slope])


def _ones(v: Floats) -> Floats:
    return np.ones_like(v)


PROPORTIONAL = Shape(
    name="proportional",
    title="proportional through zero",
    parameters=("β",),
    equation="x = β v",
    ordinate=lambda x: x,
    ordinate_slope=_ones,
    response=lambda v, theta: theta[0] * v,
    response_slope=lambda v, theta: theta[0] * np.ones_like(v),
    gradient=lambda v, _theta: v[:, np.newaxis],
    inverse=lambda y, theta: y / theta[0],
    start=lambda v, y: np.array([float(v @ y) / float(v @ v)]),
    linear=True,
    positive=False,
)

POWER = Shape(
    name="power",
    title="power law",
    parameters=("α", "β"),
    equation="ln x = α + β ln v",
    ordinate=np.log,
    ordinate_slope=lambda x: 1.0 / x,
    response=lambda v, theta: theta[0] + theta[1] * np.log(v),
    response_slope=lambda v, theta: theta[1] / v,
    gradient=lambda v, _theta: np.column_stack((np.ones_like(v), np.log(v))),
    inverse=lambda y, theta: np.exp((y - theta[0]) / theta[1]),
    start=lambda v, y: _line(np.log(v), y),
    linear=True,
    positive=True,
)

KING_SQUARE_ROOT = Shape(
    name="king square root",
    title="King's law with n = 1/2",
    parameters=("a", "b"),
    equation="x² = a + b √v",
    ordinate=np.square,
    ordinate_slope=lambda x: 2.0 * x,
    response=lambda v, theta: theta[0] + theta[1] * np.sqrt(v),
    response_slope=lambda v, theta: 0.5 * theta[1] / np.sqrt(v),
    gradient=lambda v, _theta: np.column_stack((np.ones_like(v), np.sqrt(v))),
    inverse=lambda y, theta: np.square(np.clip(y - theta[0], 0.0, None) / theta[1]),
    start=lambda v, y: _line(np.sqrt(v), y),
    linear=True,
    positive=True,
)

KING = Shape(
    name="king",
    title="King's law",
    parameters=("a", "b", "n"),
    equation="x² = a + b vⁿ",
    ordinate=np.square,
    ordinate_slope=lambda x: 2.0 * x,
    response=lambda v, theta: theta[0] + theta[1] * v ** theta[2],
    response_slope=lambda v, theta: theta[1] * theta[2] * v ** (theta[2] - 1.0),
    gradient=lambda v, theta: np.column_stack((np.ones_like(v), v ** theta[2], theta[1] * v ** theta[2] * np.log(v))),
    inverse=lambda y, theta: (np.clip(y - theta[0], 0.0, None) / theta[1]) ** (1.0 / theta[2]),
    start=lambda v, y: np.append(_line(np.sqrt(v), y), 0.5),
    linear=False,
    positive=True,
)

SHAPES = {shape.name: shape for shape in (PROPORTIONAL, POWER, KING_SQUARE_ROOT, KING)}
