"""What a browser kept while there was no network, sent: each reading is written once, and what became of it is said."""

import json
import re
from datetime import UTC, datetime, timedelta
from decimal import Decimal
from urllib.parse import quote

import pytest

from calib.faces.pages import without_network
from calib.faces.pages.frame.served import assets
from calib.procedures.fleet.record_event import record_event
from calib.procedures.plan.limits_with_meter import limits_with_meter
from calib.records import database
from calib.records.ledger import Signature
from calib.records.tables.entries import SentEntry
from calib.records.tables.readings import Reading, Refusal
from tests.command import calib
from tests.folders import all_of

FIELDS = {"instrument": "VA-1", "unit": "m/s", "method": "sweep", "pass_1": "3,10", "pass_2": "3.12"}
DUE = timedelta(seconds=60)  # between a time of the test and that of the server, on a busy machine


def on_record(served, table):
    with database.reading(served.records) as session:
        return [row.model_dump() for row in all_of(session, table)]


def standing(served, outlet="S-2"):
    """Readings of an outlet as the command lists them."""
    listed = json.loads(calib("reading", "list", "J-1", "--json", records=served.records).out)["readings"]
    return [each for each in listed if each["outlet"] == outlet]


def unsent(served, *, ahead=timedelta(0), ago=timedelta(minutes=5), **changes):
    """A reading as the browser keeps it, typed so long ago by a clock that is ahead."""
    observed_at = (datetime.now(UTC) + ahead - ago).isoformat(timespec="seconds")
    entry = {
        "form": 1, "client_key": "key of a phone", "person": "Tom", "job": "J-1", "outlet": "S-2",
        "fields": FIELDS | {"observed_at": observed_at}, "sure": False, "keep": False,
        "known": [each["reading"] for each in standing(served)],
    }  # fmt: skip
    return entry | changes


def send(visitor, entry, ahead=timedelta(0)):
    """The answer to one that is sent now, by the same clock."""
    sent_at = (datetime.now(UTC) + ahead).isoformat(timespec="seconds")
    token = visitor.get("/unsent/sender").json()["token"]
    return visitor.post("/unsent/send", json={**entry, "sent_at": sent_at}, headers={"Calib-Token": token})


def take_in(visitor, *entries, **fields):
    content = json.dumps({"form": 1, "entries": entries}).encode()
    return visitor.fill_in("/unsent/file", files={"file": ("not-sent.json", content)}, **fields)


# --- one reading -----------------------------------------------------------------------------------------------------------------


def test_a_reading_is_written_and_its_answer_is_that_of_the_command(served, tom):
    answer = send(tom, unsent(served)).json()
    latest = standing(served)[-1]
    assert answer["outcome"] == "accepted"
    assert answer["readings"] == [latest["reading"]]
    assert latest["flow"]["statement"] in answer["said"][0]
    assert latest["design"]["conformity"] in answer["said"][0]
    assert (latest["observations"], latest["operator"]) == ("3.10;3.12", "Tom")


@pytest.mark.parametrize("ahead", [timedelta(0), timedelta(minutes=7), timedelta(hours=-2)])
def test_the_time_as_typed_and_as_corrected_are_both_kept(served, tom, ahead):
    entry = unsent(served, ahead=ahead, ago=timedelta(minutes=30))
    observed = datetime.now(UTC) - timedelta(minutes=30)
    send(tom, entry, ahead)
    (sent,) = on_record(served, SentEntry)
    assert abs(timedelta(seconds=int(sent["clock_offset_s"])) - ahead) < DUE
    kept = datetime.fromisoformat(on_record(served, Reading)[-1]["observed_at"])
    assert abs(kept - observed) < DUE
    as_typed = kept + timedelta(seconds=int(sent["clock_offset_s"]))
    assert as_typed == datetime.fromisoformat(entry["fields"]["observed_at"])


def test_one_that_is_sent_twice_is_one_reading(served, tom):
    entry = unsent(served)
    first, again = (send(tom, entry).json() for _ in range(2))
    assert (first["outcome"], again["outcome"]) == ("accepted", "accepted")
    assert first["readings"] == again["readings"]
    assert len(on_record(served, SentEntry)) == 1


def test_one_that_reached_the_server_by_its_form_is_found_when_it_is_sent_again(served, tom):
    entry = unsent(served, ago=timedelta(0))
    at = entry["fields"]["observed_at"]
    by_form = tom.fill_in("/jobs/J-1/outlets/S-2", **entry["fields"], client_key=entry["client_key"], sent_at=at)
    assert by_form.status_code == 303
    again = send(tom, entry).json()
    assert by_form.headers["location"].endswith(f"?reading={again['readings'][0]}")
    assert len(on_record(served, SentEntry)) == 1


def test_what_is_unusual_is_asked_back(served, tom):
    for name in ("S-1", "R-1", "E-1"):
        known = [each["reading"] for each in standing(served, name)]
        assert send(tom, unsent(served, outlet=name, client_key=name, known=known)).json()["outcome"] == "accepted"
    entry = unsent(served)
    entry["fields"] |= {"pass_2": "6.50"}
    before = on_record(served, Reading)
    answer = send(tom, entry).json()
    assert answer["outcome"] == "doubted"
    assert any("largest pass" in line for line in answer["said"])
    assert on_record(served, Reading) == before
    others = {name: standing(served, name)[-1]["flow"]["statement"] for name in ("S-1", "R-1", "E-1")}
    sent = send(tom, entry | {"sure": True}).json()
    assert sent["outcome"] == "accepted"
    moved = {name: standing(served, name)[-1]["flow"]["statement"] for name in others}
    assert moved != others  # its scatter widens the U that they share
    for name, was in others.items():
        told = any(line.startswith(f"with it {name} is {moved[name]}") and was in line for line in sent["said"])
        assert told == (moved[name] != was)


def test_a_reading_that_the_gate_refuses_says_why_and_may_be_kept_as_a_refusal(served, tom):
    now = datetime.now(UTC)
    with served.writing_as("Quinn") as session:
        by = Signature("Quinn", now, "event add")
        record_event(session, "VA-1", "suspension", now - timedelta(hours=1), "dropped", by)
    entry = unsent(served)
    answer = send(tom, entry).json()
    assert answer["outcome"] == "refused"
    assert any("dropped" in line for line in answer["said"])
    assert on_record(served, Refusal) == []
    assert send(tom, entry | {"keep": True}).json()["outcome"] == "kept as refused"
    assert len(on_record(served, Refusal)) == 1


def test_a_reading_that_another_took_meanwhile_is_shown_before_anything_is_written(served, tom):
    entry = unsent(served)
    ed = served.signed_in("Ed")
    (other,) = send(ed, unsent(served, person="Ed", client_key="of Ed", ago=timedelta(minutes=9))).json()["readings"]
    answer = send(tom, entry).json()
    assert (answer["outcome"], answer["readings"]) == ("meanwhile", [other])
    assert standing(served)[-1]["flow"]["statement"] in " ".join(answer["said"])
    assert len(on_record(served, SentEntry)) == 1
    assert send(tom, entry | {"known": [*entry["known"], other]}).json()["outcome"] == "accepted"


def test_a_reading_is_sent_by_whoever_typed_it_and_by_nobody_else(served):
    answer = send(served.signed_in("Ed"), unsent(served))
    assert answer.status_code == 403
    assert "Tom typed this reading" in answer.json()["error"]
    assert on_record(served, SentEntry) == []


def test_nobody_sends_without_signing_in(served):
    visitor = served.visitor()
    assert visitor.get("/unsent/sender", headers={"Content-Type": "application/json"}).status_code == 401
    assert visitor.post("/unsent/send", json=unsent(served)).status_code == 401


@pytest.mark.parametrize(
    "changes",
    [
        {"form": 2}, {"client_key": None}, {"job": 7}, {"fields": {"pass_1": 3.1}}, {"fields": []}, {"known": ["1"]},
        {"known": [True]}, {"sure": "yes"}, {"person": ["Tom"]},
    ],
)  # fmt: skip
def test_what_no_page_sends_is_refused_in_one_line(served, tom, changes):
    answer = send(tom, unsent(served) | changes)
    assert answer.status_code == 422
    assert answer.json()["findings"]
    assert on_record(served, SentEntry) == []


@pytest.mark.parametrize("document", [None, [], "x", 7, {}])
def test_what_is_no_reading_at_all_is_refused(tom, document):
    token = tom.get("/unsent/sender").json()["token"]
    headers = {"Calib-Token": token, "Content-Type": "application/json"}
    assert tom.post("/unsent/send", content=json.dumps(document), headers=headers).status_code == 422


@pytest.mark.parametrize(
    ("changes", "said"),
    [
        ({"job": "J-9"}, "J-9"), ({"outlet": "S-9"}, "S-9"), ({"client_key": ""}, "client_key"),
        ({"fields": FIELDS | {"observed_at": "yesterday"}}, "observed_at"),
        ({"fields": FIELDS | {"observed_at": "2999-01-01T00:00:00+00:00"}}, "observed_at"),
        ({"fields": FIELDS | {"instrument": "VA-9"}}, "VA-9"), ({"fields": {}}, "value: blank"),
    ],
)  # fmt: skip
def test_a_reading_that_cannot_be_is_told_and_stays_with_the_person(served, tom, changes, said):
    answer = send(tom, unsent(served, **changes)).json()
    assert answer["outcome"] == "wrong"
    assert said in " ".join(answer["said"])
    assert on_record(served, SentEntry) == []


# --- a file of them --------------------------------------------------------------------------------------------------------------


def test_a_file_is_taken_in_and_taken_twice_it_is_written_once(served, tom):
    entries = [
        unsent(served, client_key=str(count), ago=timedelta(minutes=9 - count), known=[1, 2, 3, 4, 5, 6, 7, 8])
        for count in range(2)
    ]
    for _ in range(2):
        page = take_in(tom, *entries)
        assert page.status_code == 200
        assert page.text.count("On record") == 2
    assert len(on_record(served, SentEntry)) == 2


def test_what_is_asked_of_a_file_is_answered_by_sending_it_again(served, tom):
    entry = unsent(served, known=[])
    assert 'name="sure"' not in tom.get("/unsent").text
    page = take_in(tom, entry)
    assert "another reading stands there" in page.text
    assert 'name="sure"' in page.text
    assert "On record" in take_in(tom, entry, sure="yes").text


def test_a_file_of_another_person_is_not_taken(served, tom):
    assert take_in(tom, unsent(served, person="Ed")).status_code == 403
    assert on_record(served, SentEntry) == []


@pytest.mark.parametrize("content", [b"", b"x", b"[]", b"{}", b'{"entries": []}', b'{"entries": [1]}', b"[" * 100_000])
def test_a_file_that_is_none_of_the_page_is_told(tom, content):
    page = tom.fill_in("/unsent/file", files={"file": ("x.json", content)})
    assert page.status_code == 422
    assert "expected" in page.text


def test_text_in_a_file_is_text(served, tom):
    page = take_in(tom, unsent(served, outlet="<script>alert(1)</script>"))
    assert "<script>alert" not in page.text


# --- what the worker is told -----------------------------------------------------------------------------------------------------


def test_the_worker_is_of_the_version_of_the_pages_and_knows_each_asset(served, tom):
    worker = served.visitor().get("/worker.js")
    version = re.search('VERSION = "([^"]*)"', worker.text)[1]
    assert tom.get("/jobs/J-1").headers["calib-version"] == version
    assert worker.headers["content-type"].startswith("text/javascript")
    assert worker.headers["cache-control"] == "no-store"
    assert all(asset.address in worker.text for asset in assets().values())


def test_of_a_job_the_worker_keeps_each_meter_that_may_be_used_and_its_forms_what_is_left_first(
    served, tom, monkeypatch
):
    tom.fill_in("/jobs/J-1/readings/2/withdrawal", why="at the wrong grille")  # of S-2
    addresses = tom.get("/jobs/J-1/kept").json()["addresses"]
    forms = [each for each in addresses if "/outlets/" in each]
    assert forms[0] == "/jobs/J-1/outlets/S-2?instrument=VA-1"
    assert len(forms) == len(set(forms)) == 4 * 2  # by VA-1 and VA-2
    assert {"/instruments/VA-1", "/instruments/VA-2", "/jobs/J-1/limits?instrument=VA-2"} < set(addresses)
    assert not any("RS-1" in each or "PG-1" in each for each in addresses)  # a reference standard, a manometer
    assert all(tom.get(each).status_code == 200 for each in addresses)
    chosen = tom.get("/jobs/J-1/kept?instrument=VA-2").json()["addresses"]
    assert chosen[0] == "/instruments/VA-2"
    monkeypatch.setattr(without_network, "MOST_FORMS", 3)
    assert [each for each in tom.get("/jobs/J-1/kept").json()["addresses"] if "/outlets/" in each] == forms[:3]
    now = datetime.now(UTC)
    with served.writing_as("Quinn") as session:
        record_event(session, "VA-2", "suspension", now, "dropped", Signature("Quinn", now, "event add"))
    assert not any("VA-2" in each for each in tom.get("/jobs/J-1/kept").json()["addresses"])
    for wrong in (
        "/jobs/J-9/kept",
        "/jobs/J-1/kept?instrument=VA-9",
        "/jobs/J-1/limits",
        "/jobs/J-9/limits?instrument=VA-1",
    ):
        assert tom.get(wrong).status_code == 404


def test_limits_are_those_of_the_plan_rounded_to_the_inside(served, tom):
    answer = tom.get("/jobs/J-1/limits?instrument=VA-1")
    limits = answer.json()
    assert (limits["unit"], set(limits["outlets"])) == ("m/s", {"S-1", "S-2", "R-1", "E-1"})
    with database.reading(served.records) as session:
        low, high = limits_with_meter(session, "J-1", "VA-1", ("sweep",), datetime.now(UTC)).of_outlets["S-2"]
    ends = [Decimal(limits["outlets"]["S-2"][end]) for end in ("from", "to")]
    grain = Decimal("0.001")
    assert low <= ends[0] < Decimal(low) + grain
    assert Decimal(high) - grain < ends[1] <= high
    assert answer.headers["calib-person"] == "Tom"


def test_a_worker_is_told_where_an_answer_leads_and_that_nobody_is_signed_in(served, tom):
    by_worker = {"Calib-Worker": "yes"}
    answer = tom.fill_in("/jobs/J-1/outlets/S-2", **FIELDS, client_key="k", headers=by_worker)
    (written,) = on_record(served, SentEntry)
    assert (answer.status_code, answer.headers["location"]) == (
        200,
        f"/jobs/J-1/outlets/S-2?reading={written['record_id']}",
    )
    nobody = served.visitor()
    answer = nobody.fill_in("/jobs/J-1/outlets/S-2", **FIELDS, client_key="k2", headers=by_worker)
    assert (answer.status_code, "location" in answer.headers, answer.headers["calib-person"]) == (401, False, "")
    assert len(on_record(served, SentEntry)) == 1


def test_a_page_says_whose_it_is(served, tom):
    assert tom.get("/").headers["calib-person"] == quote("Tom")
    assert served.visitor().get("/sign-in").headers["calib-person"] == ""


def test_a_page_that_nobody_looks_at_leaves_what_is_to_be_said(tom):
    tom.fill_in("/jobs/J-1/readings/1/withdrawal", why="at the wrong grille")
    assert "withdrawn" not in tom.get("/jobs/J-1", headers={"Calib-Keep": "yes"}).text
    assert 'class="said"' in tom.get("/jobs/J-1").text
