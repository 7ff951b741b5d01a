"""What would bring the uncertainty of a reading down."""

import math

import pytest

from tests.command import calib
from tests.folders import changed, imported, write


@pytest.fixture
def records(empty_records, tmp_path):
    imported(empty_records, write(tmp_path / "in", changed()))
    return empty_records


def test_the_ruling_contribution_comes_first_and_shares_add_to_100(records):
    document = calib("budget", 1, "--json", records=records).document
    shares = [one["variance_percent"] for one in document["levers"]]
    assert shares == sorted(shares, reverse=True)
    assert sum(shares) == pytest.approx(100.0)


def test_without_the_ruling_contribution_u_is_what_the_others_make(records):
    document = calib(
        "budget", 4, "--json", records=records
    ).document  # one pass: only the curve's scatter has finite dof
    first = document["levers"][0]
    rest = [one["standard_uncertainty"] for one in document["contributions"] if one["name"] != first["name"]]
    assert first["expanded_uncertainty_if_removed"] == pytest.approx(2 * math.hypot(*rest), rel=1e-3)


@pytest.mark.parametrize("wanted", ["200 m3/h", "20 %"])
def test_a_wanted_uncertainty_within_reach_has_a_number_of_observations(records, wanted):
    document = calib("budget", 1, "--wanted", wanted, "--json", records=records).document
    assert document["observations_needed"] == 2  # a Type A evaluation needs two


def test_a_wanted_uncertainty_out_of_reach_has_none(records):
    ran = calib("budget", 1, "--wanted", "1 %", records=records)
    assert ran.status == 0
    assert "no number of observations brings it" in ran.out


@pytest.mark.parametrize("wanted", ["1", "5 m", "-3 %", "0 m3/h", "many"])
def test_a_wanted_uncertainty_that_is_none_is_named(records, wanted):
    ran = calib("budget", 1, "--wanted", wanted, records=records)
    assert ran.status == 2
    assert ran.err.startswith(f"error: command line, --wanted: {wanted!r}")


@pytest.mark.parametrize(("percent", "factor"), [("95", 1.96), ("95.45", 2.00), ("99", 2.58), ("99.73", 3.00)])
def test_any_coverage_probability_has_its_factor(records, percent, factor):
    # GUM Table G.1; the fourth reading has thousands of effective degrees of freedom.
    document = calib("budget", 4, "--coverage-probability", percent, "--json", records=records).document
    assert document["flow"]["coverage_factor"] == pytest.approx(factor, abs=0.006)


@pytest.mark.parametrize("percent", ["50", "100", "0", "-5", "nan"])
def test_a_coverage_probability_that_is_none_is_named(records, percent):
    ran = calib("budget", 4, "--coverage-probability", percent, records=records)
    assert (ran.status, "--coverage-probability" in ran.err) == (2, True)
