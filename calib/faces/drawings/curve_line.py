"""The curve of a calibration for a page: its comparisons with their U, the curve and its band, in both lights.

Its colours stand with the page that shows it. The words that stand for it are those of `curve`, shown beside it.
"""

import numpy as np
from markupsafe import Markup, escape
from numpy.typing import NDArray

from calib.faces.drawings.axes_of_page import marks, reach, told
from calib.faces.drawings.curve import CurveDrawing

_WIDTH, _HEIGHT = 760.0, 340.0  # units of the drawing
_LEFT, _RIGHT, _TOP, _BOTTOM = 90.0, 20.0, 30.0, 50.0


def curve_line(drawing: CurveDrawing, described_by: str) -> Markup:
    """Curve, band and comparisons; `described_by` is the element of the page that holds its words."""
    lower, upper = drawing.curve - drawing.band, drawing.curve + drawing.band
    least, most = drawing.compared - drawing.expanded_uncertainty, drawing.compared + drawing.expanded_uncertainty
    zero = [0.0] if drawing.zero_line else []
    x_low, x_high = reach([*drawing.along, *drawing.indication])
    y_low, y_high = reach([*lower, *upper, *least, *most, *zero])

    def x(value: float) -> float:
        return _LEFT + (value - x_low) / (x_high - x_low) * (_WIDTH - _LEFT - _RIGHT)

    def y(value: float) -> float:
        return _HEIGHT - _BOTTOM - (value - y_low) / (y_high - y_low) * (_HEIGHT - _TOP - _BOTTOM)

    def points(along: NDArray[np.float64], values: NDArray[np.float64]) -> str:
        return " ".join(f"{x(at):.1f},{y(value):.1f}" for at, value in zip(along, values, strict=True))

    there, back = points(drawing.along, upper), points(drawing.along[::-1], lower[::-1])
    parts = [f'<polygon class="band" points="{there} {back}"/>']
    parts += [
        f'<line class="mark" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{y(at):.1f}" y2="{y(at):.1f}"/>'
        f'<text class="level" x="{_LEFT - 8}" y="{y(at):.1f}" dominant-baseline="central">{told(at)}</text>'
        for at in marks(y_low, y_high)
    ]
    parts += [
        f'<text class="when" x="{x(at):.1f}" y="{_HEIGHT - _BOTTOM + 18}">{told(at)}</text>'
        for at in marks(x_low, x_high)
    ]
    parts += [
        f'<line class="zero" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{y(at):.1f}" y2="{y(at):.1f}"/>' for at in zero
    ]
    parts.append(f'<polyline class="curve" points="{points(drawing.along, drawing.curve)}"/>')
    parts += [
        f'<line class="stated" x1="{x(at):.1f}" x2="{x(at):.1f}" y1="{y(low):.1f}" y2="{y(high):.1f}"/>'
        f'<circle class="compared" cx="{x(at):.1f}" cy="{y(value):.1f}" r="4"/>'
        for at, value, low, high in zip(drawing.indication, drawing.compared, least, most, strict=True)
    ]
    parts += [
        f'<text class="axis" x="{_WIDTH - _RIGHT}" y="{_HEIGHT - 8}" text-anchor="end">{escape(drawing.indication_label)}</text>',
        f'<text class="axis" x="0" y="16">{escape(drawing.value_label)}</text>',
    ]
    # What was typed, the units at most, is escaped where it enters; the rest is numbers and words of this file.
    return Markup(  # noqa: S704
        f'<svg class="curve-line" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" role="img" aria-labelledby="{escape(described_by)}">'
        f"{''.join(parts)}</svg>"
    )
