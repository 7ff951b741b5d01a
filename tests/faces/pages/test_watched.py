"""Issued reports watched: what contradicts one stands there until it is issued again."""

import json

import pytest

from calib.faces.watched_writing import watched_writing
from calib.procedures.enter.withdraw_reading import withdraw_reading
from tests.command import calib
from tests.faces.pages.test_on_the_phone import enter
from tests.faces.pages.test_report_desk import looked_at
from tests.faces.pages.test_revisions import as_person, issue_again, signed
from tests.faces.pages.test_security import as_read, runs_nothing, text_of
from tests.pages_browser import phone, serving

OF_JOB = "/jobs/J-1/report/watched"


@pytest.fixture
def contradicted(served, ed):  # noqa: ARG001 (signed in, and so enrolled)
    """J-1 issued, and then a reading of it withdrawn, as every face writes; the number of the reading."""
    issue_again(served, None)
    document = json.loads(calib("reading", "list", "J-1", "--json", records=served.records).out)
    number = next(each["reading"] for each in document["readings"] if each["outlet"] == "E-1")
    with watched_writing(as_person(served, "Ed"), signed, lambda _: None) as session:
        withdraw_reading(session, "J-1", number, "the wrong <b>outlet</b>", signed())
    return number


def test_of_a_report_that_says_what_the_records_say_that_is_said(ed, served):
    assert "No report of this job was issued." in text_of(ed.get(OF_JOB))
    issue_again(served, None)
    assert "The records say what revision 1 says." in text_of(ed.get(OF_JOB))
    assert "No issued report waits." in text_of(ed.get("/reports/watched"))


def test_a_reading_after_the_issue_says_that_the_report_was_issued_without_it(served, ed):
    issue_again(served, None)
    sent = enter(ed, "3.10", "3.12")
    page = ed.get(sent.headers["location"])
    assert "revision 1 of the report was issued without this reading: it stands in the next one" in text_of(page)
    assert OF_JOB in page.text
    assert "without this reading" not in text_of(ed.get("/jobs/J-1/readings/1"))
    issue_again(served, "read again")
    assert "without this reading" not in text_of(ed.get(sent.headers["location"]))


def test_a_report_that_the_records_contradict_is_told_with_what_differs_and_the_review(ed, served, contradicted):
    (review,) = json.loads(calib("review", "list", "--open", "--json", records=served.records).out)["reviews"]
    shown = json.loads(calib("review", "show", review["review"], "--json", records=served.records).out)["items"][0]
    every, of_job = ed.get("/reports/watched"), ed.get(OF_JOB)
    for page in (every, of_job):
        assert f"Review {review['review']}, line 1" in text_of(page)
        assert "the wrong <b>outlet</b>" in text_of(page)
        assert runs_nothing(page)
    assert shown["report"] == "J-1 revision 1"
    assert shown["report"] in text_of(every)
    told = text_of(of_job)
    assert f"reading {contradicted}" in told
    assert [each["what"] in told and as_read(each["before"]) in told for each in shown["differs"]] == [True] * len(
        shown["differs"]
    )
    assert "Issue it again" in told
    assert "Issue it again" not in text_of(served.signed_in("Tom").get(OF_JOB))


@pytest.mark.usefixtures("contradicted")
def test_it_waits_no_longer_once_it_is_issued_again(ed, served):
    issue_again(served, "a reading at the wrong outlet", "nobody may go there")
    assert "The records say what revision 2 says." in text_of(ed.get(OF_JOB))
    assert "No issued report waits." in text_of(ed.get("/reports/watched"))


def test_a_job_that_is_none_is_told(ed):
    assert ed.get("/jobs/none/report/watched").status_code == 404


@pytest.mark.usefixtures("contradicted")
def test_everybody_can_use_them(browser, served, width, light):
    with serving(served.engine, served.credentials) as address, phone(browser, address, light, width) as page:
        looked_at(page, "/reports/watched", OF_JOB)
