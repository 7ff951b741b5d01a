"""What an assessor asks, on a page: the answers of `calib audit`, about an instrument, a job or a report, and as files."""

import json
import re

import pytest

from calib.faces.pages.frame.routes import address
from tests.command import calib
from tests.faces.pages.test_revisions import issue_again
from tests.faces.pages.test_security import SCRIPT, runs_nothing, text_of
from tests.read_back import pdf_pages

ON = "2026-03-06"


def asked(served, *names):
    return json.loads(calib("audit", *names, "--on", ON, "--json", records=served.records).out)


@pytest.mark.parametrize("of", ["VA-1", "J-1"])
def test_each_question_stands_there_with_the_answer_of_the_command(served, quinn, of):
    page = quinn.get("/audit", params={"of": of, "on": ON})
    told = " ".join(text_of(page).split())
    document = asked(served, of)
    assert (page.status_code, len(document["questions"]) >= 10) == (200, True)
    for each in document["questions"]:
        assert " ".join(each["question"].split()) in told
        assert " ".join(each["answer"].split()) in told
        assert all(" ".join(ground.split()) in told for ground in each["rests_on"])
    assert told.count("Finding.") == document["findings"]
    (heading,) = re.findall("<h1>(.*?)</h1>", page.text)
    assert re.sub("<[^>]*>", "", heading) == f"{document['kind']} {of}, asked on {ON}"


def test_of_a_report_its_own_questions_are_asked(served, quinn):
    served.enrol("Ed")
    issue_again(served, None)
    page = quinn.get("/jobs/J-1/report/revisions")
    (link,) = re.findall(r'href="(/audit\?[^"]+)"', page.text)
    told = text_of(quinn.get(link.replace("&amp;", "&")))
    assert "report J-1 revision 1, asked on" in told
    assert "none of this name" not in told


def test_it_is_kept_as_a_page_and_as_pdf(quinn):
    page = quinn.get("/audit", params={"of": "J-1", "on": ON})
    links = [each.replace("&amp;", "&") for each in re.findall(r'href="(/audit/file/[^"]+)"', page.text)]
    html, pdf = (quinn.get(link) for link in links)
    assert html.content.startswith(b"<!DOCTYPE html>")
    assert pdf.content.startswith(b"%PDF-")
    assert "job J-1, asked on 2026-03-06" in " ".join(pdf_pages(pdf.content)[0].split())
    for sent, ending in ((html, "html"), (pdf, "pdf")):
        assert sent.headers["content-disposition"] == f"attachment; filename*=UTF-8''J-1-audit.{ending}"
    assert quinn.get("/audit/file/docx?of=J-1").status_code == 404


@pytest.mark.parametrize(
    ("query", "told"),
    [("of=nobody", "nobody"), ("of=J-1+9", "no revision 9"), ("of=J-1&on=yesterday", "a date as YYYY-MM-DD")],
)
def test_what_cannot_be_answered_is_said_above_the_form_and_stays_typed(quinn, query, told):
    answer = quinn.get(f"/audit?{query}")
    assert (answer.status_code, told in text_of(answer)) == (404, True)
    assert f'value="{query.partition("=")[2].partition("&")[0].replace("+", " ")}"' in answer.text


def test_everybody_who_is_signed_in_may_ask_and_nobody_else(served):
    for name in ("Tom", "Ed"):
        assert served.signed_in(name).get("/audit?of=VA-1").status_code == 200
    for place in ("/audit", "/audit?of=VA-1", "/audit/file/pdf?of=VA-1"):
        assert served.visitor().get(place).headers["location"].startswith("/sign-in")


def test_the_way_to_it_stands_on_the_pages_of_an_instrument_and_a_report(quinn):
    for place, of in (("/instruments/VA-1/history", "VA-1"), ("/jobs/J-1/report", "J-1")):
        assert f'href="/audit?of={of}"' in quinn.get(place).text


def test_script_in_what_is_asked_and_answered_is_text(quinn):
    answer = quinn.get("/audit", params={"of": SCRIPT})
    assert (answer.status_code, runs_nothing(answer), SCRIPT in answer.text) == (404, True, False)
    place = quinn.fill_in("/instruments/VA-1/events", kind="suspension", reason=SCRIPT).headers["location"]
    assert quinn.get(place).status_code == 200
    answer = quinn.get(address("/audit?of={}", "VA-1"))
    assert (runs_nothing(answer), SCRIPT in answer.text, "<script>" in text_of(answer)) == (True, False, True)
