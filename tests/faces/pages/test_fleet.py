"""The fleet at a desk: which instruments an address shows, in which order, when each is due; an instrument's history and files.

The small job's instruments were calibrated on 12, 14 and 15 January and, VA-2, on 2 February 2026, each for 12 months.
"""

import re
from datetime import UTC, datetime

import pytest

from calib.faces.pages.frame import application
from calib.procedures.enter.import_sheets import import_row
from calib.procedures.fleet.attach_file import attach_to_calibration, attachable
from calib.procedures.fleet.record_event import record_event
from calib.procedures.typed.sheets import FileContent
from calib.records import database, ledger
from tests.faces.pages.test_security import SCRIPT, runs_nothing, text_of

ON = datetime(2026, 12, 20, 12, tzinfo=UTC)
PDF = b"%PDF-1.7 a certificate\n%%EOF\n"


@pytest.fixture
def quinn(served, monkeypatch):
    """Quinn, on that day."""
    monkeypatch.setattr(application, "clock", lambda: ON)
    return served.signed_in("Quinn")


def written(served, act):
    login = served.credentials.enrolled("Quinn").login
    with database.writing(database.acting_as(served.engine, login)) as session:
        return act(session, ledger.Signature("Quinn", datetime.now(UTC), "test"))


def tags(answer, status=200):
    """Tags of the list, in its order."""
    assert answer.status_code == status
    return re.findall(r'<th scope="row"><a href="/instruments/([^/]+)/history">', answer.text)


@pytest.mark.parametrize(
    ("asked", "shown"),
    [
        ("", ["PG-1", "RS-1", "VA-1", "VA-2"]),
        ("?sort=due", ["VA-1", "RS-1", "PG-1", "VA-2"]),
        ("?kind=VANE", ["VA-1", "VA-2"]),
        ("?location=van+1&sort=serial", ["VA-1", "PG-1"]),
        ("?text=c-103", ["RS-1"]),
        ("?state=due&within=30&sort=due", ["VA-1", "RS-1", "PG-1"]),
        ("?state=retired", []),
    ],
)
def test_an_address_shows_the_instruments_that_fit_in_its_order(quinn, asked, shown):
    assert tags(quinn.get(f"/fleet{asked}")) == shown


def test_a_heading_sorts_and_keeps_what_was_filtered(quinn):
    page = quinn.get("/fleet?kind=vane&sort=due")
    (link,) = re.findall(r'<a href="([^"]+)">Serial</a>', page.text)
    assert link.replace("&amp;", "&") == "/fleet?kind=vane&sort=serial"
    assert re.findall(r'aria-sort="ascending"><a [^>]+>([^<]+)<', page.text) == ["Due on"]
    assert tags(quinn.get(link.replace("&amp;", "&"))) == ["VA-1", "VA-2"]


@pytest.mark.parametrize(
    ("asked", "told"),
    [("state=asleep", "one of usable, refused, due, retired"), ("sort=colour", "one of tag"), ("within=-3", "days")],
)
def test_what_an_address_cannot_mean_is_said_above_the_fleet_that_the_rest_of_it_asks_for(quinn, asked, told):
    answer = quinn.get(f"/fleet?kind=vane&{asked}")
    assert told in text_of(answer)
    assert tags(answer, 422) == ["VA-1", "VA-2"]
    assert "Nothing was written" not in answer.text


def test_everything_that_an_address_cannot_mean_is_said_at_once(quinn):
    told = text_of(quinn.get("/fleet?state=asleep&sort=colour&within=soon"))
    assert all(wrong in told for wrong in ("'asleep'", "'colour'", "'soon'"))


def test_the_time_line_is_told_in_words_too_of_what_is_listed(quinn):
    told = text_of(quinn.get("/fleet?kind=vane"))
    assert "Time-line of 2 instruments on 2026-12-20" in told
    assert "2 in calibration" in told
    assert "Next due: VA-1" in told


def test_a_bar_of_the_time_line_is_as_long_as_the_calibration_holds(quinn):
    """12 January to the last good day is 12 months, 2 February likewise: both bars are equal, and 21 days apart."""
    page = quinn.get("/fleet?kind=vane")
    bars = re.findall(r'<rect class="in-calibration" x="([\d.]+)" y="[\d.]+" width="([\d.]+)"', page.text)
    (first, length), (second, other) = [(float(x), float(width)) for x, width in bars]
    assert length == pytest.approx(other, abs=0.11)
    assert (second - first) / length == pytest.approx(21 / 365, abs=0.005)


def test_what_may_not_be_used_says_why(served, quinn):
    at = datetime(2026, 11, 1, 10, tzinfo=UTC)
    written(
        served, lambda session, signed: record_event(session, "VA-1", "suspension", at, "fell from a ladder", signed)
    )
    assert tags(quinn.get("/fleet?state=refused")) == ["VA-1"]
    assert "suspended since 2026-11-01" in text_of(quinn.get("/fleet"))
    told = text_of(quinn.get("/instruments/VA-1/history"))
    assert "Do not use" in told
    assert "fell from a ladder" in told


def test_the_history_has_certificates_readings_and_facts(quinn):
    told = text_of(quinn.get("/instruments/VA-1/history"))
    for word in ("May be used", "C-101", "North Laboratory", "0.3 to 20 m/s", "readings were taken with it"):
        assert word in told
    assert quinn.get("/instruments/nobody/history").status_code == 404


def test_a_file_is_sent_to_be_kept_and_never_opened_as_a_page(served, quinn):
    content = attachable(FileContent("c-101.pdf", PDF))
    written(served, lambda session, signed: attach_to_calibration(session, "VA-1", "C-101", content, None, signed))
    page = quinn.get("/instruments/VA-1/history")
    (link,) = re.findall(r'<a href="(/files/[0-9a-f]{64})">c-101.pdf</a>', page.text)
    sent = quinn.get(link)
    assert (sent.content, sent.headers["content-type"]) == (PDF, "application/pdf")
    assert sent.headers["content-disposition"].startswith("attachment")
    assert quinn.get("/files/" + "0" * 64).status_code == 404


def test_script_in_a_tag_is_text_in_the_list_the_time_line_and_the_history(served, quinn):
    cells = {
        "tag": SCRIPT, "kind": SCRIPT, "maker": SCRIPT, "model": SCRIPT, "serial": SCRIPT, "quantity": "air velocity",
        "range_low": "0", "range_high": "9", "unit": "m/s", "resolution": "0.1", "interval_months": "12", "mpe_percent": "2",
        "location": SCRIPT,
    }  # fmt: skip
    written(
        served,
        lambda session, signed: import_row(session, "instruments.csv", cells, signed, signed.time, sure=True),
    )
    fleet = quinn.get("/fleet")
    (link,) = [each for each in re.findall(r'href="(/instruments/[^"]+/history)"', fleet.text) if "script" in each]
    for answer in (fleet, quinn.get(link), quinn.get("/fleet?text=%3Cscript%3E&kind=%22%3E%3Cscript%3E")):
        assert (answer.status_code, runs_nothing(answer), SCRIPT in answer.text) == (200, True, False)
    assert text_of(fleet).count("<script>") >= 2


@pytest.mark.parametrize("name", ["Tom", "Ed"])
def test_whoever_is_signed_in_sees_the_fleet_and_nobody_else(served, name):
    assert served.signed_in(name).get("/fleet").status_code == 200
    for place in ("/fleet", "/instruments/VA-1/history", "/files/00"):
        assert served.visitor().get(place).headers["location"].startswith("/sign-in")
