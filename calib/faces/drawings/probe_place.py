"""The section of a duct with one of its points: where to hold the probe next. Small, drawn anew for each point, and in both lights.

Its colours stand with the page that shows it: this is lines and circles of a class each.
"""

import math
from collections.abc import Sequence

from markupsafe import Markup

from calib.airflow.traverse import RECTANGULAR, Section, TraversePlace

_LONGEST, _MARGIN = 300.0, 26.0  # units of the drawing: the longer side, and what is left around it
_FLATTEST = 70.0  # the shorter side is drawn as long at least, so that its points stay apart


def probe_place(section: Section, places: Sequence[TraversePlace], wanted: int | None) -> Markup:
    """The section seen in the direction in which lines stand side by side; places before the wanted one are filled.

    Without a wanted one all of them are: every point is typed.
    """
    longer = max(section.width, section.height)
    across, up = (max(_LONGEST * side / longer, _FLATTEST) for side in (section.width, section.height))
    x = [_MARGIN + place.x / section.width * across for place in places]
    y = [_MARGIN + up - place.y / section.height * up for place in places]
    parts = [_wall(section, across, up)]
    if wanted is not None:
        parts.append(_probe(places, x, y, wanted))
    for order in range(len(places)):
        kind = "typed" if wanted is None or order < wanted else "left"
        if order != wanted:
            parts.append(f'<circle class="{kind}" cx="{x[order]:.1f}" cy="{y[order]:.1f}" r="4"/>')
    words = "every point is typed"
    if wanted is not None:
        words = f"section of the duct: point {places[wanted].point} of line {places[wanted].line} comes next"
        parts.append(f'<circle class="wanted" cx="{x[wanted]:.1f}" cy="{y[wanted]:.1f}" r="8"/>')
    size = f"{across + 2 * _MARGIN:.0f} {up + 2 * _MARGIN:.0f}"
    # Numbers and words of this file alone: nothing in it was typed by anybody.
    return Markup(f'<svg class="section" viewBox="0 0 {size}" role="img" aria-label="{words}">{"".join(parts)}</svg>')  # noqa: S704


def _wall(section: Section, across: float, up: float) -> str:
    radius = 0.0 if section.shape == RECTANGULAR else up / 2
    corner = f' rx="{min(radius, across / 2):.1f}" ry="{radius:.1f}"' if radius else ""
    return f'<rect class="wall" x="{_MARGIN}" y="{_MARGIN}" width="{across:.1f}" height="{up:.1f}"{corner}/>'


def _probe(places: Sequence[TraversePlace], x: Sequence[float], y: Sequence[float], wanted: int) -> str:
    """The probe from outside the wall to its point, along the line that it goes in by."""
    own = [order for order, place in enumerate(places) if place.line == places[wanted].line]
    first, last = own[0], own[-1]
    along = math.hypot(x[last] - x[first], y[last] - y[first])
    forward = (0.0, -1.0) if not along else ((x[last] - x[first]) / along, (y[last] - y[first]) / along)
    # Every rule is symmetric: the wall is as far before the first point as behind the last.
    reach = places[first].along / (places[last].along - places[first].along) * along if along else 0.0
    start = [at - step * (reach + _MARGIN * 0.8) for at, step in zip((x[first], y[first]), forward, strict=True)]
    return f'<line class="probe" x1="{start[0]:.1f}" y1="{start[1]:.1f}" x2="{x[wanted]:.1f}" y2="{y[wanted]:.1f}"/>'
