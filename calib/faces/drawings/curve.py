"""The picture of a calibration: curve, comparisons and what they differ from it."""

from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from calib.arrays import without_rounding
from calib.faces.drawings.style import (
    COLUMN_WIDTH,
    COVERAGE_BAND,
    FIGURE_WIDTH,
    TITLE_LETTERS,
    Chart,
    house_style,
    in_lines,
)
from calib.faces.palette import INK, STROKE


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

    @property
    def residuals(self) -> NDArray[np.float64]:
        """(n,) what the comparisons differ from the curve."""
        return without_rounding(self.compared - self.fitted)


def curve_chart(drawing: CurveDrawing) -> Chart:
    """Curve against indication: points with their U, the curve, its band at k = 2, and below the residuals, enlarged."""
    with house_style():
        figure = Figure(figsize=(FIGURE_WIDTH, 4.2))
        upper, lower = figure.subplots(2, 1, sharex=True, gridspec_kw={"height_ratios": (5, 2)})
        _curve(upper, drawing)
        _residuals(lower, drawing)
        figure.align_ylabels()
        figure.legend(*upper.get_legend_handles_labels(), loc="outside lower left", ncols=3)
        return Chart(figure, curve_words(drawing))


def small_curve_chart(drawing: CurveDrawing) -> Chart:
    """Curve, points and band as wide as a column of text; the residuals stand in a table beside it."""
    with house_style():
        figure = Figure(figsize=(COLUMN_WIDTH, 1.5))
        axes = figure.subplots()
        _curve(axes, drawing)
        axes.set_title("", loc="left")
        axes.set_xlabel(drawing.indication_label)
        return Chart(figure, curve_words(drawing))


def _curve(axes: Axes, drawing: CurveDrawing) -> None:
    low, high = drawing.curve - drawing.band, drawing.curve + drawing.band
    axes.fill_between(drawing.along, low, high, **COVERAGE_BAND, label="band of the curve, k = 2")
    axes.plot(drawing.along, drawing.curve, color=STROKE, lw=1.8, label="curve")
    axes.errorbar(
        drawing.indication, drawing.compared, yerr=drawing.expanded_uncertainty, fmt="o", ms=4.5, color=INK, capsize=3,
        lw=0.9, label="comparisons, with their U",
    )  # fmt: skip
    if drawing.zero_line:
        axes.axhline(0, color=INK, lw=0.6, ls=":")
    axes.set_ylabel(drawing.value_label)
    axes.set_title(in_lines(drawing.name, 60), loc="left", fontsize=TITLE_LETTERS, fontweight="bold")


def _residuals(axes: Axes, drawing: CurveDrawing) -> None:
    """Enlarged: beside U, which the curve above shows, most residuals would not be seen, nor the pattern they make."""
    axes.axhline(0, color=INK, lw=0.6)
    axes.vlines(drawing.indication, 0, drawing.residuals, color=STROKE, lw=1.6)
    axes.plot(drawing.indication, drawing.residuals, "o", ms=4, color=INK)
    axes.margins(y=0.2)
    axes.set_ylabel("residual")
    axes.set_xlabel(drawing.indication_label)


def curve_words(drawing: CurveDrawing) -> str:
    """The picture in words. A minus sign is one, since a hyphen is not read aloud."""
    largest = int(np.argmax(np.abs(drawing.residuals)))
    return (
        f"Calibration curve of {drawing.name}: {drawing.value_label} against {drawing.indication_label}, with "
        f"{len(drawing.indication)} comparisons from {_told(drawing.indication.min(), 4)} to "
        f"{_told(drawing.indication.max(), 4)}. The curve runs from {_told(drawing.curve[0], 3)} to {_told(drawing.curve[-1], 3)}; "
        f"its band at k = 2 is at most ± {_told(drawing.band.max(), 2)}. "
        f"The largest residual is {_told(drawing.residuals[largest], 2)} at {_told(drawing.indication[largest], 4)}, where U of "
        f"the comparison is {_told(drawing.expanded_uncertainty[largest], 2)}."
    )


def _told(value: float, digits: int) -> str:
    return format(value, f".{digits}g").replace("-", "−")
