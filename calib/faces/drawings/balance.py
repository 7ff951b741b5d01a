"""The balance of a job: supply, return, exhaust and net flow of each system with U, against the design."""

from collections.abc import Sequence
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from calib.errors import CalibError
from calib.faces.drawings.outlet_rows import write_beside
from calib.faces.drawings.outlets import flow_text, in_unit
from calib.faces.drawings.style import (
    FIGURE_WIDTH,
    SERVICE_LOOKS,
    SMALL_LETTERS,
    TOLERANCE_BAND,
    Chart,
    Look,
    house_style,
    in_lines,
    short,
    stacked,
    titled,
)
from calib.faces.palette import INK, WHITE
from calib.faces.written import Content, design_text, flow_limits_of, tolerance_text, unit_text
from calib.procedures.on_record.flow_unit import common_flow_unit

_Part = list[tuple[str, list[Content]]]  # what one picture shows: systems with their totals

_MOST_ROWS = 34
_ROW = 0.21  # [in]
_OTHER = Look("#8f9aa1", "xx")  # a service that is none of the four
_PARTIAL = Look(WHITE, "\\\\\\\\\\")  # a sum of a part of the outlets
_ALL = "all systems"


def balance_charts(content: Content, most: int | None = None) -> list[Chart]:
    """Supply, return, exhaust and net flow of each system and of the job, with U and design; a system is never parted.

    `content` is a report's content, or the answer of `calib balance --json`. Of more pictures than `most` the first ones are drawn
    and the last, which has the totals of the job. Raises CalibError where there is no total.
    """
    parts = _parts(content)
    symbol = _common_unit([total for part in parts for _, lot in part for total in lot])
    with house_style():
        return [
            Chart(_figure(part, symbol, place, len(parts)), _words(part, place, len(parts)))
            for place, part in _numbered(parts, most)
        ]


def _numbered(parts: Sequence[_Part], most: int | None) -> list[tuple[int, _Part]]:
    numbered = list(enumerate(parts, start=1))
    return numbered if most is None or len(numbered) <= most else [*numbered[: most - 1], numbered[-1]]


def _parts(content: Content) -> list[_Part]:
    """The systems with their totals, as many in a picture as it holds."""
    lots: dict[str, list[Content]] = {}
    for total in content["totals"]:
        lots.setdefault(total["system"], []).append(total)
    # Of a single system the job's totals are the system's own.
    whole = [(_ALL, list(content["job_totals"]))] if len(lots) > 1 and content["job_totals"] else []
    if not lots:
        raise CalibError("there are no totals to draw: no outlet of the job has a reading or a design")
    parts: list[_Part] = [[]]
    for name, lot in [*lots.items(), *whole]:
        if parts[-1] and _stacked([*parts[-1], (name, lot)])[1] > _MOST_ROWS:
            parts.append([])
        parts[-1].append((name, lot))
    return parts


def _common_unit(totals: Sequence[Content]) -> str:
    return common_flow_unit(
        total[part]["unit"] for total in totals for part in ("flow", "design") if total[part]
    ).symbol


def _figure(part: _Part, symbol: str, place: int, count: int) -> Figure:
    middles, rows = _stacked(part)
    figure = Figure(figsize=(FIGURE_WIDTH, 1.35 + _ROW * rows))
    axes = figure.subplots()
    heads = {sum(len(lot) + 1 for _, lot in part[:place]) for place in range(len(part))}
    totals = [total for _, lot in part for total in lot]
    below = [middle for row, middle in enumerate(middles) if row not in heads]
    _totals(axes, list(zip(below, totals, strict=True)), symbol)
    axes.set_yticks(middles, _labels(part), fontsize=SMALL_LETTERS)
    for row in heads:
        axes.get_yticklabels()[row].set_fontweight("bold")
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(rows - 0.4, -0.6)
    axes.axvline(0, color=INK, lw=0.7)
    axes.set_xlabel(f"flow [{unit_text(symbol)}{_state(totals)}]")
    titled(axes, "Balance of the systems" + ("" if count == 1 else f", {place} of {count}"))
    figure.legend(*_legend(totals), loc="outside lower left", ncols=4)
    return figure


def _labels(part: _Part) -> list[str]:
    """The name of each system, and below it those of its totals."""
    return [label for system, lot in part for label in (in_lines(system, 26), *(total["service"] for total in lot))]


def _stacked(part: _Part) -> tuple[list[float], float]:
    return stacked(_labels(part), _ROW)


def _state(totals: Sequence[Content]) -> str:
    """The density that all totals are at."""
    density = totals[0].get("density_kg_per_m3")
    return "" if density is None else f" at {density:g} kg/m³"


def _totals(axes: Axes, rows: Sequence[tuple[float, Content]], symbol: str) -> None:
    """Every total in its row; of each thing all rows at once, since drawing them one by one takes ten times as long."""
    for row, total in rows:
        write_beside(axes, row, _told(total), (total["design"] or {}).get("conformity"))
    _designs(
        axes, [(row, total["design"]) for row, total in rows if total["design"] and not _is_partial(total)], symbol
    )
    measured = [(row, _look(total), *in_unit(total["flow"], symbol)) for row, total in rows if total["flow"]]
    if not measured:
        return
    for look in dict.fromkeys(look for _, look, _, _ in measured):
        places, flows = zip(*[(row, flow) for row, other, flow, _ in measured if other == look], strict=True)
        axes.barh(places, flows, height=0.5, zorder=2, **look.patch)
    places, _, flows, expanded = zip(*measured, strict=True)
    # White below the ink, so that the bar of U is seen on dark ground.
    axes.errorbar(flows, places, xerr=expanded, fmt="none", ecolor="white", elinewidth=2.6, zorder=5)
    axes.errorbar(flows, places, xerr=expanded, fmt="none", ecolor=INK, elinewidth=1.1, capsize=3, zorder=6)


def _look(total: Content) -> Look:
    """How a total is drawn: a sum of a part of its outlets in a look of its own, whatever its service."""
    return _PARTIAL if _is_partial(total) else SERVICE_LOOKS.get(total["service"], _OTHER)


def _is_partial(total: Content) -> bool:
    """Whether some of its outlets were measured and some not: such a sum is held against no design."""
    return bool(total["flow"]) and total["outlets_measured"] < total["outlets"]


def _designs(axes: Axes, designs: Sequence[tuple[float, Content]], symbol: str) -> None:
    """A mark at each design, on its tolerance."""
    at = {row: in_unit({**design, "expanded_uncertainty": 0.0}, symbol)[0] for row, design in designs}
    limited = {row: _limits(design, at[row], symbol) for row, design in designs if tolerance_text(design)}
    if limited:
        left, wide = [low for low, _ in limited.values()], [high - low for low, high in limited.values()]
        axes.barh(list(limited), wide, left=left, height=0.94, **TOLERANCE_BAND)
    if at:
        rows = np.array(list(at))
        axes.vlines(list(at.values()), rows - 0.47, rows + 0.47, color=INK, lw=2.0, zorder=7)


def _limits(design: Content, at: float, symbol: str) -> tuple[float, float]:
    """The limits of a total as they are drawn: where there is none the band goes to nothing, or to twice the design."""
    low, high = (
        otherwise if limit is None else in_unit({**design, "value": limit, "expanded_uncertainty": 0.0}, symbol)[0]
        for limit, otherwise in zip(flow_limits_of(design), (0.0, 2.0 * at), strict=True)
    )
    return low, high


def _told(total: Content) -> str:
    flow = flow_text(total["flow"]) if total["flow"] else "not measured"
    return flow + (f", {total['outlets_measured']} of {total['outlets']}" if _is_partial(total) else "")


def _legend(totals: Sequence[Content]) -> tuple[list[Any], list[str]]:
    looks = {
        "a part of the outlets" if _is_partial(total) else total["service"]: _look(total)
        for total in sorted(totals, key=_is_partial)
        if total["flow"]
    }
    handles: list[Any] = [Patch(**look.patch) for look in looks.values()]
    labels = list(looks)
    if handles:
        handles.append(Line2D([], [], color=INK, lw=1.1, marker="|", ms=5))
        labels.append("expanded uncertainty U")
    if any(total["design"] and not _is_partial(total) for total in totals):
        handles.append(Line2D([], [], color=INK, lw=0, marker="|", ms=9, mew=2.0))
        labels.append("design")
    if any(total["design"] and not _is_partial(total) and tolerance_text(total["design"]) for total in totals):
        handles.append(Patch(**TOLERANCE_BAND))
        labels.append("tolerance")
    return handles, labels


def _words(part: _Part, place: int, count: int) -> str:
    return (
        (f"Picture {place} of {count}. " if count > 1 else "")
        + f"Flows of the systems{_state(part[0][1])} with expanded uncertainty, against the design. "
        + " ".join(_system_text(system, lot) for system, lot in part)
    )


def _system_text(system: str, lot: Sequence[Content]) -> str:
    return f"{short(system, 40)}: {'; '.join(_total_text(total) for total in lot)}."


def _total_text(total: Content) -> str:
    text = f"{total['service']} {_told(total)}"
    design = total["design"]
    if not design:
        return text
    said = f"{design_text(design['value'])} {unit_text(design['unit'])}"
    if _is_partial(total):
        return f"{text} outlets (the design of all is {said})"
    text += f" against {said}"
    if design["percent_of_design"] is not None:
        text += f" ({design['percent_of_design']:.1f} % of design)"
    return text + (f", {design['conformity']}" if design["conformity"] else "")
