"""What a revision says otherwise than the issue before it."""

import copy
import json
from datetime import timedelta

from calib.faces.report.content import content
from calib.faces.report.revision_changes import content_changes, revised
from calib.procedures.report.collect import report
from calib.records import database
from tests.command import calib
from tests.folders import NOW, changed, records_of, small_job


def document(tmp_path, *cells):
    records = records_of(tmp_path, changed(*cells))
    with database.reading(str(records)) as session:
        return content(report(session, "J-1", NOW), NOW)


def test_the_same_content_has_no_changes(tmp_path):
    one = document(tmp_path)
    assert content_changes(one, copy.deepcopy(one)) == []


def test_a_flow_that_changed_is_told_with_both_statements_and_so_are_its_totals(tmp_path):
    before = document(tmp_path / "a")
    after = document(tmp_path / "b", ("outlets.csv", 2, "outlet_factor", "0.88"))
    found = {one["what"]: one for one in content_changes(before, after)}
    assert list(found) == [
        "flow at S-1, reading 1",
        "AH-1, supply",
        "AH-1, net (supply − return − exhaust)",
        *list(found)[3:],
    ]
    told = found["flow at S-1, reading 1"]
    assert told["before"].startswith(before["readings"][0]["flow"]["statement"])
    assert told["after"].startswith(after["readings"][0]["flow"]["statement"])
    assert told["before"] != told["after"]


def test_facts_certificates_and_refusals_are_told(tmp_path):
    before = document(tmp_path)
    after = copy.deepcopy(before)
    after["site"] = "Another site"
    after["instruments"][0]["certificate"] = "C-201"
    after["refusals"] = [
        {"outlet": "S-1", "instrument": "VA-1", "observed_at": "2026-03-05", "reasons": ["overdue", "suspended"]}
    ]
    assert content_changes(before, after) == [
        {"what": "site", "before": "Site", "after": "Another site", "because": []},
        {
            "what": "refused reading at S-1 with VA-1, 2026-03-05",
            "before": None,
            "after": "overdue; suspended",
            "because": [],
        },
        {"what": "certificate of VA-1", "before": "C-101", "after": "C-201", "because": []},
    ]


def test_a_reading_that_is_gone_is_told(tmp_path):
    before = document(tmp_path)
    after = before | {"readings": before["readings"][1:]}
    assert [(one["what"], one["after"]) for one in content_changes(before, after)] == [("flow at S-1, reading 1", None)]


def test_a_draft_before_any_issue_changes_nothing(tmp_path):
    one = document(tmp_path)
    assert revised(one, None)["changes"] == []


def test_a_revision_is_compared_with_the_json_that_was_issued(tmp_path):
    one = document(tmp_path)
    before = json.dumps(one | {"title": "Another title"}).encode()
    assert revised(one, before)["changes"] == [
        {"what": "title", "before": "Another title", "after": "Flows of a small hall", "because": []}
    ]


# --- why -------------------------------------------------------------------------------------------------------------------------


def as_of(records):
    with database.reading(str(records)) as session:
        return content(report(session, "J-1", NOW + timedelta(days=2)), NOW)


def act(records, *arguments):
    answer = calib(*arguments, "--by", "A. Person", records=records)
    assert answer.status in (0, 1), answer.err


def repeat_at_s1(records):
    sheet = small_job()["readings.csv"][0]
    act(records, "reading", "add", "J-1", "S-1", "4.28", "4.31", "4.30", "--instrument", sheet["instrument"], "--unit",
        sheet["unit"], "--method", sheet["method"], "--at", "2026-03-05T16:10+01:00", "--stage", "repeat", "--sure")  # fmt: skip


def why(before, after):
    return {each["what"]: each["because"] for each in content_changes(before, after)}


def test_each_statement_that_changed_names_its_own_cause(tmp_path):
    """An outlet amended in one system, the plant's drift in another service, and another design of the supply."""
    records = records_of(tmp_path, small_job())
    before = as_of(records)
    act(
        records,
        "outlet",
        "amend",
        "J-1",
        "S-1",
        "--set",
        "width=410",
        "--reason",
        "measured inside the frame",
        "--sure",
    )
    between = as_of(records)
    told = why(before, between)
    amended = "outlet S-1 amended (revision 2): measured inside the frame"
    supply = next(name for name in told if name.startswith("AH-1, supply"))
    assert told["flow at S-1, reading 1"] == [amended]
    assert told[supply] == [amended]
    exhaust = small_job()["readings.csv"][-1]
    assert not any(exhaust["outlet"] in name for name in told)


def test_a_total_whose_design_is_another_says_so_and_names_no_reading(tmp_path):
    records = records_of(tmp_path, small_job())
    before = as_of(records)
    act(records, "system", "add", "J-1", "AH-1", "supply", "--design-flow", "4200", "--flow-unit", "m3/h",
        "--tolerance-percent", "10", "--sure")  # fmt: skip
    told = why(before, as_of(records))
    assert list(told) == ["AH-1, supply", *list(told)[1:]]
    (cause,) = told["AH-1, supply"]
    assert cause == "design 1450 m³/h → 4200 m³/h, 3780 to 4620 allowed"


def test_flows_that_carry_the_drift_of_the_plant_name_the_repeat(tmp_path):
    records = records_of(tmp_path, small_job())
    before = as_of(records)
    repeat_at_s1(records)
    after = as_of(records)
    (drift,) = after["plant_drift"]
    said = f"drift of the plant, by reading {drift['repeat_reading']}, a repeat at S-1"
    told = why(before, after)
    carrying = {f"flow at {each['outlet']}, reading {each['reading']}": each for each in before["readings"]}
    for name, each in carrying.items():
        assert (said in told.get(name, [])) is (each["service"] == "supply" and each["outlet"] != "S-1")


def test_the_flow_before_an_amendment_is_the_one_that_the_revision_before_printed(tmp_path):
    """A repeat that came in after the amendment tells a drift of the plant, which the earlier revision did not know."""
    records = records_of(tmp_path, small_job())
    first = as_of(records)
    act(records, "outlet", "amend", "J-1", "S-2", "--set", "width=410", "--reason", "measured inside", "--sure")
    second = revised(as_of(records), json.dumps(first).encode())
    repeat_at_s1(records)
    now = as_of(records)
    printed = {each["reading"]: each["flow"] for each in first["readings"] if each["outlet"] == "S-2"}
    (worked_out,) = now["amendments"]
    assert {each["reading"]: each["before"] for each in worked_out["flows"]} != printed
    for before in (first, second):
        (amendment,) = revised(now, json.dumps(before).encode())["amendments"]
        assert {each["reading"]: each["before"] for each in amendment["flows"]} == printed


def otherwise(tmp_path, change):
    """Causes of the first flow, which is stated otherwise, and which `change` makes rest on something else."""
    before = document(tmp_path)
    reading, after = before["readings"][0], copy.deepcopy(before)
    after["readings"][0]["flow"]["statement"] = reading["flow"]["statement"].replace("(", "(1", 1)
    change(before, after, after["readings"][0])
    return why(before, after)[f"flow at {reading['outlet']}, reading {reading['reading']}"]


def test_a_flow_by_a_factor_that_was_found_again_names_the_factor_and_the_reason(tmp_path):
    def change(before, after, now):
        before["readings"][0]["found_factor"] = {"factor": "GR-9", "revision": 1, "value": 0.85}
        now["found_factor"] = {"factor": "GR-9", "revision": 2, "value": 0.86}
        amendment = {"record": "factor GR-9", "revision": 2, "reason": "one pair taken out", "at": "2026-03-07"}
        after["amendments"].append(amendment)

    assert otherwise(tmp_path, change) == ["factor GR-9 amended (revision 2): one pair taken out"]


def test_a_flow_by_another_calibration_names_both_certificates(tmp_path):
    def change(_before, _after, now):
        now["evidence"]["instruments"][0]["certificate"] = "C-201"

    assert otherwise(tmp_path, change) == ["certificate of VA-1: C-101 → C-201"]


def test_a_flow_whose_curve_a_review_decided_names_the_decision(tmp_path):
    def change(before, after, now):
        decision = {"said": "the flows stand as they were", "reason": "dropped after the job", "by": "B. Person"}
        decision["at"] = "2026-03-08T09:00:00+01:00"
        review = {"review": 3, "instrument": "VA-1", "readings": [now["reading"]], "happened": "as found"}
        after["reviews"].append(review | {"decision": decision})
        before["reviews"].append(review | {"decision": None})

    assert otherwise(tmp_path, change) == [
        "review 3 of VA-1: the flows stand as they were (decided by B. Person on 2026-03-08: dropped after the job)"
    ]


def test_a_flow_whose_stability_is_another_names_the_instrument(tmp_path):
    def change(_before, _after, now):
        (stability,) = (each for each in now["contributions"] if each["name"] == "stability")
        stability["standard_uncertainty"] *= 1.5

    assert otherwise(tmp_path, change) == ["stability of VA-1, by what is on record of it since"]
