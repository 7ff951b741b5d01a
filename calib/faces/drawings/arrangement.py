"""Where the axes of a figure stand: within its names, labels and title, above or below its legend; placed once, before it is drawn.

What stands beside the axes is measured, and the rest of the figure is theirs.

Decision (2026-11). One measuring of each axis. Options: the drawing library's constrained layout, which finds the same places by a
solver and measures every axis eight times (a fifth of the time of the demo's reports); places written by hand for each picture,
which know no text. Cost (11-29): a text at a value is placed by two steps, and its margin may be off by a pixel.
"""

from collections.abc import Sequence

import numpy as np
from matplotlib.axes import Axes
from matplotlib.backend_bases import RendererBase
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure, SubFigure
from matplotlib.gridspec import SubplotSpec
from matplotlib.text import Text
from matplotlib.transforms import BboxBase
from numpy.typing import ArrayLike, NDArray

_PAD = 3.0  # [pt] around everything that is measured
_LEFT, _BELOW, _RIGHT, _ABOVE = range(4)

_Places = dict[Axes, SubplotSpec]
_Floats = NDArray[np.float64]


def arrange(figure: Figure) -> None:
    """Place the axes that stand in a grid; those that were placed by hand are left where they are."""
    renderer = FigureCanvasAgg(figure).get_renderer()  # type: ignore[no-untyped-call]
    parts: Sequence[Figure | SubFigure] = figure.subfigs or [figure]
    for part in parts:
        places = {axes: spec for axes in part.axes if (spec := axes.get_subplotspec()) is not None}
        if places:
            _arrange(part, places, renderer, _PAD * figure.dpi / 72)


def _arrange(part: Figure | SubFigure, places: _Places, renderer: RendererBase, pad: float) -> None:
    """Heights first, which depend on no width; then widths: the numbers at an axis are chosen by its height."""
    grid = next(iter(places.values())).get_gridspec()
    ticks = {axes: _beyond(axes, [axes.xaxis.get_tightbbox(renderer)]) for axes in places}
    around = {axes: np.maximum(ticks[axes], _beyond(axes, _texts(axes, renderer))) for axes in places}
    rows: _Floats = np.full((2, grid.nrows), pad)
    for axes, spec in places.items():
        room = around[axes][[_ABOVE, _BELOW]] + pad
        rows[:, spec.rowspan.start] = np.maximum(rows[:, spec.rowspan.start], room)
    under, over = _outside(part, renderer)
    heights = _spans(grid.get_height_ratios(), rows, part.bbox.height - under - over)
    for axes, spec in places.items():
        start, end = heights[spec.rowspan.start] + over
        at = axes.get_position()
        axes.set_position((at.x0, 1 - end / part.bbox.height, at.width, (end - start) / part.bbox.height))

    names = {axes: _beyond(axes, [axes.yaxis.get_tightbbox(renderer)]) for axes in places}
    for _ in range(2):  # what stands at a value moves with the width
        columns: _Floats = np.full((2, grid.ncols), pad)
        for axes, spec in places.items():
            beside = np.maximum(np.maximum(ticks[axes], names[axes]), _beyond(axes, _texts(axes, renderer)))
            room = beside[[_LEFT, _RIGHT]] + pad
            columns[:, spec.colspan.start] = np.maximum(columns[:, spec.colspan.start], room)
        widths = _spans(grid.get_width_ratios(), columns, part.bbox.width)
        for axes, spec in places.items():
            start, end = widths[spec.colspan.start]
            at = axes.get_position()
            axes.set_position((start / part.bbox.width, at.y0, (end - start) / part.bbox.width, at.height))


def _spans(shares: ArrayLike, margins: _Floats, length: float) -> _Floats:
    """(n, 2) start and end of rows or columns that share a length [pixels], each with its margins (2, n) before and after."""
    sizes = np.asarray(shares) / np.sum(shares) * max(length - margins.sum(), 1.0)
    ends: _Floats = np.cumsum(margins[0] + sizes + margins[1]) - margins[1]
    return np.stack([ends - sizes, ends], axis=1)


def _texts(axes: Axes, renderer: RendererBase) -> list[BboxBase]:
    """Boxes of the titles and of all that is written within or beside the axes."""
    written = (each for each in axes.get_children() if isinstance(each, Text) and each.get_text())
    return [each.get_window_extent(renderer) for each in written]


def _beyond(axes: Axes, boxes: Sequence[BboxBase | None]) -> _Floats:
    """(4,) how far boxes reach beyond the axes: left, below, right, above [pixels]."""
    area = axes.bbox
    reach = [(area.x0 - box.x0, area.y0 - box.y0, box.x1 - area.x1, box.y1 - area.y1) for box in boxes if box]
    furthest: _Floats = np.max([(0.0, 0.0, 0.0, 0.0), *reach], axis=0)
    return furthest


def _outside(part: Figure | SubFigure, renderer: RendererBase) -> tuple[float, float]:
    """What legends and titles of the figure take at its lower and at its upper edge [pixels]."""
    under = over = 0.0
    for each in (*part.legends, *part.texts):
        box = each.get_window_extent(renderer)
        if box.y0 + box.y1 < part.bbox.y0 + part.bbox.y1:
            under = max(under, box.y1 - part.bbox.y0)
        else:
            over = max(over, part.bbox.y1 - box.y0)
    return under, over
