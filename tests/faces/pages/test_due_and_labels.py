"""What is due, as a list, a calendar and a round; labels for what may be used. As the command line answers, at the same address.

The small job's instruments were calibrated on 12, 14 and 15 January and, VA-2, on 2 February 2026, each for 12 months.
"""

import json
import re
from datetime import UTC, datetime

import pytest
from icalendar import Calendar

from calib.faces.pages.frame import application
from calib.procedures.fleet.record_event import record_event
from calib.records import ledger
from tests.command import calib
from tests.faces.pages.test_security import SCRIPT, runs_nothing, text_of
from tests.read_back import pdf_pages

ON = datetime(2026, 12, 20, 12, tzinfo=UTC)


@pytest.fixture
def quinn(served, monkeypatch):
    """Quinn, on that day."""
    monkeypatch.setattr(application, "clock", lambda: ON)
    return served.signed_in("Quinn")


def suspended(served, tag, reason="fell from a ladder"):
    at = datetime(2026, 11, 1, 10, tzinfo=UTC)
    with served.writing_as("Ed") as session:
        record_event(session, tag, "suspension", at, reason, ledger.Signature("Ed", datetime.now(UTC), "test"))


def tags(answer):
    assert answer.status_code == 200
    return re.findall(r'<th scope="row"><a href="/instruments/([^/]+)/history">', answer.text)


def answered(served, *words):
    return json.loads(calib(*words, "--on", str(ON.date()), "--json", records=served.records).out)


@pytest.mark.parametrize("within", ["10", "30", "90"])
def test_the_list_is_that_of_the_command_in_its_order(served, quinn, within):
    wanted = answered(served, "due", "--within", f"{within}d")["instruments"]
    assert tags(quinn.get(f"/due?within={within}")) == [each["tag"] for each in wanted]


def test_a_day_of_its_own_is_asked_by_the_address(quinn):
    assert tags(quinn.get("/due?within=1&on=2026-12-20")) == []
    late = quinn.get("/due?within=1&on=2027-01-13")
    assert tags(late) == [
        "VA-1",
        "RS-1",
    ]  # calibrated on 12 and 14 January, each for a year
    assert "Nothing is overdue on 2026-12-20" in text_of(quinn.get("/due?within=1"))


def test_what_is_put_aside_stands_by_itself(served, quinn):
    suspended(served, "VA-1")
    page = text_of(quinn.get("/due?within=90"))
    assert page.index("VA-2") < page.index("Put aside") < page.index("VA-1")
    assert "fell from a ladder" in page


def test_the_calendar_holds_each_day_on_which_something_in_use_is_due(served, quinn):
    suspended(served, "VA-1")
    (link,) = re.findall(r'href="(/due/calendar\?[^"]+)"', quinn.get("/due?within=90").text)
    sent = quinn.get(link.replace("&amp;", "&"))
    assert sent.headers["content-type"] == "text/calendar; charset=utf-8"
    days = {
        str(event["summary"]).partition(":")[0]: event.decoded("dtstart")
        for event in Calendar.from_ical(sent.content).walk("VEVENT")
    }
    wanted = [each for each in answered(served, "due", "--within", "90d")["instruments"] if not each["put_aside"]]
    assert {tag: str(day) for tag, day in days.items()} == {each["tag"]: each["due_on"] for each in wanted}


def test_a_round_is_that_of_the_command_with_what_would_be_missing_meanwhile(served, quinn):
    planned = answered(served, "due", "--round", "40d")
    page = quinn.get("/round?days=40")
    assert sorted(tags(page)) == sorted(each["tag"] for parcel in planned["parcels"] for each in parcel["travellers"])
    told = text_of(page)
    assert planned["gaps"]
    for gap in planned["gaps"]:
        assert f"othing in calibration would measure {gap['quantity']}: {gap['advice']}" in told
    for parcel in planned["parcels"]:
        assert f"{parcel['laboratory']}: {parcel['quantity']}" in told
    assert "Nothing asks for recalibration on 2026-12-20 or within 1 days." in text_of(quinn.get("/round?days=1"))


@pytest.mark.parametrize(
    ("place", "told"),
    [
        ("/due?within=soon", "a number of days"), ("/due?on=never", "a date as YYYY-MM-DD"), ("/round?days=0", "a number of days"),
        ("/due/calendar?within=-1", "a number of days"),
    ],
)  # fmt: skip
def test_what_cannot_be_meant_is_said_in_a_line(quinn, place, told):
    answer = quinn.get(place)
    assert (answer.status_code, told in text_of(answer)) == (422, True)


# --- labels ----------------------------------------------------------------------------------------------------------------------


def offered(answer):
    assert answer.status_code == 200
    return re.findall(r'name="label ([^"]+)"', answer.text)


def test_what_may_be_used_is_offered_a_label_and_the_rest_is_told_why_not(served, quinn):
    suspended(served, "VA-1")
    page = quinn.get("/labels")
    assert offered(page) == ["PG-1", "RS-1", "VA-2"]
    assert "fell from a ladder" in text_of(page)
    assert offered(quinn.get("/labels?kind=vane")) == ["VA-2"]


def test_those_that_were_ticked_stand_on_one_sheet(quinn):
    sent = quinn.fill_in("/labels", **{"label VA-2": "yes", "label RS-1": "yes"})
    assert sent.headers["content-type"] == "application/pdf"
    assert sent.headers["content-disposition"] == "attachment; filename*=UTF-8''labels-2026-12-20.pdf"
    (sheet,) = pdf_pages(sent.content)
    assert [tag in sheet for tag in ("VA-2", "RS-1", "VA-1", "PG-1")] == [True, True, False, False]
    assert "VA-2 due 2027-02-02 calibrated 2026-02-02 certificate C-102" in " ".join(sheet.split())


def test_nothing_that_was_ticked_and_what_may_not_be_used_any_more_make_no_sheet(served, quinn):
    answer = quinn.fill_in("/labels")
    assert (answer.status_code, "at least one that may be used" in text_of(answer)) == (422, True)
    suspended(served, "VA-1")
    answer = quinn.fill_in("/labels", **{"label VA-1": "yes", "label VA-2": "yes"})
    assert (answer.status_code, "no label: VA-1: suspended since" in text_of(answer)) == (409, True)
    assert 'name="label VA-2" value="yes" checked' in answer.text
    assert quinn.fill_in("/labels", **{"label nobody": "yes"}).status_code == 404


def test_the_fleet_leads_there_and_nobody_who_is_not_signed_in_gets_there(served, quinn):
    page = quinn.get("/fleet").text
    for place in ("/due", "/round", "/labels"):
        assert f'href="{place}"' in page
        assert served.signed_in("Tom").get(place).status_code == 200
        assert served.visitor().get(place).headers["location"].startswith("/sign-in")
    assert served.visitor().get("/due/calendar").headers["location"].startswith("/sign-in")


def test_script_in_what_is_on_record_is_text(served, quinn):
    suspended(served, "VA-1", SCRIPT)
    for place in ("/due?within=90", "/round?days=90", f"/labels?text={SCRIPT}", "/labels"):
        answer = quinn.get(place)
        assert (answer.status_code, runs_nothing(answer), SCRIPT in answer.text) == (200, True, False), place
    assert "<script>" in text_of(quinn.get("/due?within=90"))
