"""The picture of a calibration: curve, comparisons and what they differ from it."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from calib.faces.drawings.style import (
    COVERAGE_BAND,
    FIGURE_WIDTH,
    SMALL_LETTERS,
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
        return self.compared - self.fitted


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


ON_A_PAGE = 4  # curves in one picture, each readable
_PER_ROW = 2


def curves_chart(drawings: Sequence[CurveDrawing]) -> Chart:
    """Up to four curves in one picture, each with its residuals below it, enlarged."""
    if len(drawings) == 1:
        return curve_chart(drawings[0])
    with house_style():
        lines = -(-len(drawings) // _PER_ROW)
        figure = Figure(figsize=(FIGURE_WIDTH, 0.4 + 3.4 * lines))
        grid = figure.add_gridspec(2 * lines, _PER_ROW, height_ratios=(5, 2) * lines)
        for place, drawing in enumerate(drawings):
            line, across = divmod(place, _PER_ROW)
            upper = figure.add_subplot(grid[2 * line, across])
            lower = figure.add_subplot(grid[2 * line + 1, across], sharex=upper)
            upper.tick_params(labelbottom=False)
            _curve(upper, drawing, title_letters=SMALL_LETTERS)
            _residuals(lower, drawing)
        figure.legend(*figure.axes[0].get_legend_handles_labels(), loc="outside lower left", ncols=3)
        return Chart(figure, " ".join(map(curve_words, drawings)))


def _curve(axes: Axes, drawing: CurveDrawing, title_letters: float = TITLE_LETTERS) -> None:
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
    axes.set_title(
        in_lines(drawing.name, 40 if title_letters == SMALL_LETTERS else 60),
        loc="left",
        fontsize=title_letters,
        fontweight="bold",
    )


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
