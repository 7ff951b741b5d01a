"""The log in a browser: what an address asks for, some entries at a time, and the same as the command line says."""

import re
from datetime import timedelta

import pytest

from calib.faces.pages import log
from calib.procedures.fleet.record_event import record_event
from calib.records import ledger
from tests.command import calib
from tests.faces.pages.test_security import SCRIPT, as_read, runs_nothing, text_of
from tests.folders import NOW


@pytest.fixture(autouse=True)
def ten_on_a_page(monkeypatch):
    """And people came after the job: days are looked for where no time runs back."""
    monkeypatch.setattr(log, "_ON_A_PAGE", 10)
    monkeypatch.setattr("tests.served.ADDED", NOW + timedelta(days=1))


def suspended(served, reason="dropped", action="suspension"):
    with served.writing_as("Ed") as session:
        at = NOW + timedelta(days=1)
        record_event(session, "VA-2", "suspension", at, reason, ledger.Signature("Ed", at, action))


def acts(answer):
    """Person and act of each row, the newest first."""
    assert answer.status_code == 200, text_of(answer)
    return re.findall(r'<tr><td class="day">.*?</td><td>([^<]*)</td><td>([^<]*)</td>', answer.text)


def entries(served, *words):
    return calib("log", "--json", "--limit", "1000", *words, records=served.records).document["entries"]


def numbers(answer):
    """The entries that a page names, each of a span."""
    told = [
        [int(end) for end in re.findall(r"\d+", span)]
        for span in re.findall(r"\(entr(?:y|ies) ([^)]*)\)", text_of(answer))
    ]
    assert all(len(each) in (1, 2) for each in told)
    return sorted(number for each in told for number in range(each[0], each[-1] + 1))


def test_every_entry_is_turned_to_once_from_the_newest_to_the_first(served, quinn):
    address, shown, pages = "/log", [], 0
    while address:
        page = quinn.get(address)
        shown, pages = [*numbers(page), *shown], pages + 1
        (address,) = re.findall(r'href="(/log\?[^"]*)" rel="next"', page.text) or [None]
    assert shown == sorted(each["sequence"] for each in entries(served))
    assert pages == -(-len(shown) // 10)


def test_who_did_what_when_with_which_version_stands_in_a_row(served, quinn):
    suspended(served)
    page = quinn.get("/log")
    assert acts(page)[0] == ("Ed", "suspension")
    (newest,) = entries(served)[:1]
    told = text_of(page)
    assert as_read(newest["time"]) in told
    assert f"event 1 of VA-2 (entry {newest['sequence']})" in told
    assert f"calib {newest['version']}" in told


@pytest.mark.parametrize(
    ("asked", "words"),
    [
        ("person=Quinn", ("--person", "Quinn")),
        ("action=PERSON", ("--action", "PERSON")),
        ("kind=correction+curve", ("--kind", "correction curve")),
        ("instrument=VA-2", ("--instrument", "VA-2")),
        ("job=J-1&kind=reading", ("--job", "J-1", "--kind", "reading")),
        ("since=2026-03-07", ("--since", "2026-03-07")),
        ("until=2026-03-06", ("--until", "2026-03-06")),
    ],
)
def test_an_address_confines_it_as_the_command_line_does(served, quinn, asked, words):
    suspended(served)
    wanted = sorted(each["sequence"] for each in entries(served, *words))
    assert 0 < len(wanted) < len(entries(served))
    assert numbers(quinn.get(f"/log?{asked}")) == wanted[-10:]


def test_turning_over_keeps_what_was_asked_for(served, quinn):
    who = entries(served)[-1]["person"]
    wanted = sorted(each["sequence"] for each in entries(served, "--person", who))
    assert len(wanted) > 20
    page = quinn.get("/log", params={"person": who})
    (following,) = re.findall(r'href="(/log\?[^"]*)" rel="next"', page.text)
    page = quinn.get(following.replace("&amp;", "&"))
    assert numbers(page) == wanted[-20:-10]
    (newest,) = re.findall(r'href="(/log\?[^"]*)">The newest<', page.text)
    assert numbers(quinn.get(newest)) == wanted[-10:]


@pytest.mark.parametrize(
    ("asked", "status", "told"),
    [
        ("since=yesterday", 422, "a date as YYYY-MM-DD"),
        ("since=2026-03-07&until=2026-03-06", 422, "a day not before 2026-03-07"),
        ("kind=elephant", 422, "one of acceptance"),
        ("before=-3", 404, "no ledger entry '-3'"),
        ("instrument=nobody", 404, "no instrument 'nobody'"),
    ],
)
def test_what_cannot_be_asked_is_said_in_a_line(quinn, asked, status, told):
    answer = quinn.get(f"/log?{asked}")
    assert (answer.status_code, told in text_of(answer)) == (status, True)


def test_of_nobody_nothing_was_recorded(quinn):
    assert "Nothing of it was recorded." in text_of(quinn.get("/log?person=N.+Body"))
    assert acts(quinn.get("/log?action=%25")) == []  # a sign that is no pattern


def test_who_is_not_signed_in_sees_none_of_it_and_script_in_it_is_text(served, quinn):
    suspended(served, action=SCRIPT)
    answer = quinn.get("/log", params={"action": SCRIPT, "person": "Ed"})
    assert (len(acts(answer)), runs_nothing(answer), SCRIPT in answer.text) == (1, True, False)
    assert served.signed_in("Tom").get("/log").status_code == 200
    assert served.visitor().get("/log").headers["location"].startswith("/sign-in")
