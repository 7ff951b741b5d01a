"""The curve of a calibration for a page: its comparisons with their U, the curve and its band, in both lights.

Its colours stand with the page that shows it. The words that stand for it are those of `curve`, shown beside it.
"""

import numpy as np
from markupsafe import Markup, escape
from numpy.typing import NDArray

from calib.faces.drawings.axes_of_page import PageAxes, marks, reach, told
from calib.faces.drawings.curve import CurveDrawing

_HEIGHT, _UNDER = 340.0, 50.0  # units of the drawing


def curve_line(drawing: CurveDrawing, described_by: str) -> Markup:
    """Curve, band and comparisons; `described_by` is the element of the page that holds its words."""
    lower, upper = drawing.curve - drawing.band, drawing.curve + drawing.band
    least, most = drawing.compared - drawing.expanded_uncertainty, drawing.compared + drawing.expanded_uncertainty
    zero = [0.0] if drawing.zero_line else []
    along, upright = reach([*drawing.along, *drawing.indication]), reach([*lower, *upper, *least, *most, *zero])
    axes = PageAxes(_HEIGHT, _UNDER, along, upright)

    def points(along: NDArray[np.float64], values: NDArray[np.float64]) -> str:
        return " ".join(f"{axes.x(at):.1f},{axes.y(value):.1f}" for at, value in zip(along, values, strict=True))

    there, back = points(drawing.along, upper), points(drawing.along[::-1], lower[::-1])
    parts = [f'<polygon class="band" points="{there} {back}"/>', *axes.levels()]
    parts += [
        f'<text class="when" x="{axes.x(at):.1f}" y="{_HEIGHT - _UNDER + 18}">{told(at)}</text>' for at in marks(*along)
    ]
    parts += [axes.across("zero", at) for at in zero]
    parts.append(f'<polyline class="curve" points="{points(drawing.along, drawing.curve)}"/>')
    for shown, *values in zip(drawing.indication, drawing.compared, least, most, strict=True):
        at, value, low, high = axes.x(shown), *map(axes.y, values)
        parts += [
            f'<line class="stated" x1="{at:.1f}" x2="{at:.1f}" y1="{low:.1f}" y2="{high:.1f}"/>',
            f'<circle class="compared" cx="{at:.1f}" cy="{value:.1f}" r="4"/>',
        ]
    parts += [
        f'<text class="axis" x="{axes.right}" y="{_HEIGHT - 8}" text-anchor="end">{escape(drawing.indication_label)}</text>',
        f'<text class="axis" x="0" y="16">{escape(drawing.value_label)}</text>',
    ]
    return axes.drawn("curve-line", parts, described_by)
