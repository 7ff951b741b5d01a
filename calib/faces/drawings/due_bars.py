"""The fleet on a day as bars, each from a calibration to its due date, and the words that stand for them: of any drawing.

Nothing heavy is imported here: a page in a browser draws them without the library of the pictures.
"""

from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from re import sub

from calib.confirmation.due import CALIBRATION, DueEntry, due_list
from calib.confirmation.interval import Decision, InstrumentOnRecord, calibration_in_force
from calib.counted import count_of
from calib.faces.plain_text import one_line, shortened

_WHOLE_FLEET = 400 * 366  # [days] ahead: nothing comes due later
MOST_BARS = 60
_MOST_TOLD = 12

IN_CALIBRATION, OVERDUE, NOT_IN_USE = "in calibration", "overdue", "not in use"
# Beside the name of an instrument: told apart without colour.
BAR_SIGNS = {IN_CALIBRATION: "●", OVERDUE: "✘", NOT_IN_USE: "⊘"}


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


def under_bars(shown: DueDrawing, drawn: int) -> str:
    """What the line and the shade are, and how many of the fleet are drawn."""
    of_all = "" if drawn == len(shown.bars) else f"the {drawn} most urgent of {len(shown.bars)} instruments; "
    return f"{of_all}line: the day asked about; shaded: the {_days(shown.within)} looked ahead"


def due_words(shown: DueDrawing) -> str:
    """What the drawing says, in words that stand for it."""
    words = [bar.state for bar in shown.bars]
    counted = ", ".join(f"{words.count(state)} {state}" for state in BAR_SIGNS if state in words)
    named = [f"{_short(bar.tag)} {bar.word}" for bar in shown.bars if bar.state != IN_CALIBRATION]
    coming = [bar for bar in shown.bars if bar.state == IN_CALIBRATION and bar.due_on is not None]
    sentences = [f"Time-line of {len(shown.bars)} instruments on {shown.on}, from calibration to due date: {counted}."]
    if named:
        more = len(named) - _MOST_TOLD
        sentences.append("; ".join(named[:_MOST_TOLD]) + (f"; and {more} more" if more > 0 else "") + ".")
    if coming:
        sentences.append(f"Next due: {_short(coming[0].tag)} on {coming[0].due_on}.")
    return " ".join(sentences)


def _short(tag: str) -> str:
    return shortened(one_line(tag), 40)
