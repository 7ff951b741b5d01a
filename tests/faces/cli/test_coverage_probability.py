"""A coverage probability is printed as it was asked for."""

import pytest

from tests.command import calib


@pytest.mark.parametrize("percent", ["95.45", "99", "99.73", "99.9999", "99.99999999"])
def test_a_budget_prints_the_coverage_probability_that_was_asked_for(small_records, percent):
    ran = calib("budget", 1, "--coverage-probability", percent, records=small_records)
    assert ran.status == 0
    assert f"({percent} %)" in ran.out


def test_a_report_prints_it_too(small_records, tmp_path):
    asked = ("report", "J-1", "--format", "html", "--into", tmp_path, "--coverage-probability", "99.9999")
    assert calib(*asked, records=small_records).status == 0
    (page,) = tmp_path.glob("*.html")
    assert "99.9999\N{NO-BREAK SPACE}%" in page.read_text(encoding="utf-8")


@pytest.mark.parametrize("percent", ["50", "100", "0.95", "99.99999999999999", "nan"])
def test_a_probability_that_is_none_is_one_line_with_what_was_typed(small_records, percent):
    ran = calib("budget", 1, "--coverage-probability", percent, records=small_records)
    assert ran.status == 2
    assert ran.out == ""
    assert percent in ran.err
    assert "above 50 and below 100" in ran.err
