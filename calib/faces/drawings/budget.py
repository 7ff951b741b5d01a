"""Pictures of uncertainty budgets: one reading's as sorted bars, with its distribution below; many readings' side by side."""

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from operator import itemgetter

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch
from numpy.typing import NDArray

from calib.counted import count_of
from calib.faces.drawings.style import (
    CONTRIBUTION_LOOKS,
    EVALUATION_LOOKS,
    FIGURE_WIDTH,
    SMALL_LETTERS,
    Chart,
    house_style,
    in_lines,
    short,
    stacked,
    titled,
)
from calib.faces.palette import BAND, EDGE, INK, STROKE
from calib.faces.written import Content, unit_text

CONTRIBUTIONS = tuple(CONTRIBUTION_LOOKS)
_MOST_BARS = 40
_ROW = 0.168  # [in]
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


def budget_bars(reading: Content, distribution: DistributionDrawing | None = None) -> Chart:
    """One reading's budget: the share of each contribution in the variance of the flow, largest first; its distribution below.

    `reading` is a reading of the report's content, or the answer of `calib budget --json`.
    """
    shown = _sorted(reading)
    high = 1.25 + 0.27 * len(shown)
    with house_style():
        if distribution is None:
            figure = Figure(figsize=(FIGURE_WIDTH, high))
            _bars(figure.subplots(), reading, shown)
            words = _bars_words(reading)
        else:
            figure = Figure(figsize=(FIGURE_WIDTH, high + 2.9))
            above, below = figure.subfigures(2, 1, squeeze=False, height_ratios=(high, 2.9))[:, 0]
            _bars(above.subplots(), reading, shown)
            _distribution(below.subplots(), distribution)
            below.legend(loc="outside lower left", ncols=2)
            words = f"{_bars_words(reading)} {_distribution_words(distribution)}"
        return Chart(figure, words)


def _sorted(reading: Content) -> list[Content]:
    """Contributions, largest share first; those of equal share in the order of the budget."""
    return sorted(reading["contributions"], key=lambda contribution: -contribution["variance_percent"])


def _bars(axes: Axes, reading: Content, shown: Sequence[Content]) -> None:
    rows = np.arange(len(shown))
    for row, contribution in zip(rows, shown, strict=True):
        axes.barh(
            row, contribution["variance_percent"], height=0.66, **EVALUATION_LOOKS[contribution["evaluation"]].patch
        )
        axes.annotate(
            _percent(contribution["variance_percent"]), (contribution["variance_percent"], row), (4, 0), textcoords="offset points",
            va="center", fontsize=SMALL_LETTERS,
        )  # fmt: skip
    axes.set_yticks(rows, [contribution["name"] for contribution in shown])
    axes.tick_params(axis="y", length=0)
    axes.set_ylim(len(shown) - 0.4, -0.6)
    axes.set_xlim(0, max(10.0, 1.14 * max((contribution["variance_percent"] for contribution in shown), default=0.0)))
    axes.set_xlabel("share of the variance of the flow [%]")
    titled(axes, f"{reading['outlet']}, reading {reading['reading']}: budget", unit_text(reading["flow"]["statement"]))
    used = dict.fromkeys(contribution["evaluation"] for contribution in shown)
    keys = [Patch(label=_EVALUATIONS[name], **EVALUATION_LOOKS[name].patch) for name in sorted(used)]
    axes.legend(handles=keys, loc="lower right")


def _percent(share: float) -> str:
    return "0 %" if share == 0 else "< 0.1 %" if share < 0.1 else f"{share:.1f} %"


def _bars_words(reading: Content) -> str:
    parts = "; ".join(
        f"{contribution['name']} {_percent(contribution['variance_percent'])}" for contribution in _sorted(reading)
    )
    return (
        f"Uncertainty budget of reading {reading['reading']} at {short(reading['outlet'], 60)}, "
        f"flow {unit_text(reading['flow']['statement'])}: share of each contribution in the variance, largest first: {parts}."
    )


def _distribution(axes: Axes, drawing: DistributionDrawing) -> None:
    """Output distribution of the flow, the normal one of the law over it, and the coverage interval of each."""
    width = 4.5 * drawing.standard_uncertainty
    ends = (drawing.value - width, drawing.value + width)
    axes.hist(
        drawing.sample,
        bins=90,
        range=ends,
        density=True,
        color=BAND,
        ec=EDGE,
        lw=0.8,
        histtype="stepfilled",
        label="distributions (Monte Carlo)",
    )
    x = np.linspace(*ends, 301)
    z = (x - drawing.value) / drawing.standard_uncertainty
    density = np.exp(-0.5 * z**2) / (drawing.standard_uncertainty * np.sqrt(2 * np.pi))
    axes.plot(x, density, color=STROKE, lw=1.6, label="law of propagation, normal")
    for interval, style, name in (
        (drawing.law, "-", "interval of the law"),
        (drawing.simulated, "--", "interval, distributions"),
    ):
        for place, end in enumerate(interval):
            axes.axvline(end, color=INK, ls=style, lw=1.1, label=name if place == 0 else None)
    axes.set_ylim(bottom=0, top=1.1 * float(density.max()))
    axes.set_yticks([])
    axes.spines["left"].set_visible(False)
    axes.set_xlabel(drawing.label)
    titled(axes, "Propagation of distributions")


def _distribution_words(drawing: DistributionDrawing) -> str:
    return (
        f"Distribution of the {drawing.label} of {drawing.name} from {len(drawing.sample)} Monte Carlo trials, with the normal "
        f"distribution of the law of propagation about {drawing.value:.5g}. Coverage interval of the law: {drawing.law[0]:.5g} "
        f"to {drawing.law[1]:.5g}; of the distributions: {drawing.simulated[0]:.5g} to {drawing.simulated[1]:.5g}."
    )


def budget_chart(readings: Sequence[Content]) -> Chart:
    """Share of each contribution in the variance of each flow, as one bar a reading; their numbers stand in a table above it."""
    shown = _with_room(readings)
    labels = list(map(_label, shown))
    rows, height = stacked(labels, _ROW)
    with house_style():
        figure = Figure(figsize=(FIGURE_WIDTH, 1.75 + _ROW * height))
        axes = figure.subplots()
        left = np.zeros(len(shown))
        for name, look in CONTRIBUTION_LOOKS.items():
            share = np.array([_share(reading, name) for reading in shown])
            if share.any():
                axes.barh(rows, share, left=left, height=0.72, label=name, **look.patch)
            left += share
        axes.set_yticks(rows, labels, fontsize=SMALL_LETTERS)
        axes.tick_params(axis="y", length=0)
        axes.set_ylim(height - 0.4, -0.6)
        axes.set_xlim(0, 100)
        axes.set_xlabel("share of the variance of the flow [%]")
        figure.legend(loc="outside upper left", ncols=4)
        return Chart(figure, _shares_words(shown))


def most_bars(readings: Sequence[Content]) -> list[Content]:
    """The readings that a budget chart has room for: those with the largest relative uncertainty."""
    shown = _with_room(readings)
    if len(shown) == len(readings):
        return shown
    return _with_room(sorted(readings, key=_relative_uncertainty, reverse=True))


def _with_room(readings: Sequence[Content]) -> list[Content]:
    """The first readings, as many as a page holds with their labels."""
    shown = list(readings[:_MOST_BARS])
    while len(shown) > 1 and stacked(list(map(_label, shown)), _ROW)[1] > _MOST_BARS:
        shown.pop()
    return shown


def _label(reading: Content) -> str:
    return in_lines(f"{reading['outlet']}, {reading['instrument']}")


def _relative_uncertainty(reading: Content) -> float:
    return float(reading["flow"]["standard_uncertainty"] / (abs(reading["flow"]["value"]) or 1))


def _shares_words(readings: Sequence[Content]) -> str:
    """Which contribution is the largest, and how often."""
    largest = Counter(max(reading["contributions"], key=itemgetter("variance_percent"))["name"] for reading in readings)
    told = ", ".join(f"{name} for {count}" for name, count in largest.most_common())
    return (
        f"Share of each contribution in the variance of {count_of(len(readings), 'flow', 'flows')}; their numbers are in the table "
        f"above. The largest is: {told}."
    )


def _share(reading: Content, name: str) -> float:
    return float(
        next(
            (
                contribution["variance_percent"]
                for contribution in reading["contributions"]
                if contribution["name"] == name
            ),
            0.0,
        )
    )
