"""Where the interval of a flow lies beside its value: told on every face, at the ends that propagated distributions have."""

import csv
import io

import pytest

from tests.command import calib
from tests.every_way import every_way
from tests.folders import changed, imported, records_of, write

MANY = ";".join(["4.19", "4.22", "4.19", "4.20"] * 8)
REPEATED = [("readings.csv", 2, "observations", MANY), ("readings.csv", 2, "indication", "4.20")]
UNCERTAIN = [
    ("outlets.csv", 2, "outlet_factor_standard_uncertainty", "0.09"),  # 10 % and more of the factor
    ("outlets.csv", 3, "outlet_factor_standard_uncertainty", "0.09"),
    ("methods.csv", 2, "relative_standard_uncertainty_percent", "12"),
]


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    folder = tmp_path_factory.mktemp("unsymmetrical")
    path = folder / "records.sqlite"
    assert calib("init", records=path).status == 0
    imported(path, write(folder / "in", changed(*REPEATED, *UNCERTAIN)))
    return path


def budget(records, *options):
    return calib("budget", 1, "--json", *options, records=records).document


def test_its_ends_are_those_of_propagated_distributions(records):
    document = budget(records, "--monte-carlo", "--digits", 1, "--seed", 3)
    interval, expanded = document["flow"]["interval"], document["flow"]["expanded_uncertainty"]
    drawn = document["monte_carlo"]["symmetric_interval"]
    assert [interval["low"], interval["high"]] == pytest.approx(drawn, abs=0.02 * expanded)
    assert document["monte_carlo"]["law_interval"] != pytest.approx(drawn, abs=0.05 * expanded)


def test_it_is_as_long_as_that_of_u_and_lies_above_a_product(records):
    flow = budget(records)["flow"]
    interval, expanded = flow["interval"], flow["expanded_uncertainty"]
    assert interval["high"] - interval["low"] == pytest.approx(2 * expanded)
    assert 0.5 * (interval["low"] + interval["high"]) - flow["value"] == pytest.approx(interval["by"] / 100 * expanded)
    assert 5.0 < interval["by"] < 20.0


def test_every_face_says_the_same_ends(records):
    flow = budget(records)["flow"]
    ends = flow["statement"].partition("interval ")[2]
    low, high = (float(end) for end in ends.split(" to "))
    assert (low, high) == pytest.approx((flow["interval"]["low"], flow["interval"]["high"]), rel=0.05)
    job = "J-1"
    for words in (("budget", 1), ("reading", "list", job), ("conformity", job)):
        assert f"interval {ends}" in calib(*words, records=records).out, words


def test_a_total_of_one_sign_says_its_own_and_a_net_says_none(records):
    # Two outlets share factor and method, so that their total is as unsymmetrical as they are.
    ran = calib("balance", "J-1", records=records)
    flows = {
        total["service"]: total["flow"]
        for total in calib("balance", "J-1", "--json", records=records).document["totals"]
    }
    total, one = flows["supply"], budget(records)["flow"]
    assert total["interval"]["by"] == pytest.approx(one["interval"]["by"], abs=1.0)
    assert total["statement"].partition(", ")[2] in ran.out
    assert flows["net"]["interval"] is None


def test_the_report_says_them_and_what_they_are(records, tmp_path):
    interval = budget(records)["flow"]["interval"]
    said = budget(records)["flow"]["statement"].partition("interval ")[2]
    ran = calib("report", "J-1", "--format", "html,csv", "--into", tmp_path, records=records)
    assert ran.status == 0, ran
    page = next(tmp_path.glob("*.html")).read_text(encoding="utf-8")
    assert f"({said})" in page
    assert "its ends stand in brackets" in page
    rows = list(csv.DictReader(io.StringIO(next(tmp_path.glob("*.csv")).read_text(encoding="utf-8"))))
    reading = next(row for row in rows if row["record"] == "reading")
    assert (float(reading["interval_low"]), float(reading["interval_high"])) == (interval["low"], interval["high"])


def test_of_an_ordinary_reading_none_is_told(empty_records, tmp_path):
    imported(empty_records, write(tmp_path / "in", changed(*REPEATED)))
    flow = budget(empty_records)["flow"]
    assert flow["interval"] is None
    assert "interval" not in flow["statement"]
    assert "interval" not in calib("reading", "list", "J-1", records=empty_records).out


def test_the_flow_of_an_uncertain_velocity_pressure_reaches_farther_below_as_its_propagated_distribution_does(tmp_path):
    sheets = every_way()
    for row in sheets["traverses.csv"]:
        if row["outlet"] == "D-1":
            values = row["indications"].replace(" ", ";").split(";")
            row["indications"] = ";".join(f"{0.35 * float(value):.1f}" for value in values if value)
    for row in sheets["instruments.csv"]:
        if row["tag"] == "DM-1":
            row["mpe_absolute"] = "1.5"
    for row in sheets["comparisons.csv"]:
        if row["tag"] == "DM-1":
            row["expanded_uncertainty"] = "1.6"
    made = records_of(tmp_path, sheets)
    (number,) = (
        reading["reading"]
        for reading in calib("reading", "list", "E-1", "--json", records=made).document["readings"]
        if reading["outlet"] == "D-1"
    )
    document = calib("budget", number, "--json", "--monte-carlo", "--digits", 1, "--seed", 3, records=made).document
    interval, expanded = document["flow"]["interval"], document["flow"]["expanded_uncertainty"]
    assert interval["by"] < -5.0
    assert [interval["low"], interval["high"]] == pytest.approx(
        document["monte_carlo"]["symmetric_interval"], abs=0.03 * expanded
    )


def test_a_reading_whose_u_terms_of_second_order_would_change_is_flagged(tmp_path):
    # Factor 0.6/0.84 and method 65 %: sqrt(1 + f^2 m^2/(f^2 + m^2)) is 1.11, the rest of the budget beside them is nothing.
    cells = [
        ("outlets.csv", 2, "outlet_factor_standard_uncertainty", "0.6"),
        ("outlets.csv", 3, "outlet_factor_standard_uncertainty", "0.6"),
        ("methods.csv", 2, "relative_standard_uncertainty_percent", "65"),
    ]
    made = records_of(tmp_path, changed(*REPEATED, *cells))
    said = "terms of second order (GUM 5.1.2) would change U by +11 %"
    assert [said in flag for flag in budget(made)["flags"]] == [True]
    assert said in calib("budget", 1, records=made).out
    assert budget(made)["flow"]["expanded_uncertainty"] == pytest.approx(
        2 * budget(made)["flow"]["standard_uncertainty"], rel=0.01
    )
