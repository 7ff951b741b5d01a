"""`calib review decide`: a person's decision which curve holds, and every answer follows it.

Source: ISO/IEC 17025:2017, 7.10.1 (acceptability of nonconforming work) and 7.8.8 (amended reports), from memory. Flows by the
curve as found are compared with those of records that were imported with the comparisons as found in the certificate in force.
"""

import math

import pytest

from tests.as_found import as_if_found, drifted, reviewed, stated_flows
from tests.command import calib, copied
from tests.folders import ledger_head, records_of, small_job

WHY = ("--reason", "it fell before the job, as the dent shows")
SAME = {"rel": 1e-9}


@pytest.fixture(scope="module")
def made(tmp_path_factory):
    folder = tmp_path_factory.mktemp("small")
    sheets, second = small_job(), drifted(small_job(), "VA-1")
    return reviewed(folder / "records", sheets, second), records_of(folder / "other", as_if_found(sheets, second))


@pytest.fixture
def records(made, tmp_path):
    return copied(made[0], tmp_path / "records.sqlite")


def decide(records, curve, *more):
    return calib("review", "decide", 1, "--curve", curve, *WHY, *more, records=records)


def test_flows_follow_the_curve_as_found_for_the_whole_time(made, records):
    ran = decide(records, "as found")
    assert (ran.status, ran.out) == (0, "review 1 (VA-1, certificate D-1): as found\n")
    expected, flows = stated_flows(made[1], "J-1"), stated_flows(records, "J-1")
    for reading, (value, u, k, statement) in expected.items():
        assert flows[reading][:3] == pytest.approx((value, u, k), **SAME)
        assert flows[reading][3] == statement


def test_flows_stay_where_it_is_decided_that_all_is_as_before(records):
    before = stated_flows(records, "J-1")
    assert decide(records, "as before").status == 0
    assert stated_flows(records, "J-1") == before


def test_of_two_decisions_the_latest_counts(records):
    before = stated_flows(records, "J-1")
    decide(records, "as found")
    decide(records, "as before")
    assert stated_flows(records, "J-1") == before


def test_flows_follow_it_from_a_time_on(made, records):
    readings = calib("reading", "list", "J-1", "--json", records=records).document["readings"]
    times = sorted((one["observed_at"], one["reading"]) for one in readings if one["instrument"] == "VA-1")
    before, as_found = stated_flows(records, "J-1"), stated_flows(made[1], "J-1")
    assert decide(records, "as found from", "--from", times[1][0]).status == 0
    flows = stated_flows(records, "J-1")
    for place, (_, reading) in enumerate(times):
        expected = before if place == 0 else as_found
        assert flows[reading][:3] == pytest.approx(expected[reading][:3], **SAME)


def test_widened_keeps_the_flow_and_its_u_covers_the_change_found(made, records):
    """By hand: u'^2 = u^2 + (q' - q)^2/3, with the flow q' by the curve as found."""
    before, as_found = stated_flows(records, "J-1"), stated_flows(made[1], "J-1")
    decide(records, "widened")
    document = calib("report", "J-1", "--format", "json", "--into", records.parent / "out", records=records)
    assert document.status == 0
    flows = stated_flows(records, "J-1")
    rows = calib("budget", 1, "--json", records=records).document["contributions"]
    (own,) = [row for row in rows if row["name"] == "decided in review"]
    change = abs(as_found[1][0] - before[1][0]) * 3600.0
    assert own["standard_uncertainty"] == pytest.approx(change / math.sqrt(3), rel=1e-6)
    assert flows[1][0] == pytest.approx(before[1][0], **SAME)
    assert flows[1][1] > before[1][1]
    assert flows[3] == before[3]


def test_widened_is_a_distribution_too(records):
    before = calib("budget", 1, "--monte-carlo", "--json", records=records).document
    decide(records, "widened")
    after = calib("budget", 1, "--monte-carlo", "--json", records=records).document
    spread = [one["monte_carlo"]["standard_uncertainty"] for one in (before, after)]
    assert spread[1] > 1.05 * spread[0]


def test_totals_conformity_and_reading_list_say_the_same(made, records):
    decide(records, "as found")
    other = made[1]
    for words in (("balance", "J-1"), ("conformity", "J-1")):
        own, expected = (calib(*words, "--json", records=each).document for each in (records, other))
        flows = [
            [total["flow"] and total["flow"]["value"] for total in each.get("totals", ())] for each in (own, expected)
        ]
        assert flows[0] == pytest.approx(flows[1], **SAME)
        assert [one.get("conformity") for one in own.get("totals", ())] == [
            one.get("conformity") for one in expected.get("totals", ())
        ]


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--curve", "ignore"), "--curve: 'ignore'; expected one of as before, as found, as found from, widened"),
        (("--curve", "as found from"), "--from: expected the time from which on the curve as found holds"),
        (
            ("--curve", "widened", "--from", "2026-03-05T09:00+01:00"),
            "expected nothing but with the curve 'as found from'",
        ),
        (("--curve", "as found from", "--from", "2099-03-05T09:00+01:00"), "--from: '2099-03-05"),
        (("--curve", "as found", "--reason", " "), "--reason: ' '; expected why"),
    ],
)
def test_what_cannot_be_is_one_line_and_nothing_is_written(records, words, expected):
    before = ledger_head(records)
    ran = calib("review", "decide", 1, *WHY, *words, records=records)
    assert (ran.status, ran.out) == (2, "")
    assert len(ran.err.splitlines()) == 1
    assert expected in ran.err
    assert ledger_head(records) == before


def test_a_decision_is_shown_with_who_made_it_and_why(records):
    assert "which curve holds: not decided yet" in calib("review", "show", 1, records=records).out
    decide(records, "as found", "--by", "Q. Person")
    assert "by Q. Person: as found: it fell before the job" in calib("review", "show", 1, records=records).out
