"""A calibration as `calib calibration show` prints it: the curve that the records hold, whatever a fit would say now.

What a residual is: reference minus corrected value of the comparison, r - (x + c(x)), as the curve of
tests/worked_cases/worked_vane gives it; the corrections of the small job's certificate are those of the worked example.
"""

import pytest

from calib.curves.choice import choose
from calib.faces.answers.calibration import judged_row
from calib.faces.answers.review import compared_cells
from calib.procedures.certificate import fit_curve
from tests.command import calib


def answer(which, records):
    ran = calib("calibration", which, "VA-1", "--json", records=records)
    assert ran.status == 0
    return ran.document


@pytest.fixture
def a_fit_gives_another_curve(monkeypatch):
    """As if the fitting code had changed since the curve was recorded: of any comparisons it makes a constant."""
    monkeypatch.setattr(fit_curve, "choose", lambda points, _degree: choose(points, 0))


@pytest.mark.usefixtures("a_fit_gives_another_curve")
def test_the_stored_curve_is_shown_where_a_fit_would_give_another(small_records):
    shown = answer("show", small_records)
    assert (shown["curve"]["shape"], shown["curve"]["degree"]) == ("polynomial", 1)
    level, slope = shown["curve"]["coefficients"]
    for each in shown["comparisons"]:
        x = float(each["indication"])
        assert each["residual"] == pytest.approx(float(each["reference"]) - (x + level + slope * x), abs=1e-12)


def test_what_the_rounding_of_floats_leaves_is_no_residual(small_records, tmp_path):
    """Errors of 0, 2, 4 and 2 fpm: the curve is their mean, and two of the comparisons lie on it."""
    sheet = tmp_path / "c-9.csv"
    rows = ("100,100", "400,402", "1000,1004", "1900,1902")
    sheet.write_text(
        "phase,reference,indication,unit,expanded_uncertainty,coverage_factor\n"
        + "".join(f"as-found,{row},fpm,4,2\n" for row in rows)
    )
    typed = ("--laboratory", "L", "--calibrated-on", "2026-02-01", "--comparisons", sheet, "--sure")
    assert calib("calibration", "add", "VA-1", "C-9", *typed, records=small_records).status == 0
    shown = calib("calibration", "show", "VA-1", "C-9", "--json", records=small_records).document
    residuals = [each["residual"] for each in shown["comparisons"]]
    assert (residuals[1], residuals[3]) == (0, 0)
    assert (residuals[0], residuals[2]) == pytest.approx((0.01016, -0.01016))  # [m/s]


@pytest.mark.parametrize(("error", "told"), [(-1.998e-13, "+0"), (0.0, "+0"), (-2e-12, "-2e-12"), (0.0123, "+0.0123")])
def test_what_the_rounding_of_floats_leaves_is_no_error_after_correction(error, told):
    numbers = {"error": error, "expanded_uncertainty": 8.0, "limit": 39.25, "probability_of_conformity": 1.0}
    assert judged_row({"reference": "800.0", "statement": "pass", **numbers})[1] == told
    as_found = {"reference": "800.0", "unit": "m3/h", "beyond": False, "within_U_of_the_limit": False, **numbers}
    assert compared_cells(as_found)[1] == told


def test_nothing_is_fitted_to_show_a_calibration(small_records, monkeypatch):
    before = answer("show", small_records)
    monkeypatch.delattr(fit_curve, "choose")
    assert answer("show", small_records) == before


def test_candidates_are_what_a_new_fit_says(small_records, monkeypatch):
    monkeypatch.delattr(fit_curve, "choose")
    with pytest.raises(NameError, match="choose"):
        calib("calibration", "candidates", "VA-1", records=small_records)


def test_the_candidate_that_counts_is_marked(small_records):
    assert [each["degree"] for each in answer("candidates", small_records)["candidates"] if each["chosen"]] == [1]
    chosen = ("calibration", "choose", "VA-1", "C-101", "--degree", "2", "--reason", "the maker states a parabola")
    assert calib(*chosen, records=small_records).status == 0
    assert [each["degree"] for each in answer("candidates", small_records)["candidates"] if each["chosen"]] == [2]
    assert answer("show", small_records)["curve"]["degree"] == 2
