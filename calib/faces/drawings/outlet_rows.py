"""Outlets against their design as named rows, where there is room for them."""

from collections.abc import Sequence
from math import isfinite
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from matplotlib.path import Path as Outline
from matplotlib.ticker import MaxNLocator

from calib.faces.drawings.outlets import (
    ROW,
    OutletDrawing,
    OutletDrawings,
    OutletsDrawing,
    drawn_limits,
    measured_of,
    named_rows,
    rows_with_names,
    title_of,
)
from calib.faces.drawings.style import FIGURE_WIDTH, SMALL_LETTERS, TOLERANCE_BAND, beside_row, stacked, titled
from calib.faces.palette import INK, STROKE, WARNING, WHITE
from calib.faces.written import SIGNS, unit_text

WIDEST = 200.0  # [% of design]: what lies beyond stands at the edge, with its number

# What of the circle is filled: the signs of the statements, as they stand in the tables.
_FILLED = {"conditional pass": Outline.wedge(90, 270), "conditional fail": Outline.wedge(0, 90)}


def outlet_rows(shown: OutletsDrawing, place: int, count: int) -> Figure:
    """A named row for each outlet: tolerance, U, the sign of its statement, and its flow beside it."""
    lots = [lot for lot in (shown.against_design, shown.without_design) if lot]
    rows = [rows_with_names(lot) for lot in lots]
    figure = Figure(figsize=(FIGURE_WIDTH, 1.15 + 0.45 * len(lots) + ROW * sum(rows)))
    panels = figure.subplots(len(lots), 1, squeeze=False, height_ratios=[high + 1.5 for high in rows])[:, 0]
    for axes, lot in zip(panels, lots, strict=True):
        places = _rows(axes, lot)
        if lot is shown.against_design:
            _percent_axis(axes, lot, places)
            titled(axes, title_of(place, count))
        else:
            flow_axis(axes, lot, shown.unit)
            titled(axes, "Without a design")
    if shown.against_design:
        handles, labels = statement_legend(shown.against_design)
        figure.legend(handles, labels, loc="outside lower left", ncols=3)
    return figure


def _rows(axes: Axes, lot: Sequence[OutletDrawing]) -> list[float]:
    """A row for each outlet below the name of its system: tolerance, U, sign; the flow beside it. Where each has its row."""
    labels = named_rows(lot)
    middles, rows = stacked([label for label, _ in labels], ROW)
    places = [middle for middle, (_, outlet) in zip(middles, labels, strict=True) if outlet is not None]
    _outlets(axes, lot, places)
    axes.set_yticks(middles, [label for label, _ in labels], fontsize=SMALL_LETTERS)
    for shown, (_, outlet) in zip(axes.get_yticklabels(), labels, strict=True):
        shown.set_fontweight("bold" if outlet is None else "normal")
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(rows - 0.4, -0.6)
    return places


def _outlets(axes: Axes, lot: Sequence[OutletDrawing], places: Sequence[float]) -> None:
    """Every outlet at its place; of each thing all at once, since drawing them one by one takes ten times as long."""
    wide = {
        place: drawn_limits(outlet, WIDEST)
        for place, outlet in zip(places, lot, strict=True)
        if outlet.tolerance is not None
    }
    if wide:
        left, width = [low for low, _ in wide.values()], [max(high - low, 0.0) for low, high in wide.values()]
        axes.barh(list(wide), width, left=left, height=0.8, **TOLERANCE_BAND)
    measured = [(outlet, place) for outlet, place in zip(lot, places, strict=True) if outlet.is_measured]
    values, expanded = [outlet.value for outlet, _ in measured], [outlet.expanded_uncertainty for outlet, _ in measured]
    axes.errorbar(
        values, [place for _, place in measured], xerr=expanded, fmt="none", ecolor=INK, elinewidth=1.0, capsize=2.5
    )
    for statement in dict.fromkeys(outlet.statement for outlet, _ in measured):
        judged = [(outlet.value, place) for outlet, place in measured if outlet.statement == statement]
        for line in _sign_lines(statement):
            axes.plot(*zip(*judged, strict=True), zorder=3, **line)
    for place, outlet in zip(places, lot, strict=True):
        write_beside(axes, place, outlet.flow, outlet.statement)


def write_beside(axes: Axes, place: float, flow: str, statement: str | None) -> None:
    """What is measured, in words beside its row; what fails in the strongest ones."""
    fails: dict[str, Any] = {"fontweight": "bold", "color": WARNING} if statement == "fail" else {}
    beside_row(axes, place, f"{flow}, fail" if fails else flow, **fails)


def _sign_lines(statement: str | None) -> list[dict[str, Any]]:
    """The sign of a statement: a circle, and what of it is filled; a cross for fail, a square where nothing was judged."""
    around = {"ls": "none", "ms": 6.5, "mec": INK, "mew": 0.9}
    if statement not in SIGNS:
        return [around | {"marker": "s", "mfc": WHITE, "ms": 5.0}]
    if statement == "fail":
        return [around | {"marker": "X", "mfc": WARNING, "mec": WARNING, "ms": 9.0}]
    circle = around | {"marker": "o", "mfc": INK if statement == "pass" else WHITE}
    if statement not in _FILLED:
        return [circle]
    return [circle, {"ls": "none", "ms": 6.5, "marker": _FILLED[statement], "mfc": INK, "mew": 0}]


def statement_legend(lot: OutletDrawings) -> tuple[list[Any], list[str]]:
    """Samples and words for the statements that are there, and for U and tolerance."""
    statements = {outlet.statement for outlet in measured_of(lot)}
    names = [name for name in SIGNS if name in statements]
    handles: list[Any] = [tuple(Line2D([], [], **line) for line in _sign_lines(name)) for name in names]
    if statements - set(SIGNS):
        handles.append(Line2D([], [], **_sign_lines(None)[0]))
        names.append("not judged")
    handles += [Line2D([], [], color=INK, lw=1.0, marker="|", ms=5), Patch(**TOLERANCE_BAND)]
    return handles, [*names, "expanded uncertainty U", "tolerance"]


def percent_axis(axes: Axes, lot: OutletDrawings) -> tuple[float, float]:
    """An axis in percent of design from the least to the largest that is drawn, and its ends."""
    limits = [limit for outlet in lot for limit in (outlet.tolerance or ()) if isfinite(limit)]
    measured = measured_of(lot)
    low = min([100.0, *limits, *(outlet.value - outlet.expanded_uncertainty for outlet in measured)])
    high = max([100.0, *limits, *(outlet.value + outlet.expanded_uncertainty for outlet in measured)])
    ends = max(0.0, low - 3), min(WIDEST, high + 3)
    axes.axvline(100, color=STROKE, lw=1.1, zorder=1)
    axes.set_xlim(*ends)
    axes.set_xlabel("flow [% of design]")
    return ends


def _percent_axis(axes: Axes, lot: OutletDrawings, places: Sequence[float]) -> None:
    """What lies far out stands at the edge with its number."""
    low, high = percent_axis(axes, lot)
    axes.xaxis.set_major_locator(MaxNLocator(8, steps=[1, 2, 5, 10]))
    for outlet, place in zip(lot, places, strict=True):
        if outlet.is_measured and not low <= outlet.value <= high:
            _beyond(axes, outlet, place, high if outlet.value > high else low)


def _beyond(axes: Axes, outlet: OutletDrawing, place: float, edge: float) -> None:
    """An arrow at the edge, with the number and the sign of what lies out there."""
    right = outlet.value > edge
    axes.plot(edge, place, ">" if right else "<", color=INK, ms=6, clip_on=False)
    text = f"{outlet.value:.0f} % {SIGNS.get(outlet.statement or '', '')}".rstrip()
    beside, side = ((-8, 0), "right") if right else ((8, 0), "left")
    axes.annotate(text, (edge, place), beside, textcoords="offset points", ha=side, va="center", fontsize=SMALL_LETTERS)


def flow_axis(axes: Axes, lot: OutletDrawings, symbol: str) -> None:
    """An axis of flows from zero on."""
    axes.set_xlim(min([0.0, *(outlet.value - outlet.expanded_uncertainty for outlet in measured_of(lot))]), None)
    axes.set_xlabel(f"flow [{unit_text(symbol)}]")
