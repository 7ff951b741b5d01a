"""Outlets against their design as thin lines, where there are too many for a name each.

More than 60 outlets are thin lines, sorted within each system, with a lane for each statement, 500 in a figure: rows with names for
1,000 outlets would be 17 pages.
"""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure

from calib.faces.drawings.outlet_rows import WIDEST, flow_axis, percent_axis, statement_legend
from calib.faces.drawings.outlets import (
    MOST_THIN,
    OutletDrawing,
    OutletDrawings,
    OutletsDrawing,
    drawn_limits,
    title_of,
)
from calib.faces.drawings.style import FIGURE_WIDTH, SMALL_LETTERS, TOLERANCE_BAND, short, titled
from calib.faces.palette import INK, PALE, WARNING
from calib.faces.written import SIGNS

_HIGHEST_THIN, _LOWEST_THIN = 7.0, 4.0  # [in] of the lines of one figure


def outlet_lines(shown: OutletsDrawing, place: int, count: int) -> Figure:
    """A thin line for each outlet, and a lane for each statement in which the outlets that have it are marked."""
    lot = shown.against_design or shown.without_design
    figure = Figure(figsize=(FIGURE_WIDTH, 1.5 + _thin_height(len(lot))))
    if not shown.against_design:
        axes = figure.subplots()
        _thin_lines(axes, lot)
        flow_axis(axes, lot, shown.unit)
        titled(axes, "Without a design", _counted(place, count, len(lot)))
        return figure
    axes, lanes = figure.subplots(1, 2, sharey=True, width_ratios=(5, 1))
    _thin_lines(axes, lot)
    _thin_percent(axes, lot)
    titled(
        axes,
        title_of(place, count),
        f"{len(lot)} outlets by system{_and_left(shown)}, each system sorted; lines: flow ± U; band: tolerance",
    )
    _lanes(lanes, lot)
    handles, labels = statement_legend(lot)
    words = [outlet.statement or "not judged" for outlet in lot]
    counted = [f"{name}: {words.count(name)}" if name in words else name for name in labels]
    figure.legend(handles, counted, loc="outside lower left", ncols=3)
    return figure


def _and_left(shown: OutletsDrawing) -> str:
    return f", {len(shown.left)} more not measured" if shown.left else ""


def _thin_height(count: int) -> float:
    return _LOWEST_THIN + (_HIGHEST_THIN - _LOWEST_THIN) * min(count, MOST_THIN) / MOST_THIN


def _counted(place: int, count: int, outlets: int) -> str:
    return f"{outlets} outlets by system, each system sorted" + ("" if count == 1 else f"; figure {place} of {count}")


def _thin_lines(axes: Axes, lot: Sequence[OutletDrawing]) -> None:
    rows = range(len(lot))
    value, expanded = (
        np.array([getattr(outlet, name) for outlet in lot]) for name in ("value", "expanded_uncertainty")
    )
    axes.hlines(rows, value - expanded, value + expanded, color=INK, lw=0.5)
    axes.plot(value, rows, "|", color=INK, ms=2.2, mew=1.1)
    starts = [row for row in rows if row == 0 or lot[row].system != lot[row - 1].system]
    for row in starts[1:]:
        axes.axhline(row - 0.5, color=INK, lw=0.4)
    apart = _apart(starts, len(lot))
    axes.set_yticks([row - 0.5 for row in apart], [short(lot[row].system, 22) for row in apart], fontsize=SMALL_LETTERS)
    for label in axes.get_yticklabels():
        label.set_verticalalignment("top")
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(len(lot) - 0.5, -0.5)


def _apart(rows: Sequence[int], count: int) -> list[int]:
    """Those of the rows whose labels do not touch the label before."""
    least = 0.13 * count / _thin_height(count)
    apart: list[int] = []
    for row in rows:
        if not apart or row - apart[-1] >= least:
            apart.append(int(row))
    return apart


def _thin_percent(axes: Axes, lot: OutletDrawings) -> None:
    rows = np.arange(len(lot))
    low, high = np.array([drawn_limits(outlet, WIDEST) for outlet in lot]).T
    edges = np.repeat(rows, 2) + np.tile((-0.5, 0.5), len(lot))
    axes.fill_betweenx(
        edges, np.repeat(low, 2), np.repeat(high, 2), zorder=0, **TOLERANCE_BAND
    )  # one shape: a bar each takes long
    value = np.array([outlet.value for outlet in lot])
    low, high = percent_axis(axes, lot)
    for beyond, edge, sign in ((value > high, high, ">"), (value < low, low, "<")):
        if beyond.any():
            axes.plot(np.full(beyond.sum(), edge), rows[beyond], sign, color=INK, ms=4, clip_on=False)


def _lanes(axes: Axes, lot: Sequence[OutletDrawing]) -> None:
    """A mark in the lane of each outlet's statement, and the names of those that fail where there is room."""
    for lane, (statement, sign) in enumerate(SIGNS.items()):
        rows = [row for row, outlet in enumerate(lot) if outlet.statement == statement]
        fails: dict[str, Any] = {"color": WARNING, "lw": 1.8} if statement == "fail" else {"color": INK, "lw": 0.9}
        axes.hlines(rows, lane - 0.38, lane + 0.38, **fails)
        axes.axvline(lane - 0.5, color=PALE, lw=0.6)
        axes.text(lane, 1.01, sign, transform=axes.get_xaxis_transform(), ha="center", va="bottom")
    failed = [row for row, outlet in enumerate(lot) if outlet.statement == "fail"]
    for row in _apart(failed, len(lot)):
        axes.text(
            3.6, row, short(lot[row].name, 16), va="center", fontsize=SMALL_LETTERS, fontweight="bold", color=WARNING
        )
    axes.set_xticks([])
    axes.tick_params(axis="y", length=0, labelleft=False)
    axes.set_xlim(-0.5, 3.5)
    axes.spines["left"].set_visible(False)
    axes.spines["bottom"].set_visible(False)
