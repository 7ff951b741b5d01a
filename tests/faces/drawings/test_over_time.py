"""Charts over time: one calibration is one panel, and a trend is called one. Words: the ISO 7870 series (control charts)."""

import math
from dataclasses import replace

import pytest

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
