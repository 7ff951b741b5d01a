"""Charts over time: the errors of an instrument through its calibrations, and control charts of its intermediate checks."""

import math
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
from calib.errors import CalibError
from calib.faces.answers.interval import difference, error_of, unit_of
from calib.faces.drawings.style import BAND, INK, LINE, PALE, SMALL, TITLE, WHITE, WIDTH, house_style, short, titled
from calib.procedures.fleet.checks_on_file import ChartedSeries
from calib.procedures.fleet.interval_review import IntervalReview, PointReview
from calib.quantities import Unit

Floats = NDArray[np.float64]
Times = NDArray[np.datetime64]

_MOST_POINTS = 8
_LOOK_AHEAD = 2  # present intervals
_BESIDE_ONE = 15  # days drawn to either side of a single check


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


def history_chart(shown: HistoryDrawing) -> Figure:
    """One strip for each indication: errors with U, drift with its band, and the limits; raises CalibError for no history."""
    points = [one for one in shown.points if one.days][:_MOST_POINTS]
    if not points:
        raise CalibError(f"{shown.name}: there are no comparisons as found to draw")
    with house_style():
        figure = Figure(figsize=(WIDTH, 1.1 + 1.35 * len(points)), layout="constrained")
        strips = figure.subplots(len(points), 1, sharex=True, squeeze=False)[:, 0]
        for axes, one in zip(strips, points, strict=True):
            _strip(axes, one, shown)
        strips[0].set_xlim(*_span(points, shown.months))
        titled(strips[0], shown.name)
        _legend(figure, strips)
        figure.align_ylabels()
        return figure


def _span(points: Sequence[PointDrawing], months: int) -> tuple[np.datetime64, np.datetime64]:
    """From before the first calibration to one interval after the last, or two where a drift is drawn."""
    first, last = min(one.days[0] for one in points), max(one.days[-1] for one in points)
    ahead = _LOOK_AHEAD if any(one.drift is not None for one in points) else 1
    years = np.array([-0.25, ahead]) * months / MONTHS_IN_A_YEAR
    before, after = np.array([first, last], dtype="datetime64[s]") + _seconds(years)
    return before, after


def _strip(axes: Axes, one: PointDrawing, shown: HistoryDrawing) -> None:
    if one.drift is not None:
        _band(axes, one, one.drift, shown.months)
    axes.errorbar(
        _days(one.days), one.errors, yerr=one.expanded_uncertainties, fmt="o", ms=4, color=INK, capsize=3, lw=0.9,
        label="as found, with U",
    )  # fmt: skip
    if one.limit is not None:
        for side, label in ((-1, None), (1, "maximum permissible error")):
            axes.axhline(one.corrected + side * one.limit, color=INK, lw=0.9, ls="--", label=label)
    axes.axhline(0, color=INK, lw=0.5)
    axes.set_ylabel(f"at {one.indication:.4g}\n[{shown.unit}]")


def _band(axes: Axes, one: PointDrawing, drift: Drift, months: int) -> None:
    """From the first error on where it is a line, else from the last calibration on; two intervals ahead."""
    first = (one.days[0] - drift.since).days / DAYS_IN_A_YEAR
    years = np.linspace(min(first, 0.0), _LOOK_AHEAD * months / MONTHS_IN_A_YEAR, 121)
    since = np.datetime64(drift.since, "s")
    days = since + _seconds(years)
    error, band = drift.error(years) / one.scale, drift.band(years) / one.scale
    axes.fill_between(days, error - band, error + band, color=BAND, lw=0, label="band of the drift")
    axes.plot(days, error, color=LINE, lw=1.6, label="drift")
    if one.reached is not None and one.reached <= years[-1]:
        axes.plot(
            [since + _seconds(np.array(one.reached))] * 2,
            [one.corrected - float(one.limit or 0), one.corrected + float(one.limit or 0)],
            color=LINE,
            lw=1.1,
            ls=":",
            label="limit reached",
        )


def history_alternative(shown: HistoryDrawing) -> str:
    """The picture of a history in words."""
    points = [one for one in shown.points if one.days][:_MOST_POINTS]
    return f"{short(shown.name, 80)}, with U, over the calibrations. " + " ".join(
        _point_text(one, shown.unit) for one in points
    )


def _point_text(one: PointDrawing, symbol: str) -> str:
    limit = "" if one.limit is None else f"; maximum permissible error ± {one.limit:.3g} {symbol}"
    first = f"{one.errors[0]:+.3g} {symbol} on {one.days[0]}"
    last = "" if len(one.days) == 1 else f" to {one.errors[-1]:+.3g} {symbol} on {one.days[-1]}"
    return f"At {one.indication:.4g} {symbol}: {first}{last}, U {one.expanded_uncertainties[-1]:.2g} {symbol}{limit}."


def control_chart(name: str, series: Sequence[ChartedSeries]) -> Figure:
    """One strip for each kind of check: values, limits as they were applied, baseline and weighted mean."""
    if not series:
        raise CalibError(f"{name}: there are no checks to draw")
    with house_style():
        figure = Figure(figsize=(WIDTH, 1.1 + 1.9 * len(series)), layout="constrained")
        strips = figure.subplots(len(series), 1, sharex=True, squeeze=False)[:, 0]
        for axes, one in zip(strips, series, strict=True):
            _checks(axes, one)
        days = {each.at.timestamp() / 86400 for one in series for each in one.checks}
        if len(days) == 1:  # left to itself the axis would span years
            strips[0].set_xlim(min(days) - _BESIDE_ONE, max(days) + _BESIDE_ONE)
        figure.suptitle(short(f"{name}: intermediate checks", 60), x=0.01, ha="left", fontsize=TITLE, fontweight="bold")
        _legend(figure, strips)
        return figure


def _legend(figure: Figure, strips: Iterable[Axes]) -> None:
    """What any strip shows, each once."""
    found = {label: handle for axes in strips for handle, label in zip(*axes.get_legend_handles_labels(), strict=True)}
    figure.legend(list(found.values()), list(found), loc="outside lower left", ncols=4)


def control_alternative(name: str, series: Sequence[ChartedSeries]) -> str:
    """The picture of the checks in words."""
    return f"Control charts of the intermediate checks of {short(name, 60)}. " + " ".join(
        _series_text(one) for one in series
    )


def _series_text(one: ChartedSeries) -> str:
    failed = sum(not each.passed for each in one.checks)
    last = one.checks[-1]
    other = "" if one.other is None else f" with {short(one.other, 40)}"
    return (
        f"{one.kind.capitalize()}{other}: {_several(len(one.checks))}, {failed} failed; the last, on {last.at.date()}, is "
        f"{last.value:.4g} within limits of {last.low:.4g} and {last.high:.4g}."
    )


def _several(checks: int) -> str:
    return "1 check" if checks == 1 else f"{checks} checks"


def _checks(axes: Axes, one: ChartedSeries) -> None:
    at = np.array([each.at.astimezone(UTC).replace(tzinfo=None) for each in one.checks], dtype="datetime64[s]")
    value = np.array([each.value for each in one.checks])
    passed = np.array([each.passed for each in one.checks])
    in_baseline = np.array([each.in_baseline for each in one.checks])
    for ends in ([each.low for each in one.checks], [each.high for each in one.checks]):
        if len(ends) == 1:  # a line through one point would not be seen
            axes.axhline(ends[0], color=INK, lw=0.9, ls="--", label="limits")
        else:
            axes.plot(at, ends, color=INK, lw=0.9, ls="--", marker="_", ms=5, label="limits")
    if one.base is not None:
        axes.axhline(one.base.mean, color=LINE, lw=0.9, label="mean of the baseline")
    _marks(axes, at, value, passed & in_baseline, "s", PALE, "baseline")
    _marks(axes, at, value, passed & ~in_baseline, "o", LINE, "passed")
    _marks(axes, at, value, ~passed, "X", WHITE, "failed")
    _weighted(axes, one, at)
    axes.set_ylabel("E_n" if one.unit == "1" and one.kind == "comparison" else f"[{one.unit}]")
    other = "" if one.other is None else f", {one.other}"
    axes.text(0.0, 1.0, short(f"{one.kind}{other}", 60), transform=axes.transAxes, va="bottom", fontsize=SMALL)


def _marks(axes: Axes, at: Times, value: Floats, which: NDArray[np.bool_], sign: str, face: str, label: str) -> None:
    if which.any():
        axes.plot(at[which], value[which], sign, ms=5, mfc=face, mec=INK, mew=0.9, label=label)


def _weighted(axes: Axes, one: ChartedSeries, at: Times) -> None:
    mean = np.array([np.nan if each.weighted_mean is None else each.weighted_mean for each in one.checks])
    if one.mean_limits is None or not np.isfinite(mean).any():
        return
    axes.plot(at, mean, color=LINE, lw=1.4, ls="-.", marker=".", ms=4, label="weighted mean")
    for end in (one.mean_limits.low, one.mean_limits.high):
        axes.plot(at[np.isfinite(mean)], np.full(np.isfinite(mean).sum(), end), color=LINE, lw=0.8, ls=":")


def _days(days: Sequence[date]) -> Times:
    return np.array(days, dtype="datetime64[s]")


def _seconds(years: Floats) -> NDArray[np.timedelta64]:
    return np.round(years * DAYS_IN_A_YEAR * 86400).astype("timedelta64[s]")


def drawing_of(found: IntervalReview) -> HistoryDrawing:
    """What the chart of the drift shows."""
    own = unit_of(found)
    return HistoryDrawing(
        f"{found.instrument.tag}: error of indication as found",
        own.symbol,
        found.present,
        [PointDrawing(*_drawn(found, one, own)) for one in found.points],
    )


def _drawn(found: IntervalReview, one: PointReview, own: Unit) -> tuple[Any, ...]:
    seen = [(each.on, at) for each, at in zip(found.history, one.found, strict=True) if at is not None]
    days = [day for day, at in seen if math.isfinite(float(at.error))]
    errors = [error_of(own, at) for _, at in seen if math.isfinite(float(at.error))]
    return (
        float(own.from_si(one.indication)),
        days,
        [each["error"] for each in errors],
        [each["expanded_uncertainty"] for each in errors],
        difference(own, one.corrected) or 0.0,
        difference(own, one.limit),
        one.line or one.wandering,
        own.scale,
        one.reached_by_line if one.line is not None else one.reached_by_changes,
    )
