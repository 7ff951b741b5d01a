"""Charts over time: one calibration is one panel, and a trend is called one. Words: the ISO 7870 series (control charts)."""

import math
import re
from dataclasses import replace
from datetime import timedelta
from itertools import pairwise

import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

from calib.faces.drawings.over_time import control_chart, history_chart
from tests import pictures


def labels(figure):
    (legend,) = figure.legends
    return {text.get_text() for text in legend.get_texts()}


def test_one_calibration_is_one_panel_of_its_errors_against_their_indications():
    chart = history_chart(pictures.ONE_CALIBRATION)
    (panel,) = chart.figure.axes
    (errors,) = panel.containers
    assert list(errors.lines[0].get_xdata()) == [0.5, 1, 2, 5, 7.5, 10, 15]
    assert list(errors.lines[0].get_ydata()) == [0.02, 0.03, 0, -0.04, -0.05, -0.1, -0.12]
    assert (panel.get_xlabel(), panel.get_ylabel()) == ("indication [m/s]", "error [m/s]")
    (upper,) = [line for line in panel.lines if line.get_label() == "maximum permissible error"]
    # 0.1 m/s and 0.01 of the indication
    assert list(upper.get_ydata()) == pytest.approx([0.105, 0.11, 0.12, 0.15, 0.175, 0.2, 0.25])
    assert panel.get_title(loc="left") == "calibrated 2026-03-01"


def test_the_panel_of_a_calibration_without_limits_has_none():
    without = replace(
        pictures.ONE_CALIBRATION, points=[replace(point, limit=None) for point in pictures.ONE_CALIBRATION.points]
    )
    assert labels(history_chart(without).figure) == {"as found, with U"}


def test_of_several_calibrations_each_indication_that_was_compared_again_is_a_strip():
    chart = history_chart(pictures.HISTORY)
    (strip,) = chart.figure.axes
    assert strip.get_ylabel() == "at 5 [m/s]"
    assert strip.get_title(loc="left") == "compared once [m/s]: −0.1 at 10"
    assert "At 10 m/s: −0.1 m/s on 2025-03-01" in chart.words


def test_units_are_typeset():
    chart = history_chart(replace(pictures.ONE_CALIBRATION, unit="m3/h"))
    assert chart.figure.axes[0].get_xlabel() == "indication [m³/h]"
    assert "At 1 m³/h: +0.03 m³/h" in chart.words


def test_a_control_chart_has_the_words_of_the_trade():
    assert labels(control_chart("VA-11", pictures.CHECKS).figure) == {
        "limits, as applied",
        "centre line",
        "passed, sets the centre line",
        "passed",
        "failed",
        "EWMA (weighted mean)",
        "control limits of the EWMA",
    }


def test_a_trend_is_called_a_trend_and_joined_by_a_line_also_where_its_values_set_the_centre_line():
    figure = control_chart("VA-11", pictures.RISING).figure
    (line,) = [line for line in figure.axes[0].lines if str(line.get_label()).startswith("trend")]
    drawn = [value for value in line.get_ydata() if not math.isnan(value)]
    assert drawn == [2.48, 2.485, 2.49, 2.5, 2.505, 2.51, 2.52, 2.53, 2.55]
    assert "trend: 7 or more in a row rising or falling" in labels(figure)


@pytest.mark.parametrize("days", [0, 1, 3, 4, 6, 7, 14, 36, 48, 70, 89, 100, 200, 1090, 1100, 5000])
def test_no_date_at_an_axis_is_read_as_one_of_another_month_or_year(days):
    """As far as the axis has to say it: a tick of a month names its year, a tick of a day both."""
    (series, *_) = pictures.CHECKS
    first, last = series.checks[0], series.checks[-1]
    moved = (replace(first, at=last.at - timedelta(days=days)), last)

    figure = control_chart("VA-1", [replace(series, checks=moved)]).figure
    FigureCanvasAgg(figure).draw()

    axis = figure.axes[0].xaxis
    shown = [label.get_text() for label in axis.get_ticklabels()]
    assert all(re.fullmatch(r"\d{4}(-\d\d(-\d\d)?)?", each) for each in shown)
    assert len(shown) == len(set(shown)) >= 2
    assert axis.get_offset_text().get_text() == ""
    low, high = figure.axes[0].get_xlim()
    boxes = [
        label.get_window_extent()
        for tick, label in zip(axis.get_ticklocs(), axis.get_ticklabels(), strict=True)
        if low <= tick <= high
    ]
    assert all(left.x1 < right.x0 for left, right in pairwise(boxes))
