"""Charts over time: the errors of an instrument through its calibrations, and control charts of its intermediate checks."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, date
from typing import Any

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from numpy.typing import NDArray

from calib.confirmation.drift import Drift
from calib.confirmation.history import DAYS_IN_A_YEAR, MONTHS_IN_A_YEAR
from calib.counted import count_of
from calib.errors import CalibError
from calib.faces.answers.control_charts import SEVEN_IN_A_ROW
from calib.faces.answers.interval import difference, error_of, register_unit
from calib.faces.drawings.style import (
    COVERAGE_BAND,
    FIGURE_WIDTH,
    SMALL_LETTERS,
    TITLE_LETTERS,
    Chart,
    dated,
    house_style,
    short,
    titled,
)
from calib.faces.palette import INK, PALE, STROKE, WARNING
from calib.faces.written import significant, unit_text
from calib.procedures.fleet.checks_on_file import ChartedSeries
from calib.procedures.fleet.interval_review import IntervalReview, PointReview
from calib.quantities import Unit

_Floats = NDArray[np.float64]
_Times = NDArray[np.datetime64]

_MOST_POINTS = 8
_MOST_TOLD = 5  # errors in the line below a title
_FOUND: Any = {"fmt": "o", "ms": 4, "color": INK, "capsize": 3, "lw": 0.9, "label": "as found, with U"}
_APPLIED = "limits, as applied"
_LIMIT = "maximum permissible error"
_LOOK_AHEAD = 2  # present intervals
_FEW_DAYS = 3  # from the first check to the last: what lies nearer together stands in the middle of a month
_BESIDE_THEM = 15  # days drawn to either side


@dataclass(frozen=True)
class PointDrawing:
    """Errors at one indication, in one unit."""

    indication: float
    days: Sequence[date]
    errors: Sequence[float]
    expanded_uncertainties: Sequence[float]
    corrected: float  # the limits stand about it
    limit: float | None  # maximum permissible error
    drift: Drift | None
    scale: float  # of the unit [SI per unit]: the drift is in SI
    reached: float | None  # years after the last calibration


@dataclass(frozen=True)
class HistoryDrawing:
    """Errors of one instrument over its calibrations."""

    name: str
    unit: str
    months: int  # interval in force
    points: Sequence[PointDrawing]


def history_chart(shown: HistoryDrawing) -> Chart:
    """A strip for each indication that was compared more than once: errors with U, drift with its band, and the limits.

    Where none was, one panel: the errors against the indication. Raises CalibError for no history.
    """
    points = [point for point in shown.points if point.days]
    if not points:
        raise CalibError(f"{shown.name}: there are no comparisons as found to draw")
    repeated = [point for point in points if len(point.days) > 1][:_MOST_POINTS]
    with house_style():
        figure = Figure(figsize=(FIGURE_WIDTH, 1.1 + (1.35 * len(repeated) or 2.2)))
        strips = figure.subplots(len(repeated) or 1, 1, sharex=True, squeeze=False)[:, 0]
        if repeated:
            for axes, point in zip(strips, repeated, strict=True):
                _strip(axes, point, shown)
            strips[0].set_xlim(*_span(repeated, shown.months))
            dated(strips[-1])
            titled(strips[0], shown.name, _once_text([point for point in points if len(point.days) == 1], shown))
        else:
            _panel(strips[0], points, shown)
        _legend(figure, strips)
        figure.align_ylabels()
        return Chart(figure, _history_words(shown, points))


def _once_text(points: Sequence[PointDrawing], shown: HistoryDrawing) -> str:
    """The errors that have no strip."""
    told = [f"{_signed(point.errors[0])} at {point.indication:.4g}" for point in points[:_MOST_TOLD]]
    more = f" and {len(points) - _MOST_TOLD} more" if len(points) > _MOST_TOLD else ""
    return f"compared once [{unit_text(shown.unit)}]: {', '.join(told)}{more}" if points else ""


def _panel(axes: Axes, points: Sequence[PointDrawing], shown: HistoryDrawing) -> None:
    """Every error that is known from one calibration, at its indication."""
    points = sorted(points, key=lambda point: point.indication)
    indications = [point.indication for point in points]
    axes.errorbar(
        indications, [point.errors[0] for point in points], yerr=[point.expanded_uncertainties[0] for point in points],
        **_FOUND,
    )  # fmt: skip
    limited = [(point, point.limit) for point in points if point.limit is not None]
    for side, label in ((-1, None), (1, _LIMIT)):
        if limited:
            ends = [point.corrected + side * limit for point, limit in limited]
            at = [point.indication for point, _ in limited]
            axes.plot(at, ends, color=INK, lw=0.9, ls="--", marker="_", ms=9, label=label)
    axes.axhline(0, color=INK, lw=0.5)
    axes.set_ylabel(f"error [{unit_text(shown.unit)}]")
    axes.set_xlabel(f"indication [{unit_text(shown.unit)}]")
    days = sorted({point.days[0] for point in points})
    titled(axes, shown.name, f"calibrated {' and '.join(map(str, days[:3]))}{' and later' if len(days) > 3 else ''}")


def _span(points: Sequence[PointDrawing], months: int) -> tuple[np.datetime64, np.datetime64]:
    """From before the first calibration to one interval after the last, or two where a drift is drawn."""
    first, last = min(point.days[0] for point in points), max(point.days[-1] for point in points)
    ahead = _LOOK_AHEAD if any(point.drift is not None for point in points) else 1
    years = np.array([-0.25, ahead]) * months / MONTHS_IN_A_YEAR
    before, after = np.array([first, last], dtype="datetime64[s]") + _seconds(years)
    return before, after


def _strip(axes: Axes, point: PointDrawing, shown: HistoryDrawing) -> None:
    if point.drift is not None:
        _band(axes, point, point.drift, shown.months)
    axes.errorbar(
        _days(point.days), point.errors, yerr=point.expanded_uncertainties, **_FOUND
    )  # fmt: skip
    if point.limit is not None:
        for side, label in ((-1, None), (1, _LIMIT)):
            axes.axhline(point.corrected + side * point.limit, color=INK, lw=0.9, ls="--", label=label)
    axes.axhline(0, color=INK, lw=0.5)
    axes.set_ylabel(f"at {point.indication:.4g} [{unit_text(shown.unit)}]")


def _band(axes: Axes, point: PointDrawing, drift: Drift, months: int) -> None:
    """From the first error on where it is a line, else from the last calibration on; two intervals ahead."""
    first = (point.days[0] - drift.since).days / DAYS_IN_A_YEAR
    ahead = _LOOK_AHEAD * months / MONTHS_IN_A_YEAR
    years = np.append(np.linspace(min(first, 0.0), ahead, 121), 1.1 * ahead)  # and on beyond the edge of the picture
    since = np.datetime64(drift.since, "s")
    days = since + _seconds(years)
    error, band = drift.error(years) / point.scale, drift.band(years) / point.scale
    axes.fill_between(days, error - band, error + band, **COVERAGE_BAND, label="band of the drift")
    axes.plot(days, error, color=STROKE, lw=1.6, label="drift")
    if point.reached is not None and point.reached <= ahead:
        axes.plot(
            [since + _seconds(np.array(point.reached))] * 2,
            [point.corrected - float(point.limit or 0), point.corrected + float(point.limit or 0)],
            color=STROKE,
            lw=1.1,
            ls=":",
            label="limit reached",
        )


def _history_words(shown: HistoryDrawing, points: Sequence[PointDrawing]) -> str:
    told = " ".join(_point_text(point, unit_text(shown.unit)) for point in points)
    return f"{short(shown.name, 80)}, with U, over the calibrations. {told}"


def _point_text(point: PointDrawing, symbol: str) -> str:
    limit = "" if point.limit is None else f"; maximum permissible error ± {point.limit:.3g} {symbol}"
    first = f"{_signed(point.errors[0])} {symbol} on {point.days[0]}"
    last = "" if len(point.days) == 1 else f" to {_signed(point.errors[-1])} {symbol} on {point.days[-1]}"
    return (
        f"At {point.indication:.4g} {symbol}: {first}{last}, U {point.expanded_uncertainties[-1]:.2g} {symbol}{limit}."
    )


def _signed(error: float) -> str:
    """With a minus sign where it is negative: a hyphen is not read aloud."""
    return f"{error:+.3g}".replace("-", "−")


def control_chart(name: str, series: Sequence[ChartedSeries]) -> Chart:
    """One strip for each kind of check: values, limits as applied, centre line, EWMA and trends (words of the ISO 7870 series)."""
    if not series:
        raise CalibError(f"{name}: there are no checks to draw")
    with house_style():
        figure = Figure(figsize=(FIGURE_WIDTH, 1.1 + 1.9 * len(series)))
        strips = figure.subplots(len(series), 1, sharex=True, squeeze=False)[:, 0]
        for axes, charted in zip(strips, series, strict=True):
            _checks(axes, charted)
        days = [each.at.timestamp() / 86400 for charted in series for each in charted.checks]
        if max(days) - min(days) < _FEW_DAYS:  # left to itself the axis would span years, or hours
            strips[0].set_xlim(min(days) - _BESIDE_THEM, max(days) + _BESIDE_THEM)
        dated(strips[-1])
        figure.suptitle(
            short(f"{name}: intermediate checks", 60), x=0.01, ha="left", fontsize=TITLE_LETTERS, fontweight="bold"
        )
        _legend(figure, strips)
        return Chart(figure, _control_words(name, series))


def _legend(figure: Figure, strips: Iterable[Axes]) -> None:
    """What any strip shows, each once."""
    handles = {
        label: handle for axes in strips for handle, label in zip(*axes.get_legend_handles_labels(), strict=True)
    }
    figure.legend(list(handles.values()), list(handles), loc="outside lower left", ncols=3)


def _control_words(name: str, series: Sequence[ChartedSeries]) -> str:
    told = " ".join(_series_text(charted) for charted in series)
    return f"Control charts of the intermediate checks of {short(name, 60)}. {told}"


def _series_text(charted: ChartedSeries) -> str:
    failed = sum(not each.passed for each in charted.checks)
    last = charted.checks[-1]
    other = "" if charted.other is None else f" with {short(charted.other, 40)}"
    counted = f"{count_of(len(charted.checks), 'check', 'checks')}, {failed} failed{_trend_words(charted)}"
    value = f"{'E_n ' if _is_error(charted) else ''}{significant(last.value, 4)}"
    return (
        f"{charted.kind.capitalize()}{other}: {counted}; the last, on {last.at.date()}, is {value} within "
        f"limits of {significant(last.low, 4)} and {significant(last.high, 4)}."
    )


def _trend_words(charted: ChartedSeries) -> str:
    count = sum(each.in_trend for each in charted.checks)
    return f", {count} of them in a trend ({SEVEN_IN_A_ROW})" if count else ""


def _checks(axes: Axes, charted: ChartedSeries) -> None:
    at = np.array([each.at.astimezone(UTC).replace(tzinfo=None) for each in charted.checks], dtype="datetime64[s]")
    value = np.array([each.value for each in charted.checks])
    passed = np.array([each.passed for each in charted.checks])
    in_baseline = np.array([each.in_baseline for each in charted.checks])
    trending = np.array([each.in_trend for each in charted.checks])
    for ends in ([each.low for each in charted.checks], [each.high for each in charted.checks]):
        if len(ends) == 1:  # a line through one point would not be seen
            axes.axhline(ends[0], color=INK, lw=0.9, ls="--", label=_APPLIED)
        else:
            axes.plot(at, ends, color=INK, lw=0.9, ls="--", marker="_", ms=5, label=_APPLIED)
    if charted.base is not None:
        axes.axhline(charted.base.mean, color=STROKE, lw=0.9, label="centre line")
    if trending.any():
        axes.plot(at, np.where(trending, value, np.nan), color=STROKE, lw=2.2, label=f"trend: {SEVEN_IN_A_ROW}")
    _marks(axes, at, value, passed & in_baseline, "s", PALE, "passed, sets the centre line")
    _marks(axes, at, value, passed & ~in_baseline, "o", STROKE, "passed")
    _marks(axes, at, value, ~passed, "X", WARNING, "failed")
    _weighted(axes, charted, at)
    axes.set_ylabel("Eₙ" if _is_error(charted) else f"[{unit_text(charted.unit)}]")
    other = "" if charted.other is None else f", {charted.other}"
    axes.text(
        0.0, 1.0, short(f"{charted.kind}{other}", 60), transform=axes.transAxes, va="bottom", fontsize=SMALL_LETTERS
    )


def _is_error(charted: ChartedSeries) -> bool:
    """Whether the values are normalised errors E_n."""
    return charted.unit == "1" and charted.kind == "comparison"


def _marks(axes: Axes, at: _Times, value: _Floats, which: NDArray[np.bool_], sign: str, face: str, label: str) -> None:
    if which.any():
        edge, size = (WARNING, 8) if face == WARNING else (INK, 5)
        axes.plot(at[which], value[which], sign, ms=size, mfc=face, mec=edge, mew=0.9, zorder=3, label=label)


def _weighted(axes: Axes, charted: ChartedSeries, at: _Times) -> None:
    mean = np.array([np.nan if each.weighted_mean is None else each.weighted_mean for each in charted.checks])
    drawn = np.isfinite(mean)
    if charted.mean_limits is None or not drawn.any():
        return
    axes.plot(at, mean, color=STROKE, lw=1.4, ls="-.", marker=".", ms=4, label="EWMA (weighted mean)")
    for end in (charted.mean_limits.low, charted.mean_limits.high):
        axes.plot(
            at[drawn], np.full(drawn.sum(), end), color=STROKE, lw=1.1, ls=":", label="control limits of the EWMA"
        )


def _days(days: Sequence[date]) -> _Times:
    return np.array(days, dtype="datetime64[s]")


def _seconds(years: _Floats) -> NDArray[np.timedelta64]:
    return np.round(years * DAYS_IN_A_YEAR * 86400).astype("timedelta64[s]")


def history_drawing(review: IntervalReview) -> HistoryDrawing:
    """What the chart of the drift shows."""
    own = register_unit(review)
    return HistoryDrawing(
        f"{review.instrument.tag}: error of indication as found",
        own.symbol,
        review.present,
        [PointDrawing(*_drawn(review, point, own)) for point in review.points],
    )


def _drawn(review: IntervalReview, point: PointReview, own: Unit) -> tuple[Any, ...]:
    as_found = [
        (each.on, error_of(own, error))
        for each, error in zip(review.history, point.as_found, strict=True)
        if error is not None
    ]
    drawn = [(day, error) for day, error in as_found if error["error"] is not None]
    return (
        float(own.from_si(point.indication)),
        [day for day, _ in drawn],
        [error["error"] for _, error in drawn],
        [error["expanded_uncertainty"] for _, error in drawn],
        difference(own, point.corrected) or 0.0,
        difference(own, point.limit),
        point.line or point.wandering,
        own.scale,
        point.reached_by_line if point.line is not None else point.reached_by_changes,
    )
