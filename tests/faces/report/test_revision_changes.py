"""What a revision says otherwise than the issue before it."""

import copy
import json

from calib.faces.report.content import content
from calib.faces.report.revision_changes import content_changes, revised
from calib.procedures.report.collect import report
from calib.records import database
from tests.folders import NOW, changed, records_of


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
        {"what": "site", "before": "Site", "after": "Another site"},
        {
            "what": "refused reading at S-1 with VA-1, 2026-03-05",
            "before": None,
            "after": "overdue; suspended",
        },
        {"what": "certificate of VA-1", "before": "C-101", "after": "C-201"},
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
        {"what": "title", "before": "Another title", "after": "Flows of a small hall"}
    ]
