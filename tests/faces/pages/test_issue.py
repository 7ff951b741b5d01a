"""Issuing a report on its page: what is asked and refused; made aside while pages are served; a closed page, a killed server."""

import os
import re
import sys
import time
from contextlib import closing
from datetime import UTC, datetime
from pathlib import Path

import httpx2 as httpx
import pytest

from calib.errors import CalibError
from calib.faces.pages.frame.aside import Aside
from calib.procedures.enter.import_sheets import import_row
from calib.procedures.report.issued import issues_of
from calib.records import database, ledger
from calib.records.credentials import IssueAsked
from tests.command import calib
from tests.faces.pages.test_on_the_phone import HOSTILE
from tests.faces.pages.test_security import as_read, runs_nothing, text_of
from tests.folders import changed
from tests.served import ADDED, PASSWORD
from tests.serving_program import serving_program
from tests.signing import PASSWORD as OF_KEY
from tests.signing import p12

ISSUE = "/jobs/J-1/report/issue"
LONGEST = 300  # [s] of an issue on a machine with much to do


def issues(served):
    with database.reading(served.records) as session:
        return issues_of(session, "J-1")


def ended(visitor, address):
    """The page of an issue once it has ended, and whether other pages were answered meanwhile."""
    until = time.monotonic() + LONGEST
    while time.monotonic() < until:
        page = visitor.get(address)
        if "refresh" not in page.headers:
            return page
        assert visitor.get("/account").status_code == 200
        time.sleep(0.2)
    raise AssertionError("it takes too long")


def until_it_ends(aside):
    """Wait until what is made aside has ended."""
    until = time.monotonic() + LONGEST
    while aside.steps("k") is not None and time.monotonic() < until:
        time.sleep(0.05)


def issued(visitor, **fields):
    begun = visitor.fill_in(ISSUE, **fields)
    assert begun.status_code == 303, text_of(begun)
    return ended(visitor, begun.headers["location"])


@pytest.mark.parametrize(
    ("name", "password", "said"),
    [
        ("Ed", "another one", "the password of this file"),
        ("Tom", OF_KEY, "the certificate of Ed, who issues; it is that of Tom"),
        (None, OF_KEY, "a file of a key and its certificate"),
    ],
)
def test_a_key_that_cannot_sign_is_told_beside_its_field_and_nothing_is_begun(ed, served, name, password, said):
    content = b"no key" if name is None else p12(name)
    page = ed.fill_in(ISSUE, password=password, files={"sign": ("key.p12", content)})
    assert (page.status_code, said in text_of(page)) == (422, True)
    assert password not in page.text
    assert served.credentials.issues_asked("Ed") == []
    assert issues(served) == ()


@pytest.mark.parametrize("name", ["Tom", "Quinn"])
def test_who_is_no_engineer_issues_nothing(served, name):
    visitor = served.signed_in(name)
    assert (visitor.get(ISSUE).status_code, visitor.fill_in(ISSUE).status_code) == (403, 403)
    assert "Issue it" not in visitor.get("/jobs/J-1/report").text


def test_a_page_that_was_closed_finds_its_issue_again_and_a_second_one_is_not_begun_beside_it(ed, served):
    begun = ed.fill_in(ISSUE).headers["location"]
    assert served.signed_in("Quinn").get(begun).status_code == 404  # who did not ask for it
    assert begun in ed.get("/jobs/J-1/report").text
    again = ed.fill_in(ISSUE)
    assert (again.status_code, "is being issued already" in text_of(again)) == (409, True)
    assert "refresh" not in ed.get(f"{begun}?still").headers
    assert "issued as revision 1" in text_of(ended(ed, begun))
    assert len(issues(served)) == 1

    served.credentials.ask_issue(IssueAsked("k", "Ed", "J-1", 1), ADDED)
    assert "revision 1 was issued all the same" in text_of(ed.get("/issuing/k"))
    refused = ed.fill_in(ISSUE)  # another revision, without a reason
    assert (refused.status_code, "why: revision 1 was issued on" in text_of(refused)) == (422, True)


def _waits(flag, _):
    while not Path(flag).exists():
        time.sleep(0.05)
    return "issued"


def test_an_issue_that_another_engineer_asked_for_is_shown_and_none_is_begun_beside_it(ed, served, tmp_path):
    served.credentials.ask_issue(IssueAsked("k", "Eve", "J-1", 1), datetime(2026, 6, 1, 9, 30, tzinfo=UTC))
    aside, done = served.served.aside, tmp_path / "done"
    aside.begin("k", _waits, str(done), lambda told: served.credentials.end_issue("k", told))
    running = as_read("Revision 1 is being issued by Eve since 2026-06-01T09:30:00+00:00")
    for address in ("/jobs/J-1/report", ISSUE):
        assert running in text_of(ed.get(address))
    refused = ed.fill_in(ISSUE)
    assert (refused.status_code, "being issued already, by Eve" in text_of(refused)) == (409, True)
    assert served.credentials.issues_asked("Ed") == []
    assert ed.get("/issuing/k").status_code == 404  # how far it is is shown to whoever asked
    done.touch()
    until_it_ends(aside)
    assert running not in text_of(ed.get(ISSUE))


def test_a_reason_is_text_whatever_signs_it_holds(ed):
    page = ed.fill_in(ISSUE, reason=HOSTILE, gaps_reason=HOSTILE)
    assert (page.status_code, runs_nothing(page)) == (422, True)  # of a first revision there is none, nor of gaps


def test_of_a_server_that_ended_the_page_says_that_it_was_not_issued(ed, served):
    served.credentials.ask_issue(IssueAsked("k", "Ed", "J-1", 1), ADDED)
    assert "was not issued, and nothing of it is half done" in text_of(ed.get("/issuing/k"))


def test_what_is_not_measured_is_named_and_asks_for_its_reason(served):
    ed = served.signed_in("Ed")
    login = served.credentials.enrolled("Ed").login
    row = dict.fromkeys(changed()["outlets.csv"][0], "") | changed()["outlets.csv"][0] | {"outlet": "S-9"}
    signature = ledger.Signature("Ed", datetime.now(UTC), "outlet add")
    with database.writing(database.acting_as(served.engine, login)) as session:
        import_row(session, "outlets.csv", row, signature, signature.time, sure=True)
    assert "Not measured: S-9." in text_of(ed.get(ISSUE))
    refused = ed.fill_in(ISSUE)
    assert (refused.status_code, "not measured: S-9; nothing was issued" in text_of(refused)) == (409, True)
    assert "S-9: not measured" in text_of(ed.get("/jobs/J-1/report"))


# --- work aside ------------------------------------------------------------------------------------------------------------------


def _refused(wish, tell):
    tell(f"began {wish}")
    raise CalibError("not so")


def _dies(*_):
    os._exit(3)


def _fails(wish, _):
    raise ValueError(wish)


@pytest.mark.parametrize(
    ("act", "said"),
    [(_refused, "not so"), (_dies, "has ended before it was done"), (_fails, "whoever runs the program")],
)
def test_work_that_fails_is_told_in_a_line(act, said):
    outcomes, aside = [], Aside()
    aside.begin("k", act, "secret", outcomes.append)
    until_it_ends(aside)
    (ended,) = outcomes
    assert (said in ended.told, "secret" in ended.told, ended.is_right) == (True, False, False)


# --- a server that is killed -----------------------------------------------------------------------------------------------------


def visitor_of(address):
    visitor = httpx.Client(base_url=address, headers={"Sec-Fetch-Site": "same-origin"}, timeout=LONGEST)
    token = re.search('name="token" content="([^"]*)"', visitor.get("/sign-in").text)[1]
    assert visitor.post("/sign-in", data={"token": token, "name": "Ed", "password": PASSWORD}).status_code == 303
    return visitor


def children_of(process):
    threads = Path(f"/proc/{process.pid}/task").glob("*/children")
    return [Path(f"/proc/{child}") for thread in threads for child in thread.read_text().split()]


@pytest.mark.skipif(sys.platform != "linux", reason="asks /proc for the process that makes the report")
def test_a_server_that_is_killed_leaves_nothing_half_issued_and_the_next_one_says_so(served, tmp_path):
    served.enrol("Ed")
    credentials = tmp_path / "credentials"
    with serving_program(served.location, credentials) as (address, process), closing(visitor_of(address)) as ed:
        token = re.search('name="token" content="([^"]*)"', ed.get(ISSUE).text)[1]
        began = ed.post(ISSUE, data={"token": token}).headers["location"]
        while "evaluating" not in ed.get(began).text:
            time.sleep(0.05)
        workers = children_of(process)
        assert workers
        process.kill()
        process.wait()
    until = time.monotonic() + LONGEST
    while any(each.exists() for each in workers) and time.monotonic() < until:
        time.sleep(0.1)
    assert issues(served) == ()
    with serving_program(served.location, credentials) as (address, _), closing(visitor_of(address)) as ed:
        assert "revision 1 was not issued, and nothing of it is half done" in text_of(ed.get(began))
    assert calib("verify", records=served.records).status == 0
