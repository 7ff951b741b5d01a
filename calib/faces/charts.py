"""Charts: matplotlib figures in one calm house style, readable in grey; colour is never the only sign."""

import io
import re
import warnings
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import matplotlib as mpl
import numpy as np
from matplotlib.figure import Figure
from numpy.typing import NDArray

from calib.errors import CalibError
from calib.faces.plain_text import one_line

INK, LINE, BAND, PALE = "#26323b", "#1d5c63", "#b9d3d0", "#dfe4e6"

# Colour, hatch and order of the contributions, from the instrument to the outlet.
_LOOKS = {
    "repeatability": ("#1d5c63", ""),
    "resolution": ("#7fb0aa", "...."),
    "calibration scatter": ("#d9b65d", ""),
    "reference standard": ("#f0dfb0", "////"),
    "stability": ("#8a5a44", ""),
    "density": ("#a9c4e0", "\\\\\\\\...."),
    "probe": ("#4a6fa5", ""),
    "back pressure": ("#e3c9d6", "////...."),
    "dimension": ("#c9d3d8", "\\\\\\\\"),
    "outlet factor": ("#55616b", ""),
    "method": ("#eef1f2", "xxxx"),
}
CONTRIBUTIONS = tuple(_LOOKS)
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
class CurveDrawing:
    """What a calibration curve's chart shows, in the units of its axes. Arrays (m,) along the curve, (n,) of the comparisons."""

    name: str
    indication_label: str
    value_label: str
    along: NDArray[np.float64]  # (m,) indications
    curve: NDArray[np.float64]  # (m,) correction, or value
    band: NDArray[np.float64]  # (m,) expanded uncertainty of the curve with k = 2
    indication: NDArray[np.float64]  # (n,) of the comparisons
    compared: NDArray[np.float64]  # (n,) their correction, or reference value
    expanded_uncertainty: NDArray[np.float64]  # (n,) as the certificate states it
    fitted: NDArray[np.float64]  # (n,) the curve at their indications
    zero_line: bool


def curve_chart(drawing: CurveDrawing) -> Figure:
    """Curve against indication: points with their U, the curve, its band at k = 2, and below the residuals."""
    with _drawing():
        figure = Figure(figsize=(6.4, 3.9), layout="constrained")
        upper, lower = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (3, 1)})
        curve, band = drawing.curve, drawing.band
        upper.fill_between(drawing.along, curve - band, curve + band, color=BAND, lw=0, label="band, k = 2")
        upper.plot(drawing.along, curve, color=LINE, lw=1.8, label="curve")
        upper.errorbar(
            drawing.indication,
            drawing.compared,
            yerr=drawing.expanded_uncertainty,
            fmt="o",
            ms=4.5,
            color=INK,
            capsize=3,
            lw=0.9,
            label="comparisons, with U",
        )
        if drawing.zero_line:
            upper.axhline(0, color=INK, lw=0.6, ls=":")
        upper.set_ylabel(drawing.value_label)
        upper.set_title(_short(drawing.name, 60), loc="left", fontsize=9.5, fontweight="bold")
        upper.legend(frameon=False, fontsize=8, loc="best")
        residuals = drawing.compared - drawing.fitted
        lower.axhline(0, color=INK, lw=0.6)
        lower.vlines(drawing.indication, 0, residuals, color=LINE, lw=1.6)
        lower.plot(drawing.indication, residuals, "o", ms=3.5, color=INK)
        lower.set_ylabel("residual")
        lower.set_xlabel(drawing.indication_label)
        figure.align_ylabels()
        return figure


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


def distribution_chart(drawing: DistributionDrawing) -> Figure:
    """Output distribution of the flow, the normal one of the law over it, and the coverage interval of each."""
    with _drawing():
        figure = Figure(figsize=(6.4, 3.4), layout="constrained")
        axes = figure.subplots()
        width = 4.5 * drawing.standard_uncertainty
        axes.hist(
            drawing.sample,
            bins=90,
            range=(drawing.value - width, drawing.value + width),
            density=True,
            color=BAND,
            label="distributions (Monte Carlo)",
        )
        x = np.linspace(drawing.value - width, drawing.value + width, 301)
        z = (x - drawing.value) / drawing.standard_uncertainty
        density = np.exp(-0.5 * z**2) / (drawing.standard_uncertainty * np.sqrt(2 * np.pi))
        axes.plot(x, density, color=LINE, lw=1.6, label="law of propagation, normal")
        for ends, style, name in (
            (drawing.law, "-", "interval of the law"),
            (drawing.simulated, "--", "interval, distributions"),
        ):
            for number, end in enumerate(ends):
                axes.axvline(end, color=INK, ls=style, lw=1.1, label=name if number == 0 else None)
        axes.set_ylim(bottom=0, top=1.1 * float(density.max()))
        axes.set_yticks([])
        axes.spines["left"].set_visible(False)
        axes.set_xlabel(drawing.label)
        axes.set_title(_short(drawing.name, 60), loc="left", fontsize=9.5, fontweight="bold")
        figure.legend(loc="outside lower left", ncols=4, frameon=False, fontsize=8)
        return figure


def budget_chart(readings: Sequence[dict[str, Any]]) -> Figure:
    """Share of each contribution in the variance of each flow, as one bar a reading."""
    shown = readings[:_MOST_BARS]
    with _drawing():
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


def _short(text: str, longest: int = 34) -> str:
    """A label that leaves room for the drawing; the full text stands in the page beside it."""
    shown = one_line(text)
    return shown if len(shown) <= longest else shown[: longest - 1] + "…"


@contextmanager
def _drawing() -> Iterator[None]:
    """The house style. A sign that the measuring font lacks is drawn by the reader's own font: no reason to warn."""
    with mpl.rc_context(_STYLE), warnings.catch_warnings():
        warnings.filterwarnings("ignore", message="Glyph")
        yield


def as_svg(figure: Figure, salt: str) -> str:
    """The figure as an SVG element to stand within a page; the same figure and salt give the same bytes."""
    out = io.StringIO()
    with _drawing(), mpl.rc_context({"svg.hashsalt": salt}):
        figure.savefig(out, format="svg", metadata={"Date": None, "Creator": None, "Type": None, "Format": None})
    svg = out.getvalue()
    return re.sub(r"[ \t]+\n", "\n", svg[svg.index("<svg") :])


def save_or_tell(figure: Figure, path: Path) -> None:
    """The figure as a .svg, .png or .pdf file; raises CalibError where that cannot be."""
    if path.suffix not in (".svg", ".png", ".pdf"):
        raise CalibError(f"{path}: a plot is written as .svg, .png or .pdf; give the file one of these endings")
    try:
        with _drawing(), mpl.rc_context({"svg.hashsalt": "calib"}):
            figure.savefig(path, dpi=160, metadata={"Date": None} if path.suffix == ".svg" else None)
    except OSError as error:
        raise CalibError(f"{path}: the plot cannot be written ({error.strerror})") from error
