"""What was issued of a job's report: its files as kept, two revisions side by side, a file checked."""

import hashlib
import json
import re
from datetime import UTC, datetime

import pytest

from calib.faces.report.write_report import Wanted, issue
from calib.procedures.enter.withdraw_reading import withdraw_reading
from calib.records import database
from calib.records.ledger import Signature
from tests.command import calib
from tests.faces.pages.test_report_desk import looked_at
from tests.faces.pages.test_security import as_read, runs_nothing, text_of
from tests.pages_browser import phone, serving

REVISIONS = "/jobs/J-1/report/revisions"


def as_person(served, name):
    return database.acting_as(served.engine, served.credentials.enrolled(name).login)


def signed():
    return Signature("Ed", datetime.now(UTC), "report")


def issue_again(served, reason, gaps_reason=None, forms=("json", "html")):
    now = datetime.now(UTC)
    issue(as_person(served, "Ed"), Wanted("J-1", forms, now, now, gaps_reason=gaps_reason), reason, signed, None)


@pytest.fixture
def twice(served, ed):  # noqa: ARG001 (signed in, and so enrolled)
    """J-1 issued twice, and between them a reading withdrawn; the number of the reading."""
    issue_again(served, None)
    document = json.loads(calib("reading", "list", "J-1", "--json", records=served.records).out)
    number = next(each["reading"] for each in document["readings"] if each["outlet"] == "E-1")
    with database.writing(as_person(served, "Ed")) as session:
        withdraw_reading(session, "J-1", number, "the wrong <b>outlet</b>", signed())
    issue_again(served, "a reading at the wrong outlet", "nobody may go there")
    return number


@pytest.mark.usefixtures("twice")
def test_every_form_is_sent_byte_for_byte_with_the_digest_that_is_shown(ed, served):
    page = ed.get(REVISIONS)
    said = json.loads(calib("report", "J-1", "--revisions", "--json", records=served.records).out)["revisions"]
    assert [len(each["forms"]) for each in said] == [2, 2]
    for revision in said:
        assert (revision["reason"] or "Issued") in page.text
        for form in revision["forms"]:
            assert form["sha256"] in page.text
            sent = ed.get(f"{REVISIONS}/{revision['revision']}/{form['form']}")
            assert hashlib.sha256(sent.content).hexdigest() == form["sha256"]
            assert sent.headers["content-disposition"] == f"attachment; filename*=UTF-8''{form['name']}"


def test_two_revisions_stand_side_by_side_with_what_differs(ed, twice):
    page = ed.get(f"{REVISIONS}?first=1&other=2")
    told = text_of(page)
    row = re.search(rf'<th scope="row">flow at E-1, reading {twice}</th><td>(.*?)</td><td>(.*?)</td>', page.text)
    assert (" ± " in row[1], row[2]) == (True, "not stated")
    assert told.index("Revision 1") < told.index("Revision 2")
    assert "the wrong <b>outlet</b>" in told
    assert "Without outlets that were not measured: nobody may go there" in told
    assert runs_nothing(page)
    other = ed.get(f"{REVISIONS}?first=2&other=1")
    assert f">not stated</td><td>{row[1]}</td>" in other.text


@pytest.mark.usefixtures("twice")
@pytest.mark.parametrize("asked", ["first=1&other=9", "first=x&other=1", "first=1", "first=<script>&other=2"])
def test_a_revision_that_was_not_issued_is_told(ed, asked):
    page = ed.get(f"{REVISIONS}?{asked}")
    assert (page.status_code, "one of the revisions that were issued (1, 2)" in text_of(page)) == (200, True)
    assert runs_nothing(page)


@pytest.mark.parametrize(
    ("address", "said"), [("1/pdf", ""), ("9/json", ""), ("x/json", "no revision 'x'"), ("1/%2e%2e", "")]
)
def test_a_form_that_is_not_kept_is_told(ed, served, address, said):
    issue_again(served, None, forms=("json",))
    page = ed.get(f"{REVISIONS}/{address}")
    assert (page.status_code, said in text_of(page)) == (404, True)


@pytest.mark.usefixtures("twice")
def test_a_file_is_checked_as_the_command_does(ed, served, tmp_path):
    for number, is_latest in ((1, False), (2, True)):
        content = ed.get(f"{REVISIONS}/{number}/html").content
        file = tmp_path / "file.html"
        file.write_bytes(content)
        said = calib("report", "--check", file, records=served.records)
        told = text_of(ed.fill_in(f"{REVISIONS}/check", files={"file": (file.name, content)}))
        lines = said.out.replace(str(file), file.name).splitlines()
        assert [as_read(line) in told for line in lines] == [True] * (1 if is_latest else 2)
        assert said.status == (0 if is_latest else 1)
    told = text_of(ed.fill_in(f"{REVISIONS}/check", files={"file": ("another", content + b" ")}))
    assert "no report as it was issued" in told
    assert ed.fill_in(f"{REVISIONS}/check").status_code == 422


def test_of_a_job_that_was_never_issued_that_is_said(ed):
    assert "No report of this job was issued." in text_of(ed.get(REVISIONS))
    assert ed.get("/jobs/none/report/revisions").status_code == 404


@pytest.mark.usefixtures("twice")
def test_everybody_can_use_the_revisions(browser, served, width, light):
    with serving(served.engine, served.credentials) as address, phone(browser, address, light, width) as page:
        looked_at(page, f"{REVISIONS}?first=1&other=2")
