"""A control chart for a page: each check by its time with the limits it was held to, in both lights.

Its colours stand with the page that shows it, and so do the words that stand for it.
"""

from markupsafe import Markup, escape

from calib.faces.drawings.axes_of_page import marks, reach, told
from calib.faces.written import unit_text
from calib.procedures.fleet.checks_on_file import ChartedSeries

_WIDTH, _HEIGHT = 760.0, 260.0  # units of the drawing
_LEFT, _RIGHT, _TOP, _BOTTOM = 90.0, 20.0, 30.0, 34.0
_FAILED = 6.0  # half the width of the cross of a check that failed


def check_line(chart: ChartedSeries, described_by: str) -> Markup:
    """Values with their limits; `described_by` is the element of the page that holds its words."""
    times = [check.at.timestamp() for check in chart.checks]
    x_low, x_high = reach(times)
    lines = [] if chart.base is None else [chart.base.mean]
    y_low, y_high = reach([*lines, *(each for check in chart.checks for each in (check.value, check.low, check.high))])

    def x(time: float) -> float:
        return _LEFT + (time - x_low) / (x_high - x_low) * (_WIDTH - _LEFT - _RIGHT)

    def y(value: float) -> float:
        return _HEIGHT - _BOTTOM - (value - y_low) / (y_high - y_low) * (_HEIGHT - _TOP - _BOTTOM)

    parts = [
        f'<line class="mark" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{y(at):.1f}" y2="{y(at):.1f}"/>'
        f'<text class="level" x="{_LEFT - 8}" y="{y(at):.1f}" dominant-baseline="central">{told(at)}</text>'
        for at in marks(y_low, y_high)
    ]
    parts += [
        f'<line class="centre" x1="{_LEFT}" x2="{_WIDTH - _RIGHT}" y1="{y(at):.1f}" y2="{y(at):.1f}"/>' for at in lines
    ]
    for time, check in zip(times, chart.checks, strict=True):
        at, value = x(time), y(check.value)
        parts.append(
            f'<line class="limits" x1="{at:.1f}" x2="{at:.1f}" y1="{y(check.low):.1f}" y2="{y(check.high):.1f}"/>'
        )
        parts += [
            f'<line class="limit" x1="{at - 6:.1f}" x2="{at + 6:.1f}" y1="{y(end):.1f}" y2="{y(end):.1f}"/>'
            for end in (check.low, check.high)
        ]
        parts.append(
            f'<circle class="passed" cx="{at:.1f}" cy="{value:.1f}" r="4"/>' if check.passed else _cross(at, value)
        )
    for check, anchor, at in ((chart.checks[0], "start", _LEFT), (chart.checks[-1], "end", _WIDTH - _RIGHT)):
        parts.append(f'<text class="day" x="{at}" y="{_HEIGHT - 8}" text-anchor="{anchor}">{check.at.date()}</text>')
    parts.append(f'<text class="axis" x="0" y="16">{escape(chart.kind)} [{escape(unit_text(chart.unit))}]</text>')
    # What was typed, the unit, is escaped where it enters; the rest is numbers and words of this program.
    return Markup(  # noqa: S704
        f'<svg class="check-line" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" role="img" aria-labelledby="{escape(described_by)}">'
        f"{''.join(parts)}</svg>"
    )


def _cross(x: float, y: float) -> str:
    ends = ((-_FAILED, -_FAILED, _FAILED, _FAILED), (-_FAILED, _FAILED, _FAILED, -_FAILED))
    return "".join(
        f'<line class="failed" x1="{x + left:.1f}" y1="{y + top:.1f}" x2="{x + right:.1f}" y2="{y + bottom:.1f}"/>'
        for left, top, right, bottom in ends
    )
