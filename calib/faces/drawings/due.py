"""Time-line of the fleet: one bar per instrument from its calibration to its due date, with the day asked about across it."""

from collections.abc import Sequence
from datetime import date, timedelta

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from calib.errors import CalibError
from calib.faces.drawings.due_bars import (
    BAR_SIGNS,
    IN_CALIBRATION,
    MOST_BARS,
    NOT_IN_USE,
    OVERDUE,
    DueBar,
    DueDrawing,
    due_words,
    under_bars,
)
from calib.faces.drawings.style import (
    FIGURE_WIDTH,
    SMALL_LETTERS,
    SPAN_LOOKS,
    Chart,
    beside_row,
    dated,
    house_style,
    short,
    titled,
)
from calib.faces.palette import EDGE, INK, STROKE, WARNING

_ROW = 0.21  # [in]
_EPOCH = date(1970, 1, 1)  # of the axis, whose unit is the day


def due_chart(shown: DueDrawing) -> Chart:
    """The time-line; of more than 60 instruments the most urgent ones. Raises CalibError where there is no instrument."""
    if not shown.bars:
        raise CalibError("there is no instrument to draw: none is registered, or all are retired")
    bars = shown.bars[:MOST_BARS]
    with house_style():
        figure = Figure(figsize=(FIGURE_WIDTH, 1.35 + _ROW * max(len(bars), 3)))
        axes = figure.subplots()
        first = min((bar.calibrated_on for bar in bars if bar.calibrated_on is not None), default=shown.on)
        for row, bar in enumerate(bars):
            _draw(axes, bar, row, shown.on)
        axes.axvline(_at(shown.on), color=STROKE, lw=1.4, zorder=4)
        axes.axvspan(
            _at(shown.on), _at(shown.on + timedelta(days=shown.within)), fc=(STROKE, 0.08), ec=EDGE, lw=0.8, zorder=0
        )
        last = max((bar.due_on for bar in bars if bar.due_on is not None), default=shown.on)
        axes.set_xlim(_at(first) - 10, max(_at(last), _at(shown.on)) + 20)
        axes.xaxis_date()
        dated(axes)
        axes.set_yticks(
            range(len(bars)), [f"{short(bar.tag, 18)}  {BAR_SIGNS[bar.state]}" for bar in bars], fontsize=SMALL_LETTERS
        )
        axes.tick_params(axis="y", length=0)
        axes.set_ylim(len(bars) - 0.4, -0.6)
        titled(axes, f"Calibrations on {shown.on}", under_bars(shown, len(bars)))
        figure.legend(handles=_legend(bars), loc="outside lower left", ncols=3)
        return Chart(figure, due_words(shown))


def _at(day: date) -> float:
    """A day on the axis."""
    return float((day - _EPOCH).days)


def _draw(axes: Axes, bar: DueBar, row: int, on: date) -> None:
    if bar.calibrated_on is not None and bar.due_on is not None:
        start, end = _at(bar.calibrated_on), _at(bar.due_on)
        look = SPAN_LOOKS[NOT_IN_USE if bar.state == NOT_IN_USE else IN_CALIBRATION]
        axes.barh(row, end - start, left=start, height=0.6, zorder=2, **look.patch)
        if end < _at(on):
            axes.barh(row, _at(on) - end, left=end, height=0.6, zorder=2, **SPAN_LOOKS[OVERDUE].patch)
    weight = "normal" if bar.state == IN_CALIBRATION else "bold"
    colour = WARNING if bar.state == OVERDUE else INK
    beside_row(axes, row, short(bar.word, 32), fontweight=weight, color=colour)


def _legend(bars: Sequence[DueBar]) -> list[Patch]:
    return [
        Patch(**look.patch, label=f"{BAR_SIGNS[state]} {state}")
        for state, look in SPAN_LOOKS.items()
        if any(bar.state == state for bar in bars) or state == IN_CALIBRATION
    ]
