"""The first page: jobs by the day of their last reading, what is not begun first, and what waits."""

from datetime import UTC, datetime

import pytest

from calib.procedures.enter.import_sheets import import_row
from calib.records import database, ledger
from tests.faces.pages.test_certificates import IN, STATED, grid
from tests.faces.pages.test_security import text_of


def add_job(served, name):
    signature = ledger.Signature("Quinn", datetime.now(UTC), "job add")
    login = served.credentials.enrolled("Quinn").login
    with database.writing(database.acting_as(served.engine, login)) as session:
        import_row(session, "jobs.csv", {"job": name, "decision_rule": "simple"}, signature, signature.time, sure=True)


def test_what_is_not_begun_stands_before_what_was_read_and_what_waits_below(served):
    quinn = served.signed_in("Quinn")
    add_job(served, "New one")
    told = text_of(quinn.get("/"))
    places = [
        told.index(word) for word in ("Not begun", "New one", "Last read on", "What waits", "no backup is on record")
    ]
    assert places == sorted(places)


def test_what_waits_leads_to_where_it_is_seen_to(served):
    tom = served.signed_in("Tom")
    tom.fill_in(IN, do="keep", **STATED, **grid())
    tom.fill_in("/instruments/VA-2/checks", kind="zero", value="0.05", low="-0.02", high="0.02", unit="m/s")
    page = served.signed_in("Quinn").get("/")
    assert '<a href="/instruments/VA-1/certificates/C-901">certificate C-901</a>' in page.text
    assert '<a href="/instruments/VA-2/history">VA-2</a>' in page.text
    assert "VA-2: intermediate check (zero) failed on" in text_of(page)


@pytest.mark.parametrize(("asked", "shown"), [("/", False), ("/?jobs=all", True)])
def test_of_many_jobs_those_of_late_are_shown_and_all_on_a_further_page(served, monkeypatch, asked, shown):
    from calib.faces.pages import home

    monkeypatch.setattr(home, "OF_LATE", 1)
    quinn = served.signed_in("Quinn")
    add_job(served, "Older one")
    add_job(served, "Newer one")
    told = text_of(quinn.get(asked))
    assert ("Older one" in told, "Newer one" in told) == (shown, True)
    assert ("Every job on record" in told) is not shown


@pytest.mark.parametrize(
    ("name", "may", "may_not"),
    [
        ("Tom", "suspend an instrument", "accept a calibration"),
        ("Quinn", "accept a calibration", "issue a report"),
        ("Ed", "issue a report", "accept a calibration"),
    ],
)
def test_the_account_says_what_the_roles_of_a_person_let_them_do(served, name, may, may_not):
    told = text_of(served.signed_in(name).get("/account"))
    assert (may in told, may_not in told) == (True, False)
