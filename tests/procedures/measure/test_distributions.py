"""Propagation of distributions for a reading, beside the law (JCGM 101)."""

import pytest

from tests.command import calib
from tests.folders import changed, imported, write


@pytest.fixture
def records(empty_records, tmp_path):
    many = ";".join(["4.19", "4.22", "4.19", "4.20"] * 8)
    cells = [("readings.csv", 2, "observations", many), ("readings.csv", 2, "indication", "4.20")]
    imported(empty_records, write(tmp_path / "in", changed(*cells)))
    return empty_records


def budget(records, *options):
    return calib("budget", 1, "--monte-carlo", "--digits", 1, "--json", *options, records=records).document


def test_both_propagations_agree_in_value_and_uncertainty_where_the_law_should_hold(records):
    # A product of many small independent errors: the law holds to the digits asked for.
    document = budget(records)
    drawn, flow = document["monte_carlo"], document["flow"]
    assert drawn["value"] == pytest.approx(flow["value"], rel=3e-3)
    assert drawn["standard_uncertainty"] == pytest.approx(flow["standard_uncertainty"], rel=3e-2)
    assert drawn["stabilised"] or drawn["trials"] == 10_000_000  # steady, or stopped at the stated maximum


def test_the_ends_of_both_intervals_are_compared_as_clause_8_says(records):
    drawn = budget(records)["monte_carlo"]
    for end, name in enumerate(("d_low", "d_high")):
        assert drawn[name] == pytest.approx(
            abs(drawn["law_interval"][end] - drawn["symmetric_interval"][end]), rel=1e-6
        )
    assert drawn["law_validated"] == (max(drawn["d_low"], drawn["d_high"]) <= drawn["numerical_tolerance"])


def test_the_shortest_interval_is_no_longer_than_the_symmetric_one(records):
    drawn = budget(records)["monte_carlo"]
    lengths = [drawn[name][1] - drawn[name][0] for name in ("shortest_interval", "symmetric_interval")]
    assert lengths[0] <= lengths[1] * (1 + 1e-12)


def test_the_same_seed_gives_the_same_figures_and_another_seed_others(records):
    first, again, other = (budget(records, "--seed", seed)["monte_carlo"] for seed in (4, 4, 5))
    assert first == again
    assert first["value"] != other["value"]


def test_three_observations_have_no_standard_deviation_and_the_answer_says_so(empty_records, tmp_path):
    imported(empty_records, write(tmp_path / "in", changed()))
    ran = calib("budget", 1, "--monte-carlo", "--digits", 1, records=empty_records)
    assert "repeatability: two degrees of freedom or fewer" in ran.out


def test_the_distribution_is_drawn_to_a_file(records, tmp_path):
    plot = tmp_path / "drawn.svg"
    assert calib("budget", 1, "--monte-carlo", "--digits", 1, "--plot", plot, records=records).status == 0
    text = plot.read_text(encoding="utf-8")
    assert "interval of the law" in text
    assert "flow [m³/h]" in text


def test_a_rectangular_contribution_that_dominates_gets_a_coverage_factor_of_its_own(empty_records, tmp_path):
    # EA-4/02 S9: k = 1.65 at 95 % for a rectangular distribution (0.95 sqrt 3).
    cells = [
        ("instruments.csv", 2, "mpe_percent", "60"),
        ("outlets.csv", 2, "outlet_factor_standard_uncertainty", "0.001"),
        ("methods.csv", 2, "relative_standard_uncertainty_percent", "0.1"),
    ]
    imported(empty_records, write(tmp_path / "in", changed(*cells)))
    document = calib("budget", 1, "--coverage-probability", "95", "--json", records=empty_records).document
    assert document["dominant"] == "stability"
    assert document["monte_carlo"]["coverage_factor"] == pytest.approx(1.65, abs=0.01)


def test_the_check_cites_the_one_answer_and_says_how_far_off_its_ends_are(records):
    document = budget(records)
    drawn, flow = document["monte_carlo"], document["flow"]
    assert drawn["cited_interval"] == pytest.approx(
        [flow["value"] - flow["expanded_uncertainty"], flow["value"] + flow["expanded_uncertainty"]]
    )
    for end, name in enumerate(("low", "high")):
        off = 100 * (drawn["symmetric_interval"][end] - drawn["cited_interval"][end]) / flow["expanded_uncertainty"]
        assert drawn[f"{name}_end_off_by_percent_of_u"] == pytest.approx(off)
    assert drawn["cited_interval_stands"]
    said = " ".join(calib("budget", 1, "--monte-carlo", "--digits", 1, records=records).out.split())
    assert f"cite {flow['statement']}, as every answer states it" in said
    assert "within 5 % of U: the check upholds U" in said
    assert "cite the interval of the distributions" not in said


def test_the_tolerance_is_half_of_the_last_digit_of_u_in_the_unit_printed(records):
    # JCGM 101, 7.9.2, of one digit: u = c 10^l, half of 10^l.
    document = budget(records)
    drawn, u = document["monte_carlo"], document["flow"]["standard_uncertainty"]
    assert drawn["unit"] == "m3/h"
    assert drawn["numerical_tolerance"] == pytest.approx(0.5 * 10 ** int(f"{u:.0e}".partition("e")[2]))


def test_where_a_rectangular_contribution_rules_the_check_says_that_u_is_larger_than_needed(empty_records, tmp_path):
    # u(stability) = 60 %/sqrt 3: the distribution ends at sqrt 3 u, 0.9545 of that covers 95.45 %, and U is 2 u.
    cells = [
        ("instruments.csv", 2, "mpe_percent", "60"),
        ("outlets.csv", 2, "outlet_factor_standard_uncertainty", "0.001"),
        ("methods.csv", 2, "relative_standard_uncertainty_percent", "0.1"),
    ]
    imported(empty_records, write(tmp_path / "in", changed(*cells)))
    ran = calib("budget", 1, "--json", "--digits", 1, records=empty_records)
    drawn = ran.document["monte_carlo"]
    assert not drawn["cited_interval_stands"]
    assert drawn["u_too_small_by_percent"] == pytest.approx(100 * (0.9545 * 3**0.5 / 2 - 1), abs=0.5)
    said = calib("budget", 1, "--digits", 1, records=empty_records).out
    assert "% larger than needed, and covers more than its 95.45 %" in said
