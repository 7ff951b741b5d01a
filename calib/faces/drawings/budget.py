"""Pictures of uncertainty budgets: one reading's as sorted bars, with its distribution below; many readings' side by side."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from numpy.typing import NDArray

from calib.faces.drawings.style import (
    BAND,
    CONTRIBUTION_LOOKS,
    EVALUATION_LOOKS,
    INK,
    LINE,
    SMALL,
    WIDTH,
    house_style,
    short,
    titled,
)

ReadingDrawing = Mapping[str, Any]  # one of the content's readings

CONTRIBUTIONS = tuple(CONTRIBUTION_LOOKS)
_MOST_BARS = 40
_EVALUATIONS = {"A": "type A: from observations", "B": "type B: otherwise"}


@dataclass(frozen=True)
class DistributionDrawing:
    """What the chart of an output distribution shows, in one unit."""

    name: str
    label: str
    sample: NDArray[np.float64]  # (trials,) sorted
    value: float  # by the law
    standard_uncertainty: float
    law: tuple[float, float]
    simulated: tuple[float, float]


def budget_bars(reading: ReadingDrawing, distribution: DistributionDrawing | None = None) -> Figure:
    """One reading's budget: the share of each contribution in the variance of the flow, largest first; its distribution below.

    `reading` is a reading of the report's content, or the answer of `calib budget --json`.
    """
    shown = _sorted(reading)
    high = 1.25 + 0.27 * len(shown)
    with house_style():
        if distribution is None:
            figure = Figure(figsize=(WIDTH, high), layout="constrained")
            _bars(figure.subplots(), reading, shown)
        else:
            figure = Figure(figsize=(WIDTH, high + 2.9), layout="constrained")
            above, below = figure.subfigures(2, 1, squeeze=False, height_ratios=(high, 2.9))[:, 0]
            _bars(above.subplots(), reading, shown)
            _distribution(below.subplots(), distribution, "")
            below.legend(loc="outside lower left", ncols=2)
        return figure


def _sorted(reading: ReadingDrawing) -> list[Mapping[str, Any]]:
    """Contributions, largest share first; those of equal share in the order of the budget."""
    return sorted(reading["contributions"], key=lambda one: -one["variance_percent"])


def _bars(axes: Axes, reading: ReadingDrawing, shown: Sequence[Mapping[str, Any]]) -> None:
    rows = np.arange(len(shown))
    for row, one in zip(rows, shown, strict=True):
        axes.barh(row, one["variance_percent"], height=0.66, **EVALUATION_LOOKS[one["evaluation"]].patch)
        axes.annotate(
            _percent(one["variance_percent"]), (one["variance_percent"], row), (4, 0), textcoords="offset points",
            va="center", fontsize=SMALL,
        )  # fmt: skip
    axes.set_yticks(rows, [one["name"] for one in shown])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(len(shown) - 0.4, -0.6)
    axes.set_xlim(0, max(10.0, 1.14 * max((one["variance_percent"] for one in shown), default=0.0)))
    axes.set_xlabel("share of the variance of the flow [%]")
    titled(axes, f"{reading['outlet']}, reading {reading['reading']}: budget", reading["flow"]["statement"])
    used = dict.fromkeys(one["evaluation"] for one in shown)
    keys = [Patch(label=_EVALUATIONS[name], **EVALUATION_LOOKS[name].patch) for name in sorted(used)]
    axes.legend(handles=keys, loc="lower right")


def _percent(share: float) -> str:
    return "0 %" if share == 0 else "< 0.1 %" if share < 0.1 else f"{share:.1f} %"


def budget_bars_alternative(reading: ReadingDrawing) -> str:
    """The picture of one budget in words."""
    parts = "; ".join(f"{one['name']} {_percent(one['variance_percent'])}" for one in _sorted(reading))
    return (
        f"Uncertainty budget of reading {reading['reading']} at {short(reading['outlet'], 60)}, "
        f"flow {reading['flow']['statement']}: share of each contribution in the variance, largest first: {parts}."
    )


def distribution_chart(drawing: DistributionDrawing) -> Figure:
    """Output distribution of the flow, the normal one of the law over it, and the coverage interval of each."""
    with house_style():
        figure = Figure(figsize=(WIDTH, 3.4), layout="constrained")
        _distribution(figure.subplots(), drawing, drawing.name)
        figure.legend(loc="outside lower left", ncols=2)
        return figure


def _distribution(axes: Axes, drawing: DistributionDrawing, title: str) -> None:
    width = 4.5 * drawing.standard_uncertainty
    ends = (drawing.value - width, drawing.value + width)
    axes.hist(drawing.sample, bins=90, range=ends, density=True, color=BAND, label="distributions (Monte Carlo)")
    x = np.linspace(*ends, 301)
    z = (x - drawing.value) / drawing.standard_uncertainty
    density = np.exp(-0.5 * z**2) / (drawing.standard_uncertainty * np.sqrt(2 * np.pi))
    axes.plot(x, density, color=LINE, lw=1.6, label="law of propagation, normal")
    for interval, style, name in (
        (drawing.law, "-", "interval of the law"),
        (drawing.simulated, "--", "interval, distributions"),
    ):
        for number, end in enumerate(interval):
            axes.axvline(end, color=INK, ls=style, lw=1.1, label=name if number == 0 else None)
    axes.set_ylim(bottom=0, top=1.1 * float(density.max()))
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(drawing.label)
    titled(axes, title or "Propagation of distributions")


def distribution_alternative(drawing: DistributionDrawing) -> str:
    """The picture of a distribution in words."""
    return (
        f"Distribution of the {drawing.label} of {drawing.name} from {len(drawing.sample)} Monte Carlo trials, with the normal "
        f"distribution of the law of propagation about {drawing.value:.5g}. Coverage interval of the law: {drawing.law[0]:.5g} "
        f"to {drawing.law[1]:.5g}; of the distributions: {drawing.simulated[0]:.5g} to {drawing.simulated[1]:.5g}."
    )


def budget_chart(readings: Sequence[ReadingDrawing]) -> Figure:
    """Share of each contribution in the variance of each flow, as one bar a reading."""
    shown = readings[:_MOST_BARS]
    with house_style():
        figure = Figure(figsize=(WIDTH, 1.75 + 0.27 * len(shown)), layout="constrained")
        axes = figure.subplots()
        left = np.zeros(len(shown))
        rows = np.arange(len(shown))
        for name, look in CONTRIBUTION_LOOKS.items():
            share = np.array([_share(one, name) for one in shown])
            if share.any():
                axes.barh(rows, share, left=left, height=0.72, label=name, **look.patch)
            left += share
        axes.set_yticks(rows, [short(f"{one['outlet']}, {one['instrument']}") for one in shown])
        axes.tick_params(axis="y", length=0)
        axes.set_ylim(len(shown) - 0.4, -0.6)
        axes.set_xlim(0, 100)
        axes.set_xlabel("share of the variance of the flow [%]")
        figure.legend(loc="outside upper left", ncols=4)
        return figure


def most_bars(readings: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The readings that a budget chart has room for: those with the largest relative uncertainty."""
    if len(readings) <= _MOST_BARS:
        return list(readings)
    ranked = sorted(readings, key=lambda one: -one["flow"]["standard_uncertainty"] / (abs(one["flow"]["value"]) or 1))
    return ranked[:_MOST_BARS]


def budget_alternative(readings: Sequence[ReadingDrawing]) -> str:
    """The picture of many budgets in words: which contribution rules how many of them."""
    shown = readings[:_MOST_BARS]
    ruling = [str(_sorted(one)[0]["name"]) for one in shown if one["contributions"]]
    counted = ", ".join(f"{name} in {ruling.count(name)}" for name in CONTRIBUTIONS if name in ruling)
    return f"Budgets of {len(shown)} readings, one bar each: share of every contribution in the variance. Largest: {counted}."


def _share(reading: ReadingDrawing, name: str) -> float:
    return float(next((one["variance_percent"] for one in reading["contributions"] if one["name"] == name), 0.0))
