"""`calib interval` and `calib check` as a person types them; the charts beside them.

Source: `calib help checks`, and ISO/IEC 17025:2017, 6.4.10 for what a failed check does.
"""

from datetime import date

import numpy as np
import pytest

from calib.confirmation.drift import drift_line
from calib.confirmation.history import CalibrationErrors, error_points
from calib.errors import CalibError
from calib.faces.drawings.over_time import HistoryDrawing, PointDrawing, control_chart, history_chart
from tests.command import calib
from tests.folders import ledger_head, records_of
from tests.job_with_history import sheets_with_history


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("history"), sheets_with_history())


REVIEW = ("interval", "VA-1", "--on", "2026-03-05")


def test_a_tag_alone_asks_for_its_review(records):
    short = calib(*REVIEW, "--json", records=records)
    whole = calib("interval", "review", *REVIEW[1:], "--json", records=records)
    assert short.document == whole.document
    assert calib("interval", "--on", "2026-03-05", "VA-1", "--json", records=records).document == short.document


def test_the_document_holds_history_drift_family_and_one_recommendation(records):
    document = calib(*REVIEW, "--json", records=records).document
    assert (document["interval_months"], document["judged"], document["unit"]) == (12, "indication", "m/s")
    assert [one["certificate"] for one in document["calibrations"]][-1] == "C-101"
    last = document["points"][-1]
    assert last["as_found"][-1]["error"] == pytest.approx(13.60 - 14.00)
    assert last["as_found"][-1]["expanded_uncertainty"] == pytest.approx(
        2 * (0.0635**2 + 0.06**2 / 6 + 0.01**2 / 12) ** 0.5
    )
    assert last["stability"]["intervals"] == 4
    assert len(document["family"]["intervals"]) == 4
    said = document["recommendation"]
    assert set(said) == {"action", "months", "reliability", "at_present", "why", "reason_of_size"}
    assert document["to_record"] == f'calib interval set VA-1 {said["months"]} --reason "..."'


def test_the_text_gives_one_recommendation_first_and_changes_nothing(records):
    before = ledger_head(records)
    told = calib(*REVIEW, "--judged", "corrected value", records=records)
    assert told.status == 0
    for part in (
        "interval in force 12 months, 5 calibrations",
        "recommended: shorten the interval to 4 months\n  96",
        "Shorter than half the present interval, since errors change by",
        "nothing is changed; it would be recorded by: calib interval set VA-1 4 --reason",
        "Family: vane, Maker M1: 3 of 4 intervals ended in tolerance (VA-1).",
    ):
        assert part in told.out
    assert told.out.count("recommended: ") == 1
    assert max(len(line) for line in told.out.splitlines()) <= 110  # five certificates side by side
    assert ledger_head(records) == before


def test_the_history_is_drawn(records, tmp_path):
    told = calib(*REVIEW, "--plot", tmp_path / "history.svg", records=records)
    drawn = (tmp_path / "history.svg").read_text(encoding="utf-8")
    assert told.status == 0
    for label in (
        "maximum permissible error",
        "as found, with U",
        "band",
        "drift",
        "at 13.6",
        "VA-1: error of indication",
    ):
        assert label in drawn


def test_the_time_until_the_limit_stands_between_the_limits_about_the_correction():
    """Corrected by -0.05 m/s, the limits of 0.1 m/s stand at -0.15 and 0.05 m/s."""
    drift = drift_line(history_of_errors((0.05, 0.0, -0.05)), 5.0)
    days = [date(year, 1, 1) for year in (2024, 2025, 2026)]
    one = PointDrawing(5.0, days, (0.05, 0.0, -0.05), (0.01,) * 3, -0.05, 0.1, drift, 1.0, 0.5)
    (strip,) = history_chart(HistoryDrawing("VA-1", "m/s", 12, [one])).figure.axes
    (reached,) = [each for each in strip.lines if each.get_label() == "limit reached"]
    assert list(reached.get_ydata()) == pytest.approx([-0.15, 0.05])


def history_of_errors(errors):
    """A calibration on each 1 January from 2024 on, with one error from 1 to 9 m/s."""
    x = np.array([1.0, 9.0])
    points = [error_points(x - error, x, np.full(2, 0.001), np.full(2, 0.005)) for error in errors]
    return tuple(
        CalibrationErrors(date(2024 + place, 1, 1), f"C-{place}", "Lab", each, each, False, True)
        for place, each in enumerate(points)
    )


def test_without_errors_there_is_nothing_to_draw():
    with pytest.raises(CalibError, match="no comparisons as found to draw"):
        history_chart(HistoryDrawing("VA-1", "m/s", 12, []))
    with pytest.raises(CalibError, match="no checks to draw"):
        control_chart("VA-1", [])


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("interval", "VA-9"), "no instrument 'VA-9'"),
        (("interval", "VA-1", "--target", "100"), "--target: '100'; expected a percentage above 0 and below 100"),
        (("interval", "VA-1", "--judged", "taste"), "--judged: 'taste'; expected one of indication, corrected value"),
        (("interval", "set", "VA-1", "0", "--reason", "x"), "MONTHS: '0'; expected a whole number, 1 to 9999"),
        (("interval", "VA-1", "--plot", "x.doc"), "a plot is written as .svg, .png or .pdf"),
    ],
)
def test_bad_input_is_one_line(records, words, message):
    told = calib(*words, records=records)
    assert told.status == 2
    assert message in told.err
    assert "Traceback" not in told.err


def test_a_group_alone_shows_its_help():
    told = calib("interval")
    assert "review" in told.out + told.err
    assert "set" in calib("interval", "--help").out


def test_an_interval_is_set_and_the_gate_follows(small_records):
    told = calib("interval", "set", "VA-1", "1", "--reason", "drifts", "--json", records=small_records)
    assert (told.status, told.document["before"], told.document["interval_months"]) == (0, 12, 1)
    assert told.document["due_on"] == "2026-02-12"
    assert calib("ready", "VA-1", records=small_records).status == 3


# --- checks ----------------------------------------------------------------------------------------------------------------------

TWO = (
    "check",
    "add",
    "VA-1",
    "--kind",
    "comparison",
    "--unit",
    "m/s",
    "--other",
    "RS-1",
    "--at",
    "2026-03-05T08:00+00:00",
)


def test_a_comparison_that_agrees_exits_0_and_says_with_which_numbers(small_records):
    told = calib(*TWO, "--value", "4.20", "--other-value", "4.27", records=small_records)
    assert told.status == 0
    assert "VA-1: comparison check passed, E_n = " in told.out
    assert "VA-1: 4.27557 ± 0.1" in told.out
    assert "both were calibrated by North Laboratory" in told.out


def test_a_comparison_that_does_not_agree_exits_1_and_closes_the_gate(small_records):
    told = calib(*TWO, "--value", "4.20", "--other-value", "5.20", "--json", records=small_records)
    assert (told.status, told.document["result"], told.document["other"]) == (1, "failed", "RS-1")
    refused = calib("ready", "VA-1", "--on", "2026-03-05", records=small_records)
    assert refused.status == 3
    assert "intermediate check (comparison) failed on 2026-03-05" in refused.out + refused.err


def test_a_failed_check_says_where_to_look_for_what_it_touches(small_records):
    zero = ("--kind", "zero", "--value", "0.5", "--low", "0", "--high", "0.02", "--unit", "m/s")
    told = calib("check", "add", "VA-1", *zero, records=small_records)
    assert told.status == 1
    assert "may not be used from" in told.err
    assert "calib trace down VA-1" in told.err


def test_a_comparison_with_an_instrument_that_is_refused_exits_3(small_records):
    calib(
        "instrument", "suspend", "RS-1", "--reason", "dropped", "--at", "2026-03-01T09:00+00:00", records=small_records
    )
    before = ledger_head(small_records)
    told = calib(*TWO, "--value", "4.20", "--other-value", "4.27", records=small_records)
    assert (told.status, ledger_head(small_records)) == (3, before)
    assert "RS-1: suspended since" in told.err


def standard(records, day, value, *limits):
    words = ("check", "add", "VA-1", "--kind", "check standard", "--unit", "m/s", "--value", value, *limits)
    return calib(*words, "--at", f"2026-02-{day:02}T08:00+00:00", records=records)


def test_a_check_standard_is_charted_with_its_limits(small_records, tmp_path):
    for day, value in enumerate((2.51, 2.49, 2.50, 2.52, 2.48, 2.50, 2.51, 2.50, 2.49, 2.51), start=1):
        assert standard(small_records, day, value, "--low", "2.4", "--high", "2.6").status == 0
    assert "limits from 10 values, mean 2.501" in standard(small_records, 11, 2.50).out
    told = calib("check", "chart", "VA-1", "--plot", tmp_path / "chart.svg", records=small_records)
    assert told.status == 0
    assert "check standard: 11 checks, 0 failed" in told.out
    assert "centre line 2.50091, the mean of a baseline of 11" in told.out
    # C +- 3 s and C +- t s (NIST/SEMATECH e-Handbook 2.3.5.2): C = 27.51/11, s from the sum of squares 0.00129091 and 10 degrees
    # of freedom; t(0.99865; 10) = 3.9569, of the same alarm as 3 of the normal distribution (from a table of Student's t).
    mean, s = 27.51 / 11, (0.00129091 / 10) ** 0.5
    assert f"3 s {mean - 3 * s:.5f} to {mean + 3 * s:.5f}, Student's t " in told.out
    (series,) = calib("check", "chart", "VA-1", "--json", records=small_records).document["series"]
    assert series["t_limits"]["high"] == pytest.approx(mean + 3.9569 * s, abs=1e-5)
    drawn = (tmp_path / "chart.svg").read_text(encoding="utf-8")
    for label in ("VA-1: intermediate checks", "limits", "centre line", "[m/s]"):
        assert label in drawn
    listed = calib("check", "list", "VA-1", "--json", records=small_records).document["checks"]
    assert listed[-1]["basis"]["count"] == 10


def test_a_check_standard_read_twice_a_day_tells_its_days_apart(small_records):
    for day, value in enumerate((2.51, 2.55, 2.47, 2.54, 2.45), start=1):
        for again in (0.0, 0.01):
            assert standard(small_records, day, round(value + again, 2), "--low", "2.4", "--high", "2.6").status == 0
    # Means of days scatter by 0.04336, values of a day by 0.01/sqrt(2): F = 2 * 0.00188/0.00005 = 75.2.
    # F 0.95 with 4 and 5 degrees of freedom: 5.19 (any table).
    told = calib("check", "chart", "VA-1", records=small_records).out
    assert "baseline over 5 days: s between days 0.043, within a day 0.0071 m/s; F 75.2, its 95 % quantile 5.19" in told
    assert "days differ: limits from values of few days are too narrow" in told
    (series,) = calib("check", "chart", "VA-1", "--json", records=small_records).document["series"]
    assert series["components"]["differ"] is True


def test_values_that_rise_one_after_the_other_are_told_as_a_trend(small_records, tmp_path):
    for day in range(1, 9):
        ran = standard(small_records, day, round(2.46 + 0.01 * day, 2), "--low", "2.4", "--high", "2.6")
        assert ran.status == 0
    told = calib("check", "chart", "VA-1", "--plot", tmp_path / "chart.svg", records=small_records)
    assert "trend: 8 values, from 2026-02-01 to 2026-02-08, 7 or more in a row rising or falling" in told.out
    assert "8 checks, 0 failed, 8 of them in a trend" in told.err
    assert ">trend: 7 or more in a row rising or falling<" in (tmp_path / "chart.svg").read_text(encoding="utf-8")
    (series,) = calib("check", "chart", "VA-1", "--json", records=small_records).document["series"]
    assert all(check["in_trend"] for check in series["checks"])


def test_a_chart_without_checks_says_so(small_records):
    assert calib("check", "chart", "VA-2", records=small_records).out == "VA-2: no checks\n"


def test_charts_are_answered_in_numbers(small_records):
    calib(*TWO, "--value", "4.20", "--other-value", "4.27", records=small_records)
    (series,) = calib("check", "chart", "VA-1", "--json", records=small_records).document["series"]
    assert (series["kind"], series["other"], series["unit"], series["drifting"]) == ("comparison", "RS-1", "1", False)
    assert series["checks"][0]["at"] == "2026-03-05T08:00:00+00:00"


def test_a_longer_interval_says_since_when_it_holds(small_records, tmp_path):
    """A calibration that was accepted the same day is accepted with it; one in use already is not lengthened."""
    told = calib("interval", "set", "VA-1", "24", "--reason", "steady", records=small_records)
    assert "from the next calibration accepted on; due on 2027-01-12" in told.out
    sheet = tmp_path / "c-9.csv"
    sheet.write_text(
        "phase,reference,indication,unit,expanded_uncertainty,coverage_factor\n"
        "as-found,1.00,1.01,m/s,0.02,2\nas-found,5.00,5.01,m/s,0.02,2\nas-found,9.00,9.01,m/s,0.02,2\n",
        encoding="utf-8",
    )
    words = ("--laboratory", "North Laboratory", "--calibrated-on", "2026-02-20", "--comparisons", sheet)
    assert calib("calibration", "add", "VA-1", "C-9", *words, "--by", "A. Person", records=small_records).status == 0
    assert calib("calibration", "accept", "VA-1", "C-9", "--by", "B. Person", records=small_records).status == 0
    told = calib("interval", "set", "VA-1", "36", "--reason", "steady", records=small_records)
    assert "36 months instead of 24, at once; due on 2029-02-20" in told.out
