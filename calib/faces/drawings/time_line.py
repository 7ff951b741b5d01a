"""The time-line of the fleet for a page: small, in both lights, with every text as text.

Its colours stand with the page that shows it: this is bars, lines and letters of a class each. The words that stand for it are
those of `due_bars`, shown beside it.
"""

from collections.abc import Callable, Iterator, Sequence
from datetime import date, timedelta
from itertools import accumulate
from textwrap import wrap

from markupsafe import Markup, escape

from calib.faces.drawings.due_bars import (
    BAR_SIGNS,
    IN_CALIBRATION,
    MOST_BARS,
    NOT_IN_USE,
    OVERDUE,
    DueBar,
    DueDrawing,
    under_bars,
)
from calib.faces.plain_text import one_line

_LEFT, _MIDDLE, _RIGHT = 190.0, 520.0, 250.0  # units of the drawing: names, bars, words
_ROW, _LINE, _TOP, _BOTTOM = 26.0, 17.0, 8.0, 30.0  # of a row with one line of letters, of each further line
_NAME, _WORD = 22, 34  # signs in a line
_QUARTERS = 2 * 366  # [d] of an axis at most whose quarters are marked; of a longer one years are
_YEARS = 8  # of them marked at most
_CLASSES = {IN_CALIBRATION: "in-calibration", OVERDUE: "overdue", NOT_IN_USE: "not-in-use"}


def time_line(shown: DueDrawing, described_by: str) -> Markup:
    """The bars, the most urgent first; `described_by` is the element of the page that holds its words."""
    bars = shown.bars[:MOST_BARS]
    days = [day for bar in bars for day in (bar.calibrated_on, bar.due_on) if day is not None]
    first = min([*days, shown.on]) - timedelta(days=10)
    last = max([*days, shown.on]) + timedelta(days=20)
    rows = [(_lines(f"{BAR_SIGNS[bar.state]} {bar.tag}", _NAME), _lines(bar.word, _WORD)) for bar in bars]
    tall = [_ROW + _LINE * (max(map(len, row)) - 1) for row in rows]
    tops = [*accumulate(tall, initial=_TOP)]
    height = tops[-1]

    def at(day: date) -> float:
        return _LEFT + _MIDDLE * (day - first).days / (last - first).days

    ahead = min(shown.on + timedelta(days=shown.within), last)
    parts = [
        _box("ahead", at(shown.on), at(ahead), _TOP, height - _TOP),
        *(_mark(at(day), height, text) for day, text in _marks(first, last)),
        *(
            part
            for bar, lines, top, end in zip(bars, rows, tops, tops[1:], strict=False)
            for part in _row(bar, lines, (top, end), at, shown.on)
        ),
        f'<line class="today" x1="{at(shown.on):.1f}" x2="{at(shown.on):.1f}" y1="{_TOP}" y2="{height + 4:.1f}"/>',
    ]
    size = f"{_LEFT + _MIDDLE + _RIGHT:.0f} {height + _BOTTOM:.0f}"
    # What was typed is escaped where it enters; the rest is numbers and words of this file.
    return Markup(  # noqa: S704
        f'<svg class="time-line" viewBox="0 0 {size}" role="img" aria-labelledby="{escape(described_by)}">{"".join(parts)}</svg>'
    )


def under(shown: DueDrawing) -> str:
    """What its signs, its line and its shade are."""
    states = [state for state in BAR_SIGNS if any(bar.state == state for bar in shown.bars)]
    return f"{', '.join(f'{BAR_SIGNS[state]} {state}' for state in states)}; {under_bars(shown, min(len(shown.bars), MOST_BARS))}"


def _row(
    bar: DueBar,
    lines: tuple[Sequence[str], Sequence[str]],
    ends: tuple[float, float],
    at: Callable[[date], float],
    on: date,
) -> Iterator[str]:
    kind, middle = _CLASSES[bar.state], sum(ends) / 2
    top = middle - _ROW / 2
    names, words = lines
    yield from _texts("name", 0, middle, names)
    if bar.calibrated_on is not None and bar.due_on is not None:
        plain = kind if bar.state == NOT_IN_USE else _CLASSES[IN_CALIBRATION]
        yield _box(plain, at(bar.calibrated_on), at(bar.due_on), top + 5, _ROW - 10)
        if bar.due_on < on:
            yield _box(_CLASSES[OVERDUE], at(bar.due_on), at(on), top + 5, _ROW - 10)
    yield from _texts(f"word {kind}", _LEFT + _MIDDLE + 8, middle, words)


def _marks(first: date, last: date) -> Iterator[tuple[date, str]]:
    """Days to be marked on the axis: quarters, or years so that no more than some are."""
    quarters = (1, 4, 7, 10) if (last - first).days <= _QUARTERS else (1,)
    step = 1 if len(quarters) > 1 else -(-(last.year - first.year) // _YEARS) or 1
    for year in range(first.year, last.year + 1, step):
        for month in quarters:
            if first <= date(year, month, 1) <= last:
                yield date(year, month, 1), f"{year}-{month:02}" if len(quarters) > 1 else str(year)


def _mark(x: float, height: float, text: str) -> str:
    line = f'<line class="mark" x1="{x:.1f}" x2="{x:.1f}" y1="{_TOP}" y2="{height:.1f}"/>'
    return line + _text("when", x, height + 16, text)


def _box(kind: str, start: float, end: float, top: float, height: float) -> str:
    return (
        f'<rect class="{kind}" x="{start:.1f}" y="{top:.1f}" width="{max(end - start, 1):.1f}" height="{height:.1f}"/>'
    )


def _text(kind: str, x: float, y: float, text: str) -> str:
    return f'<text class="{kind}" x="{x:.1f}" y="{y:.1f}" dominant-baseline="central">{escape(text)}</text>'


def _texts(kind: str, x: float, middle: float, lines: Sequence[str]) -> Iterator[str]:
    first = middle - _LINE * (len(lines) - 1) / 2
    return (_text(kind, x, first + _LINE * place, line) for place, line in enumerate(lines))


def _lines(text: str, longest: int) -> list[str]:
    return wrap(one_line(text), longest)
