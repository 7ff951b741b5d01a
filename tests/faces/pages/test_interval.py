"""The review of a calibration interval by a page: what the command recommends, and the interval that QA sets.

VA-1 of the small job has four earlier certificates; what `calib interval review` makes of them has tests of its own.
"""

import re

import pytest

from calib.faces.pages import interval
from tests.command import calib
from tests.conftest import SERVER
from tests.faces.pages.test_report_desk import DESKS, looked_at
from tests.faces.pages.test_security import SCRIPT, runs_nothing, text_of
from tests.folders import imported, ledger_head, records_of, write
from tests.job_with_history import sheets_with_history
from tests.pages_browser import phone, serving

REVIEW = "/instruments/VA-1/interval"


@pytest.fixture
def small_records(backend, request, tmp_path):
    """The small job with the history of VA-1."""
    if backend != SERVER:
        return records_of(tmp_path / "history", sheets_with_history())
    location = request.getfixturevalue("empty_there")
    imported(location, write(tmp_path / "history", sheets_with_history()))
    return location


def reviewed(served, *options):
    return calib("interval", "review", "VA-1", *options, "--json", records=served.records).document


def test_the_page_recommends_what_the_command_does_with_its_reason_and_changes_nothing(quinn, served):
    before = ledger_head(served.records)
    for asked, options in (
        ("", ()),
        ("?target=90&judged=corrected+value", ("--target", "90", "--judged", "corrected value")),
    ):
        said = reviewed(served, *options)["recommendation"]
        told = text_of(quinn.get(f"{REVIEW}{asked}"))
        assert said["why"] in told
        assert f"{said['months']} months" in told.partition("Recommended: ")[2].partition("\n")[0]
    for point in reviewed(served)["points"]:
        assert f"<td>{point['indication']:.6g}</td>" in quinn.get(REVIEW).text
    assert ledger_head(served.records) == before


def test_qa_sets_the_interval_with_a_reason_and_it_holds(quinn, served):
    page = quinn.get(REVIEW)
    assert f'name="months" type="text" value="{reviewed(served)["recommendation"]["months"]}"' in page.text
    answer = quinn.fill_in(REVIEW, months="9", reason="the drift reaches the limit after 10 months")
    assert "VA-1: interval 9 months instead of 12, at once" in text_of(quinn.get(answer.headers["location"]))
    assert reviewed(served)["interval_months"] == 9
    assert "the drift reaches the limit after 10 months" in text_of(quinn.get("/instruments/VA-1/events"))


def test_what_cannot_be_is_told_beside_its_field_and_nothing_is_written(quinn, served):
    before = ledger_head(served.records)
    for months, reason, told in (
        ("12", "why not", "another number of months than the 12 in force"),
        ("nine", "it drifts", "a whole number"),
        ("9", " ", "why, in a few words"),
        (SCRIPT, SCRIPT, "a whole number"),
    ):
        answer = quinn.fill_in(REVIEW, months=months, reason=reason)
        assert (answer.status_code, told in text_of(answer), runs_nothing(answer)) == (422, True, True), months
        assert "is-wrong" in answer.text
    asked = quinn.get(f"{REVIEW}?target=much&judged=%3Cscript%3E")
    assert (asked.status_code, text_of(asked).count("expected one of"), runs_nothing(asked)) == (422, 2, True)
    assert quinn.get("/instruments/none/interval").status_code == 404
    assert ledger_head(served.records) == before


def test_others_see_the_review_and_set_nothing(served):
    for name in ("Tom", "Ed"):
        other = served.signed_in(name)
        assert "Set another interval" not in text_of(other.get(REVIEW))
        assert other.fill_in(REVIEW, months="9", reason="mine").status_code == 403
    assert reviewed(served)["interval_months"] == 12


def test_the_intervals_of_the_fleet_stand_in_portions_those_due_first(quinn, served, monkeypatch):
    every = quinn.get("/intervals")
    tags = re.findall(r'href="/instruments/([^/]+)/interval"', every.text)
    due = calib("instrument", "list", "--sort", "due", "--json", records=served.records).document["instruments"]
    assert tags == [each["tag"] for each in due]
    assert reviewed(served)["recommendation"]["why"] in text_of(every)
    to_do = re.findall(r'class="is-refused"><th scope="row"><a href="/instruments/([^/]+)/interval"', every.text)
    assert ("VA-1" in to_do) is (reviewed(served)["recommendation"]["action"] != "keep")
    assert re.findall(r'href="/instruments/([^/]+)/interval"', quinn.get("/intervals?text=c-103").text) == ["RS-1"]
    monkeypatch.setattr(interval, "MOST_REVIEWED", 3)
    first = quinn.get("/intervals?text=maker")
    links = [link.replace("&amp;", "&") for link in re.findall(r'href="(/intervals\?[^"]*after[^"]*)"', first.text)]
    assert links == ["/intervals?text=maker&after=0", "/intervals?text=maker&after=3"]
    shown = [re.findall(r'href="/instruments/([^/]+)/interval"', quinn.get(link).text) for link in links]
    assert [*shown[0], *shown[1]] == tags
    assert "No instrument in service fits." in text_of(quinn.get("/intervals?text=nothing"))
    assert quinn.get("/intervals?after=%3Cscript%3E").status_code == 200


@pytest.mark.parametrize(("width", "light"), DESKS)
def test_everybody_can_use_them(browser, served, width, light):
    served.enrol("Quinn")
    with serving(served.engine, served.credentials) as address, phone(browser, address, light, width) as page:
        looked_at(page, "/intervals", REVIEW, name="Quinn")
