"""The time-line of the fleet, and the commands that draw pictures."""

from dataclasses import replace
from datetime import UTC, date, datetime

import pytest
from matplotlib.dates import num2date
from PIL import Image

from calib.confirmation.interval import (
    SUSPENSION,
    CalibrationOnRecord,
    EventOnRecord,
    InstrumentOnRecord,
    gate,
)
from calib.errors import CalibError
from calib.faces.drawings.due import due_chart
from calib.faces.drawings.due_bars import DueDrawing, due_drawing
from calib.faces.drawings.over_time import control_chart, history_chart
from tests.command import calib
from tests.pictures import CHECKS, FLEET, HISTORY, ON


def spans(axes):
    """(row, from, to, hatch) of every bar."""
    return [
        (
            round(one.get_y() + one.get_height() / 2),
            num2date(one.get_x()).date(),
            num2date(one.get_x() + one.get_width()).date(),
            one.get_hatch(),
        )
        for one in axes.patches
        if one.get_height() == pytest.approx(0.6)
    ]


def test_a_bar_runs_from_the_calibration_to_the_due_date_and_what_is_overdue_on_to_the_day():
    axes = due_chart(FLEET).figure.axes[0]
    assert spans(axes) == [
        (1, date(2025, 8, 20), date(2026, 8, 20), ""),
        (1, date(2026, 8, 20), ON, "/////"),
        (2, date(2026, 3, 19), date(2027, 3, 19), "xxxx"),
        (3, date(2025, 11, 2), date(2026, 11, 2), ""),
        (4, date(2026, 2, 10), date(2027, 2, 10), ""),
    ]


def test_the_day_asked_about_is_a_line():
    (line,) = due_chart(FLEET).figure.axes[0].lines
    assert {num2date(at).date() for at in line.get_xdata()} == {ON}


def test_the_state_of_each_is_told_by_sign_and_word():
    axes = due_chart(FLEET).figure.axes[0]
    labels = [one.get_text() for one in axes.get_yticklabels()]
    assert labels == ["TT-02  ✘", "VA-13  ✘", "VA-14  ⊘", "VA-11  ●", "RS-01  ●"]
    words = {one.get_text() for one in axes.texts}
    assert {"no calibration accepted", "overdue by 55 days", "suspended since 2026-09-02", "due in 19 days"} <= words


def test_of_a_large_fleet_the_most_urgent_are_drawn_and_it_says_so():
    bars = tuple(replace(FLEET.bars[n % 5], tag=f"I-{n}") for n in range(1000))
    axes = due_chart(DueDrawing(ON, 60, bars)).figure.axes[0]
    assert len(axes.get_yticks()) == 60
    assert axes.get_title(loc="left").startswith("the 60 most urgent of 1000 instruments; ")


def test_one_instrument_is_drawn_and_none_is_refused():
    assert len(spans(due_chart(replace(FLEET, bars=FLEET.bars[-1:])).figure.axes[0])) == 1
    assert spans(due_chart(replace(FLEET, bars=FLEET.bars[:1])).figure.axes[0]) == []  # never calibrated
    with pytest.raises(CalibError, match="no instrument to draw"):
        due_chart(replace(FLEET, bars=()))


def instrument(tag, due_on, *, suspended=False):
    calibration = CalibrationOnRecord(1, "C-1", "L", date(2026, 1, 1), date(2026, 1, 2), due_on, 0, 1, "")
    event = EventOnRecord(SUSPENSION, datetime(2026, 3, 1, 9, tzinfo=UTC), "dropped (twice): bent")
    return InstrumentOnRecord(tag, 12, None, (calibration,), (event,) if suspended else ())


def test_the_fleet_is_drawn_from_the_register_the_most_urgent_first():
    fleet = {
        "A": instrument("A", date(2026, 12, 1)),
        "B": instrument("B", date(2026, 11, 1), suspended=True),
        "C": instrument("C", date(2026, 5, 31)),
        "D": instrument("D", date(2026, 6, 1)),
        "E": InstrumentOnRecord("E", 12, None),
    }
    day = date(2026, 6, 1)
    shown = due_drawing(fleet, {tag: gate(fleet, tag, day, day) for tag in fleet}, day, 60)
    assert [(one.tag, one.word) for one in shown.bars] == [
        ("E", "no calibration accepted"),
        ("C", "overdue by 1 day"),
        ("B", "suspended since 2026-03-01"),
        ("D", "due today"),
        ("A", "due in 183 days"),
    ]
    assert {one.calibrated_on for one in shown.bars if one.tag != "E"} == {date(2026, 1, 1)}


def test_the_texts_of_what_runs_over_time_tell_their_numbers():
    assert due_chart(FLEET).words == (
        "Time-line of 5 instruments on 2026-10-14, from calibration to due date: 2 in calibration, 2 overdue, 1 not in use. "
        "TT-02 no calibration accepted; VA-13 overdue by 55 days; VA-14 suspended since 2026-09-02. "
        "Next due: VA-11 on 2026-11-02."
    )
    assert "At 5 m/s: +0.04 m/s on 2023-03-01 to +0.1 m/s on 2025-03-01, U 0.06 m/s;" in history_chart(HISTORY).words
    assert (
        "Check standard: 13 checks, 1 failed; the last, on 2026-05-13, is 2.65" in control_chart("VA-11", CHECKS).words
    )
    assert "Zero: 1 check, 0 failed; the last, on 2026-05-04, is 0.01" in control_chart("VA-11", CHECKS).words


def test_a_single_check_has_limits_from_side_to_side_and_an_axis_of_a_month():
    axes = control_chart("TA-05", CHECKS[1:]).figure.axes[0]
    first, last = (num2date(one).date() for one in axes.get_xlim())
    assert (first, last) == (date(2026, 4, 19), date(2026, 5, 19))
    across = [one for one in axes.lines if one.get_label() == "limits, as applied"]
    assert [one.get_ydata()[0] for one in across] == [-0.02, 0.02]
    assert all(list(one.get_xdata()) == [0, 1] for one in across)  # of the axes' width


# --- the commands ----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("due", "--on", "2026-03-05"), "Calibrations on 2026-03-05"),
        (("balance", "J-1"), "Balance of the systems"),
        (("conformity", "J-1"), "Outlets against their design"),
        (("budget", "1"), "S-1, reading 1: budget"),
        (("budget", "1", "--monte-carlo", "--digits", "1"), "Propagation of distributions"),
    ],
)
def test_a_command_draws_its_picture_and_answers_all_the_same(small_records, tmp_path, words, said):
    plain, drawn = calib(*words, records=small_records), tmp_path / "a.svg"
    told = calib(*words, "--plot", drawn, records=small_records)
    assert (told.status, told.out) == (plain.status, plain.out)
    assert said in drawn.read_text(encoding="utf-8")


def test_a_budget_is_drawn_without_random_numbers_unless_they_are_asked_for(small_records, tmp_path):
    told = calib("budget", "1", "--plot", tmp_path / "a.png", records=small_records)
    assert "random" not in told.err
    with Image.open(tmp_path / "a.png") as image:
        assert image.format == "PNG"


@pytest.mark.parametrize("words", [("due",), ("balance", "J-1"), ("conformity", "J-1"), ("budget", "1")])
def test_a_picture_in_another_form_is_refused_in_one_line(small_records, words):
    told = calib(*words, "--plot", "a.doc", records=small_records)
    assert told.status == 2
    assert "a plot is written as .svg, .png or .pdf" in told.err
    assert "Traceback" not in told.err


def test_a_round_has_no_picture(small_records):
    told = calib("due", "--round", "60d", "--plot", "a.png", "--ics", "a.ics", records=small_records)
    assert told.status == 2
    assert "--ics: 'a.ics'; expected nothing beside --round" in told.err
    assert "--plot: 'a.png'; expected nothing beside --round" in told.err


def test_a_job_without_readings_has_nothing_to_draw(empty_records):
    told = calib("due", "--plot", "a.png", records=empty_records)
    assert (told.status, "there is no instrument to draw" in told.err) == (2, True)
