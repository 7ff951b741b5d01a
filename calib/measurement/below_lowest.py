"""Below the lowest comparison of a curve: what it holds on to there, by one rule for indications above, at and below zero.

With x_0 the lowest comparison and f the curve:

    a manometer, down to no pressure   y = f(x_0) + e(x_0) (x - x_0)     the correction of the lowest comparison is held
    the probe before it                v = f(x_0) x/x_0                  its coefficient there is held

e is what an error of the indication does to the value as limits of error are stated: 1 for a correction curve, so that there
y = x + c(x_0); the slope of a response curve. Scatter, reference part and stability are those at x_0: a probe's do not shrink with
its velocity. Only ways that go down to no velocity at all hold on so (`Way.goes_to_zero`); others refuse what is below their lowest
comparison.

Decision (2026-11-29). Options: refuse such a point (a traverse loses its points by the wall, unless they show 0); take it as 0
m/s (an indication of 0.1 Pa had more U than 0.0 Pa). Cost: what the instrument does below is not shown by any comparison, so that
such points are named, and may carry a small share of a flow only (`calib.procedures.measure.low_points`).
"""

from collections.abc import Callable

import numpy as np

from calib.arrays import Floats, Truths
from calib.curves.curve import Curve

# From f(x_0), e(x_0), x and x_0: the value at x, and its slope there.
Held = Callable[[Floats, Floats, Floats, Floats], tuple[Floats, Floats]]


def asked_at(curve: Curve, x: Floats, held: Truths | bool) -> Floats:
    """Indications at which a curve is asked for x: the lowest comparison where x is below it and the curve holds on."""
    return np.where(held, np.maximum(x, curve.low), x)


def correction_held(value: Floats, error_slope: Floats, x: Floats, at: Floats) -> tuple[Floats, Floats]:
    """Of a manometer; x itself where it is not below."""
    return value + error_slope * (x - at), error_slope


def coefficient_held(value: Floats, _error_slope: Floats, x: Floats, at: Floats) -> tuple[Floats, Floats]:
    """Of a probe; x itself where it is not below."""
    return value * (x / at), value / at
