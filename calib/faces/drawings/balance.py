"""The balance of a job: supply, return, exhaust and net flow of each system with U, against the design."""

from collections.abc import Mapping, Sequence
from typing import Any

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch

from calib.errors import CalibError
from calib.faces.drawings.outlets import flow_text, in_unit
from calib.faces.drawings.style import INK, PALE, SERVICE_LOOKS, SMALL, WIDTH, Look, house_style, short, titled
from calib.faces.written import design_text

Total = Mapping[str, Any]  # one of the content's totals
Part = list[tuple[str, list[Total]]]  # what one picture shows: systems with their totals

_MOST_ROWS = 44
_ROW = 0.21  # [in]
_OTHER = Look("#8f9aa1", "xx")  # a service that is none of the four
_ALL = "all systems"


def balance_charts(content: Mapping[str, Any], most: int | None = None) -> list[Figure]:
    """The totals of a report's content as bars; a system is never parted. Raises CalibError where there is no total.

    Of more pictures than `most` the first ones are drawn and the last, which has the totals of the job.
    """
    parts = _parts(content)
    symbol = _common_unit([one for part in parts for _, lot in part for one in lot])
    with house_style():
        return [_chart(part, symbol, number, len(parts)) for number, part in _numbered(parts, most)]


def _numbered(parts: Sequence[Part], most: int | None) -> list[tuple[int, Part]]:
    numbered = list(enumerate(parts, start=1))
    return numbered if most is None or len(numbered) <= most else [*numbered[: most - 1], numbered[-1]]


def _parts(content: Mapping[str, Any]) -> list[Part]:
    """The systems with their totals, as many in a picture as it holds."""
    lots: dict[str, list[Total]] = {}
    for one in content["totals"]:
        lots.setdefault(one["system"], []).append(one)
    # Of a single system the job's totals are the system's own.
    whole = [(_ALL, list(content["job_totals"]))] if len(lots) > 1 and content["job_totals"] else []
    if not lots:
        raise CalibError("there are no totals to draw: no outlet of the job has a reading or a design")
    parts: list[Part] = [[]]
    for name, lot in [*lots.items(), *whole]:
        if parts[-1] and sum(len(each) + 1 for _, each in parts[-1]) + len(lot) + 1 > _MOST_ROWS:
            parts.append([])
        parts[-1].append((name, lot))
    return parts


def _common_unit(totals: Sequence[Total]) -> str:
    symbols = {one[part]["unit"] for one in totals for part in ("flow", "design") if one[part]}
    return str(symbols.pop()) if len(symbols) == 1 else "L/s"


def _chart(part: Sequence[tuple[str, Sequence[Total]]], symbol: str, number: int, count: int) -> Figure:
    rows = sum(len(lot) + 1 for _, lot in part)
    figure = Figure(figsize=(WIDTH, 1.35 + _ROW * rows), layout="constrained")
    axes = figure.subplots()
    place, labels = 0, list[tuple[str, bool]]()
    for system, lot in part:
        labels.append((short(system, 26), True))
        place += 1
        for one in lot:
            _total(axes, one, place, symbol)
            labels.append((one["service"], False))
            place += 1
    axes.set_yticks(range(place), [text for text, _ in labels], fontsize=SMALL)
    for label, (_, is_head) in zip(axes.get_yticklabels(), labels, strict=True):
        label.set_fontweight("bold" if is_head else "normal")
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(place - 0.4, -0.6)
    axes.axvline(0, color=INK, lw=0.7)
    axes.set_xlabel(f"flow [{symbol}]")
    titled(axes, "Balance of the systems" + ("" if count == 1 else f", {number} of {count}"))
    figure.legend(*_legend([one for _, lot in part for one in lot]), loc="outside lower left", ncols=4)
    return figure


def _total(axes: Axes, one: Total, place: int, symbol: str) -> None:
    design = one["design"]
    if design:
        at, _ = in_unit({**design, "expanded_uncertainty": 0.0}, symbol)
        if design["tolerance_percent"] is not None:
            half = abs(at) * design["tolerance_percent"] / 100
            axes.barh(place, 2 * half, left=at - half, height=0.94, color=PALE, lw=0)
        axes.plot([at, at], [place - 0.47, place + 0.47], color=INK, lw=2.0, zorder=7, solid_capstyle="butt")
    if one["flow"]:
        value, expanded = in_unit(one["flow"], symbol)
        axes.barh(place, value, height=0.5, zorder=2, **SERVICE_LOOKS.get(one["service"], _OTHER).patch)
        # White below the ink, so that the bar of U is seen on dark ground.
        axes.errorbar(value, place, xerr=expanded, fmt="none", ecolor="white", elinewidth=2.6, zorder=5)
        axes.errorbar(value, place, xerr=expanded, fmt="none", ecolor=INK, elinewidth=1.1, capsize=3, zorder=6)
    axes.text(1.015, place, _told(one), transform=axes.get_yaxis_transform(), va="center", fontsize=SMALL)


def _told(one: Total) -> str:
    flow = flow_text(one["flow"]) if one["flow"] else "not measured"
    partly = one["flow"] and one["outlets_measured"] < one["outlets"]
    return flow + (f", {one['outlets_measured']} of {one['outlets']}" if partly else "")


def _legend(totals: Sequence[Total]) -> tuple[list[Any], list[str]]:
    services = dict.fromkeys(one["service"] for one in totals if one["flow"])
    looks = {name: SERVICE_LOOKS.get(name, _OTHER) for name in services}
    handles: list[Any] = [Patch(**look.patch) for look in looks.values()]
    labels = list(looks)
    if handles:
        handles.append(Line2D([], [], color=INK, lw=1.1, marker="|", ms=5))
        labels.append("expanded uncertainty U")
    if any(one["design"] for one in totals):
        handles.append(Line2D([], [], color=INK, lw=0, marker="|", ms=9, mew=2.0))
        labels.append("design")
    if any(one["design"] and one["design"]["tolerance_percent"] is not None for one in totals):
        handles.append(Patch(fc=PALE))
        labels.append("tolerance")
    return handles, labels


def balance_alternatives(content: Mapping[str, Any], most: int | None = None) -> list[str]:
    """What each picture of `balance_charts` shows, in words with its numbers; raises CalibError where there is no total."""
    parts = _parts(content)
    return [
        (f"Picture {number} of {len(parts)}. " if len(parts) > 1 else "")
        + "Flows of the systems with expanded uncertainty, against the design. "
        + " ".join(_system_text(system, lot) for system, lot in part)
        for number, part in _numbered(parts, most)
    ]


def _system_text(system: str, lot: Sequence[Total]) -> str:
    return f"{short(system, 40)}: {'; '.join(_total_text(one) for one in lot)}."


def _total_text(one: Total) -> str:
    text = f"{one['service']} {_told(one)}"
    design = one["design"]
    if not design:
        return text
    text += f" against {design_text(design['value'])} {design['unit']}"
    if design["percent_of_design"] is not None:
        text += f" ({design['percent_of_design']:.1f} % of design)"
    return text + (f", {design['conformity']}" if design["conformity"] else "")
