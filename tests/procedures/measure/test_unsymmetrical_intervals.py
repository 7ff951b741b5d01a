"""Where the interval of a flow lies beside its value: told on every face, at the ends that propagated distributions have."""

import csv
import io

import pytest

from tests.command import calib
from tests.folders import changed, imported, write

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
