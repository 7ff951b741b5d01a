"""Charts: matplotlib figures in one calm house style, readable in grey; colour is never the only sign."""

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from calib.curves.curve import CorrectionCurve
from calib.quantities import Unit

INK, LINE, BAND, PALE = "#26323b", "#1d5c63", "#b9d3d0", "#dfe4e6"

# Colour, hatch and order of the contributions, from the instrument to the outlet.
_LOOKS = {
    "repeatability": ("#1d5c63", ""),
    "resolution": ("#7fb0aa", "...."),
    "calibration scatter": ("#d9b65d", ""),
    "reference standard": ("#f0dfb0", "////"),
    "stability": ("#8a5a44", ""),
    "dimension": ("#c9d3d8", "\\\\\\\\"),
    "outlet factor": ("#55616b", ""),
    "method": ("#eef1f2", "xxxx"),
}
_MOST_BARS = 40

# Typed text is text: a $ in a tag is no formula. Text stays text in the SVG, so that it can be read and searched.
_STYLE: Any = {
    "text.parse_math": False,
    "svg.fonttype": "none",
    "font.family": "sans-serif",
    "font.size": 9,
    "axes.edgecolor": INK,
    "axes.labelcolor": INK,
    "axes.spines.top": False,
    "axes.spines.right": False,
    "xtick.color": INK,
    "ytick.color": INK,
    "text.color": INK,
    "hatch.linewidth": 0.6,
    "hatch.color": INK,
    "figure.facecolor": "white",
}


@dataclass(frozen=True)
class ComparedPoints:
    """Comparisons of the phase that made the curve, in the unit of the chart."""

    indication: NDArray[np.float64]
    correction: NDArray[np.float64]
    expanded_uncertainty: NDArray[np.float64]


def curve_chart(curve: CorrectionCurve, points: ComparedPoints, own: Unit, name: str) -> Figure:
    """Correction against indication: points with their U, the curve, its band at k = 2, and below the residuals."""
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(6.4, 3.9), layout="constrained")
        upper, lower = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (3, 1)})
        x = np.linspace(curve.low, curve.high, 201)
        shown, correction = own.from_si(x), own.difference_from_si(curve.correction(x))
        u = own.difference_from_si(np.hypot(curve.scatter_uncertainty(x), curve.reference_uncertainty(x)))
        upper.fill_between(shown, correction - 2 * u, correction + 2 * u, color=BAND, lw=0, label="band, k = 2")
        upper.plot(shown, correction, color=LINE, lw=1.8, label="correction curve")
        upper.errorbar(
            points.indication,
            points.correction,
            yerr=points.expanded_uncertainty,
            fmt="o",
            ms=4.5,
            color=INK,
            capsize=3,
            lw=0.9,
            label="comparisons, with U",
        )
        upper.axhline(0, color=INK, lw=0.6, ls=":")
        upper.set_ylabel(f"correction [{own.symbol}]")
        upper.set_title(name, loc="left", fontsize=9.5, fontweight="bold")
        upper.legend(frameon=False, fontsize=8, loc="best")
        fitted = own.difference_from_si(curve.correction(own.to_si(points.indication).clip(curve.low, curve.high)))
        lower.axhline(0, color=INK, lw=0.6)
        lower.vlines(points.indication, 0, points.correction - fitted, color=LINE, lw=1.6)
        lower.plot(points.indication, points.correction - fitted, "o", ms=3.5, color=INK)
        lower.set_ylabel("residual")
        lower.set_xlabel(f"indication [{own.symbol}]")
        figure.align_ylabels()
        return figure


def budget_chart(readings: Sequence[dict[str, Any]]) -> Figure:
    """Share of each contribution in the variance of each flow, as one bar a reading."""
    shown = readings[:_MOST_BARS]
    with mpl.rc_context(_STYLE):
        figure = Figure(figsize=(6.4, 1.5 + 0.27 * len(shown)), layout="constrained")
        axes = figure.subplots()
        left = np.zeros(len(shown))
        rows = np.arange(len(shown))
        for name, (colour, hatch) in _LOOKS.items():
            share = np.array([_share(one, name) for one in shown])
            axes.barh(rows, share, left=left, height=0.72, color=colour, hatch=hatch, edgecolor=INK, lw=0.4, label=name)
            left += share
        axes.set_yticks(rows, [_short(f"{one['outlet']}, {one['instrument']}") for one in shown])
        axes.invert_yaxis()
        axes.set_xlim(0, 100)
        axes.margins(y=0.01)
        axes.set_xlabel("share of the variance of the flow [%]")
        figure.legend(loc="outside upper left", ncols=4, frameon=False, fontsize=8)
        return figure


def most_bars(readings: Sequence[dict[str, Any]]) -> list[dict[str, Any]]:
    """The readings that a budget chart has room for: those with the largest relative uncertainty."""
    if len(readings) <= _MOST_BARS:
        return list(readings)
    ranked = sorted(readings, key=lambda one: -one["flow"]["standard_uncertainty"] / (abs(one["flow"]["value"]) or 1))
    return ranked[:_MOST_BARS]


def _share(reading: dict[str, Any], name: str) -> float:
    return float(next((one["variance_percent"] for one in reading["contributions"] if one["name"] == name), 0.0))


def _short(text: str) -> str:
    return text if len(text) <= 34 else text[:33] + "…"


def as_svg(figure: Figure, salt: str) -> str:
    """The figure as an SVG element to stand within a page; the same figure and salt give the same bytes."""
    out = io.StringIO()
    with mpl.rc_context(_STYLE | {"svg.hashsalt": salt}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Type": None, "Format": None})
    svg = out.getvalue()
    return re.sub(r"[ \t]+\n", "\n", svg[svg.index("<svg") :])


def save(figure: Figure, path: Path) -> None:
    """The figure as a file whose name says the form: .svg, .png or .pdf."""
    with mpl.rc_context(_STYLE | {"svg.hashsalt": "calib"}):
        metadata = {"Date": None} if path.suffix == ".svg" else None
        figure.savefig(path, dpi=160, metadata=metadata)
