"""`calib review decide`: a person's decision which curve holds, and every answer follows it.

Source: ISO/IEC 17025:2017, 7.10.1 (acceptability of nonconforming work) and 7.8.8 (amended reports), from memory. Flows by the
curve as found are compared with those of records that were imported with the comparisons as found in the certificate in force.
"""

import json
import math
import re

import pytest

from tests.as_found import LATER, added, as_if_found, drifted, reviewed, stated_flows
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
        (
            ("--curve", "as found from", "--from", "2025-03-05T09:00+01:00"),
            "expected a time from 2026-01-12 on, when VA-1 was last in order, to 2026-03-20, when it was found",
        ),
        (
            ("--curve", "as found from", "--from", "2026-03-21T09:00+01:00"),
            "--from: '2026-03-21T09:00:00+01:00'; expected a",
        ),
        (("--curve", "as found", "--reason", " "), "--reason: ' '; expected why"),
    ],
)
def test_what_cannot_be_is_one_line_and_nothing_is_written(records, words, expected):
    before = ledger_head(records)
    why = () if "--reason" in words else WHY
    ran = calib("review", "decide", 1, *why, *words, records=records)
    assert (ran.status, ran.out) == (2, "")
    assert len(ran.err.splitlines()) == 1
    assert expected in ran.err
    assert ledger_head(records) == before


def test_a_decision_is_shown_with_who_made_it_and_why(records):
    assert "which curve holds: not decided yet" in calib("review", "show", 1, records=records).out
    decide(records, "as found", "--by", "Q. Person")
    assert "by Q. Person: as found: it fell before the job" in calib("review", "show", 1, records=records).out


# --- the report ------------------------------------------------------------------------------------------------------------------


def issued(records, folder, *more):
    ran = calib("report", "J-1", "--issue", "--into", folder, "--format", "html,json,csv,xlsx", *more, records=records)
    assert (ran.status, ran.err) == (0, ran.err)
    page, document = (next(folder.glob(f"*.{form}")).read_text(encoding="utf-8") for form in ("html", "json"))
    return page, json.loads(document)


@pytest.fixture
def reissued(tmp_path):
    """Page and JSON of revision 2, issued after D-1 found VA-1 beyond its limits and a person decided on the curve as found."""
    records = records_of(tmp_path / "records", small_job())
    issued(records, tmp_path / "first")
    added(records, tmp_path / "second", drifted(small_job(), "VA-1"), LATER)
    decide(records, "as found", "--by", "Q. Person")
    return issued(records, tmp_path / "again", "--because", "VA-1 was found beyond its limits"), records


def test_a_reissued_report_says_what_was_found_what_was_decided_and_by_whom(reissued):
    (page, document), _ = reissued
    first = page[: page.index("<details")]
    assert re.search(r"VA-1 found at \d\.\d\d times its limit on 2026-03-20", first)
    assert (
        "the flows are those of the curve as found, for the whole time since it was last in order, as Q. Person decided"
        in first
    )
    (review,) = document["reviews"]
    assert (review["readings"], review["decision"]["by"]) == ([1, 2, 4], "Q. Person")
    assert review["decision"]["reason"] == "it fell before the job, as the dent shows"


def test_a_reissued_report_says_what_differs_from_the_revision_before(reissued):
    (_, document), _ = reissued
    differs = {change["what"]: (change["before"], change["after"]) for change in document["changes"]}
    before, after = differs["flow at S-1, reading 1"]
    assert before.endswith("conditional pass")
    assert after.endswith("pass")
    assert before.split()[0] != after.split()[0]
    assert any(what.startswith("review 1 of VA-1, found at") for what in differs)


def test_a_reading_says_that_its_curve_was_decided_on(reissued):
    (_, document), _ = reissued
    flags = {reading["reading"]: reading["flags"] for reading in document["readings"]}
    assert "which curve holds for certificate C-101 was decided in an impact review" in flags[1]
    assert flags[3] == []


@pytest.mark.parametrize(
    "curve", [("as before",), ("as found",), ("as found from", "--from", "2026-03-05T09:00+01:00"), ("widened",)]
)
def test_a_report_is_issued_in_every_form_after_each_decision(records, tmp_path, curve):
    assert decide(records, *curve).status == 0
    forms = ("html", "pdf", "xlsx", "csv", "json")
    ran = calib("report", "J-1", "--issue", "--into", tmp_path / "out", "--format", ",".join(forms), records=records)
    assert (ran.status, ran.err) == (0, ran.err)
    assert sorted(file.suffix for file in (tmp_path / "out").iterdir()) == sorted(f".{form}" for form in forms)


def test_a_widened_flow_is_written_with_the_change_found_in_its_formula_and_its_budget(records, tmp_path):
    decide(records, "widened")
    page, document = issued(records, tmp_path)
    budget = next(each for each in document["budgets_in_full"] if each["reading"] == 1)
    (own,) = [each for each in budget["quantities"] if each["symbol"] == "δ_dec"]
    assert (own["estimate"], own["distribution"]) == (0.0, "rectangular")
    assert "change found as found, which nobody corrects for" in page
    assert "<mtext>dec</mtext>" in page
    others = [each for each in document["budgets_in_full"] if each["reading"] == 3]
    assert all(each["symbol"] != "δ_dec" for other in others for each in other["quantities"])


def test_reissue_is_a_promise_until_a_later_revision_is_on_record(tmp_path):
    records = records_of(tmp_path / "records", small_job())
    issued(records, tmp_path / "first")
    added(records, tmp_path / "second", drifted(small_job(), "VA-1"), LATER)
    decide(records, "as found")
    for line in (1, 2, 3):
        calib("review", "dispose", 1, line, "--decision", "stands", "--reason", f"looked at {line}", records=records)
    ran = calib("review", "dispose", 1, 4, "--decision", "reissue", "--reason", "a statement changes", records=records)
    assert ran.err == "1 open line left\n"
    told = calib("due", "--on", "2026-03-06", records=records).out
    assert "1 of 4 lines (reissue promised: J-1): calib review show 1" in told
    assert "reissue promised: J-1" in calib("review", "list", records=records).out
    issued(records, tmp_path / "again", "--because", "VA-1 was found beyond its limits")
    assert "impact review" not in calib("due", "--on", "2026-03-06", records=records).out
    assert "reissued, revision 2" in calib("review", "show", 1, records=records).out


def test_a_promised_reissue_is_kept_by_a_revision_with_the_curve_that_was_decided_alone(tmp_path):
    records = records_of(tmp_path / "records", small_job())
    issued(records, tmp_path / "first")
    added(records, tmp_path / "second", drifted(small_job(), "VA-1"), LATER)

    def waits():
        every = calib("review", "list", "--json", records=records).document["reviews"]
        listed = calib("review", "list", "--open", "--json", records=records).document["reviews"]
        assert listed == [review for review in every if review["open"]]
        return every[0]["reissue_promised"]

    promised = calib("review", "dispose", 1, 1, 4, "--decision", "reissue", "--reason", "see 7.10", records=records)
    assert "a revision ends them once it is decided which curve holds: calib review decide 1" in promised.err
    issued(records, tmp_path / "too early", "--because", "promised")
    assert waits() == ["J-1"]
    assert "reissue promised: J-1, once it is decided which curve holds" in calib("due", records=records).out
    decide(records, "as found")
    for place in (2, 3):
        calib("review", "dispose", 1, place, "--decision", "stands", "--reason", f"line {place}", records=records)
    assert waits() == ["J-1"]
    assert "which curve holds" not in calib("due", records=records).out
    issued(records, tmp_path / "with it", "--because", "VA-1 was found beyond its limits")
    assert waits() == []
    lines = calib("review", "show", 1, "--json", records=records).document["items"]
    assert [lines[place]["reissued"] for place in (0, 3)] == [3, 3]
    decide(records, "as before")
    assert waits() == ["J-1"]


def test_what_stands_has_a_reason_line_by_line(records):
    before = ledger_head(records)
    ran = calib("review", "dispose", 1, 1, 2, "--decision", "stands", "--reason", "all the same", records=records)
    assert (ran.status, ran.out) == (2, "")
    assert "--reason: '1 for 2 lines'; expected 2 reasons, one for each line in their order" in ran.err
    assert ledger_head(records) == before
    each = ("--reason", "below a tenth of U", "--reason", "statement unchanged")
    assert calib("review", "dispose", 1, 1, 2, "--decision", "stands", *each, records=records).status == 0
    lines = calib("review", "show", 1, "--json", records=records).document["items"]
    assert [one["dispositions"][0]["reason"] for one in lines[:2]] == ["below a tenth of U", "statement unchanged"]
