"""The digest that an issue prints of itself shows its removal. Source: `calib help report` and `calib help records`."""

import json
import re
import shutil

import pytest

from tests.command import calib
from tests.records.test_ledger import change


def issued(records, into, *forms, reason=()):
    asked = ("report", "J-1", "--issue", "--format", ",".join(forms), "--into", into)
    assert calib(*asked, *reason, records=records).status == 0


def printed(path):
    return json.loads(path.read_text(encoding="utf-8"))["issue_digest"]


@pytest.fixture
def records(_small, tmp_path):
    """The small job in a file, issued as JSON, HTML and CSV; the issue is the last thing that was recorded."""
    small = shutil.copyfile(_small, tmp_path / "small.sqlite")
    issued(small, tmp_path, "json", "html", "csv")
    return small


def verified(records, digest):
    ran = calib("verify", "--digest", digest, "--json", records=records)
    return ran.status, {each["record"]: each["problem"] for each in ran.document["findings"]}


def cut(records, *rows):
    """Take rows out behind the program's back, and their entries with them: what is left is a whole chain."""
    for table, condition in rows:
        gone = f"record_table = '{table}' AND record_id IN (SELECT id FROM {table} WHERE {condition})"  # noqa: S608 (own names)
        change(records, f"DELETE FROM ledger WHERE {gone}")  # noqa: S608
        change(records, f"DELETE FROM {table} WHERE {condition}")  # noqa: S608


def test_it_is_on_the_paper_and_verifies(small_records, tmp_path):
    issued(small_records, tmp_path, "json", "html", "csv")
    digest = printed(tmp_path / "J-1-r1.json")
    assert re.fullmatch("[0-9a-f]{64}", digest)
    assert digest in (tmp_path / "J-1-r1.html").read_text(encoding="utf-8")
    assert verified(small_records, digest) == (0, {})
    assert verified(small_records, digest[::-1])[0] == 1


def test_the_removal_of_the_last_issue_is_shown_by_its_own_digest(records, tmp_path):
    digest = printed(tmp_path / "J-1-r1.json")
    cut(records, ("issued_form", "1 = 1"), ("issued_report", "1 = 1"))
    assert calib("verify", records=records).status == 0  # nothing else would show it
    status, findings = verified(records, digest)
    assert status == 1
    assert findings == {"ledger": f"holds no entry with the digest {digest}: its tail was cut, or replaced"}


def test_the_removal_of_its_last_form_is_shown_too(records, tmp_path):
    digest = printed(tmp_path / "J-1-r1.json")
    cut(records, ("issued_form", "id = (SELECT max(id) FROM issued_form)"))
    assert calib("verify", records=records).status == 0
    assert verified(records, digest)[0] == 1


def test_an_earlier_issue_and_what_came_after_are_told_apart(records, tmp_path):
    issued(records, tmp_path, "json", reason=("--because", "measured again"))
    first, second = (printed(tmp_path / f"J-1-r{revision}.json") for revision in (1, 2))
    assert first != second
    cut(records, ("issued_form", "issued_report_id = 2"), ("issued_report", "id = 2"))
    assert (verified(records, first)[0], verified(records, second)[0]) == (0, 1)


def test_a_draft_prints_none(small_records, tmp_path):
    assert calib("report", "J-1", "--format", "json", "--into", tmp_path, records=small_records).status == 0
    assert printed(tmp_path / "J-1.json") is None
