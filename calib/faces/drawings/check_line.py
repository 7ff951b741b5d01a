"""A control chart for a page: each check by its time with the limits it was held to, in both lights.

Its colours stand with the page that shows it, and so do the words that stand for it.
"""

from markupsafe import Markup, escape

from calib.faces.drawings.axes_of_page import PageAxes, reach
from calib.faces.written import unit_text
from calib.procedures.fleet.checks_on_file import ChartedSeries

_HEIGHT, _UNDER = 260.0, 34.0  # units of the drawing
_FAILED = 6.0  # half the width of the cross of a check that failed


def check_line(chart: ChartedSeries, described_by: str) -> Markup:
    """Values with their limits; `described_by` is the element of the page that holds its words."""
    times = [check.at.timestamp() for check in chart.checks]
    lines = [] if chart.base is None else [chart.base.mean]
    values = (each for check in chart.checks for each in (check.value, check.low, check.high))
    axes = PageAxes(_HEIGHT, _UNDER, reach(times), reach([*lines, *values]))
    parts = [*axes.levels(), *(axes.across("centre", at) for at in lines)]
    for time, check in zip(times, chart.checks, strict=True):
        at, value, low, high = axes.x(time), *map(axes.y, (check.value, check.low, check.high))
        parts.append(f'<line class="limits" x1="{at:.1f}" x2="{at:.1f}" y1="{low:.1f}" y2="{high:.1f}"/>')
        parts += [
            f'<line class="limit" x1="{at - 6:.1f}" x2="{at + 6:.1f}" y1="{end:.1f}" y2="{end:.1f}"/>'
            for end in (low, high)
        ]
        parts.append(
            f'<circle class="passed" cx="{at:.1f}" cy="{value:.1f}" r="4"/>' if check.passed else _cross(at, value)
        )
    for check, anchor, at in ((chart.checks[0], "start", axes.left), (chart.checks[-1], "end", axes.right)):
        parts.append(f'<text class="day" x="{at}" y="{_HEIGHT - 8}" text-anchor="{anchor}">{check.at.date()}</text>')
    parts.append(f'<text class="axis" x="0" y="16">{escape(chart.kind)} [{escape(unit_text(chart.unit))}]</text>')
    return axes.drawn("check-line", parts, described_by)


def _cross(x: float, y: float) -> str:
    ends = ((-_FAILED, -_FAILED, _FAILED, _FAILED), (-_FAILED, _FAILED, _FAILED, -_FAILED))
    return "".join(
        f'<line class="failed" x1="{x + left:.1f}" y1="{y + top:.1f}" x2="{x + right:.1f}" y2="{y + bottom:.1f}"/>'
        for left, top, right, bottom in ends
    )
