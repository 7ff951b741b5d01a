"""Time-line of the fleet: one bar per instrument from its calibration to its due date, with the day asked about across it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date, timedelta
from re import sub

from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.patches import Patch

from calib.confirmation.due import CALIBRATION, DueEntry, due_list
from calib.confirmation.interval import Decision, InstrumentOnRecord, calibration_in_force
from calib.counted import count_of
from calib.errors import CalibError
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

_WHOLE_FLEET = 400 * 366  # [days] ahead: nothing comes due later
_MOST_BARS = 60
_MOST_TOLD = 12
_ROW = 0.21  # [in]
_EPOCH = date(1970, 1, 1)  # of the axis, whose unit is the day

IN_CALIBRATION, OVERDUE, NOT_IN_USE = SPAN_LOOKS
# Beside the name of an instrument: told apart without colour.
_SIGNS = {IN_CALIBRATION: "●", OVERDUE: "✘", NOT_IN_USE: "⊘"}


@dataclass(frozen=True)
class DueBar:
    """One instrument."""

    tag: str
    calibrated_on: date | None  # absent: no calibration accepted
    due_on: date | None
    state: str  # one of the spans
    word: str  # what the state is


@dataclass(frozen=True)
class DueDrawing:
    """The fleet on a day, the most urgent first."""

    on: date
    within: int  # [days] looked ahead
    bars: tuple[DueBar, ...]


def due_drawing(
    register: Mapping[str, InstrumentOnRecord], decisions: Mapping[str, Decision], on: date, within: int
) -> DueDrawing:
    """Every instrument that is not retired, in the order of the due list: overdue and refused ones first."""
    entries = due_list(register, decisions, on, _WHOLE_FLEET)
    bars = [
        _bar(register[entry.tag], replace(entry, reasons=decisions[entry.tag].reasons), on)
        for entry in entries
        if entry.what == CALIBRATION
    ]
    return DueDrawing(on, within, tuple(sorted(bars, key=lambda bar: bar.state == IN_CALIBRATION)))


def _bar(instrument: InstrumentOnRecord, entry: DueEntry, on: date) -> DueBar:
    calibration = calibration_in_force(instrument, on)
    state = OVERDUE if entry.overdue else NOT_IN_USE if entry.reasons else IN_CALIBRATION
    return DueBar(
        entry.tag, None if calibration is None else calibration.calibrated_on, entry.due_on, state, _word(entry)
    )


def _word(entry: DueEntry) -> str:
    if entry.days is None:
        return "no calibration accepted"
    if entry.days < 0:
        return "put aside" if entry.put_aside else f"overdue by {_days(-entry.days)}"
    if entry.reasons:
        return _reason(entry.reasons[0].partition(": ")[2])
    return f"due in {_days(entry.days)}" if entry.days else "due today"


def _reason(text: str) -> str:
    """The gate's reason in a few words: the hour, what stands in brackets and the next step are told by the list."""
    if text.startswith("reference standard"):
        return "its reference standard is refused"
    return sub(r"(?s)T\d\d:\d\d\S*|\s\(.*\)", "", text).partition(": ")[0]


def _days(count: int) -> str:
    return count_of(count, "day", "days")


def due_chart(shown: DueDrawing) -> Chart:
    """The time-line; of more than 60 instruments the most urgent ones. Raises CalibError where there is no instrument."""
    if not shown.bars:
        raise CalibError("there is no instrument to draw: none is registered, or all are retired")
    bars = shown.bars[:_MOST_BARS]
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
            range(len(bars)), [f"{short(bar.tag, 18)}  {_SIGNS[bar.state]}" for bar in bars], fontsize=SMALL_LETTERS
        )
        axes.tick_params(axis="y", length=0)
        axes.set_ylim(len(bars) - 0.4, -0.6)
        titled(axes, f"Calibrations on {shown.on}", _below(shown, len(bars)))
        figure.legend(handles=_legend(bars), loc="outside lower left", ncols=3)
        return Chart(figure, _words(shown))


def _below(shown: DueDrawing, drawn: int) -> str:
    of_all = "" if drawn == len(shown.bars) else f"the {drawn} most urgent of {len(shown.bars)} instruments; "
    return f"{of_all}line: the day asked about; shaded: the {_days(shown.within)} looked ahead"


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
        Patch(**look.patch, label=f"{_SIGNS[state]} {state}")
        for state, look in SPAN_LOOKS.items()
        if any(bar.state == state for bar in bars) or state == IN_CALIBRATION
    ]


def _words(shown: DueDrawing) -> str:
    words = [bar.state for bar in shown.bars]
    counted = ", ".join(f"{words.count(state)} {state}" for state in SPAN_LOOKS if state in words)
    named = [f"{short(bar.tag, 40)} {bar.word}" for bar in shown.bars if bar.state != IN_CALIBRATION]
    coming = [bar for bar in shown.bars if bar.state == IN_CALIBRATION and bar.due_on is not None]
    sentences = [f"Time-line of {len(shown.bars)} instruments on {shown.on}, from calibration to due date: {counted}."]
    if named:
        more = len(named) - _MOST_TOLD
        sentences.append("; ".join(named[:_MOST_TOLD]) + (f"; and {more} more" if more > 0 else "") + ".")
    if coming:
        sentences.append(f"Next due: {short(coming[0].tag, 40)} on {coming[0].due_on}.")
    return " ".join(sentences)
