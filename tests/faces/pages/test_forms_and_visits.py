"""What is wrong with a form stands beside its field, what was typed is kept; a visit writes whole or not at all, as the person."""

import re
import socket
from datetime import UTC, datetime, timedelta

import pytest
from sqlmodel import select

from calib.errors import (
    BadInputError,
    CurveError,
    DamagedError,
    Doubt,
    DoubtError,
    Finding,
    GapError,
    MeasuringIntervalError,
    NotInRecordsError,
    RecordsError,
    RefusedError,
    UnitError,
)
from calib.faces.pages.frame import application
from calib.faces.pages.frame.form import number_of
from calib.faces.pages.frame.routes import Document, Filled, Goto, Pages, Sent
from calib.faces.pages.frame.serve import THIS_MACHINE, bound
from calib.procedures.people.authorise import append
from calib.records import database, ledger
from calib.records.tables.jobs import Job
from tests.faces.pages.test_security import read, text_of

ERRORS = {
    NotInRecordsError: 404, RefusedError: 409, GapError: 409, UnitError: 422, CurveError: 422, MeasuringIntervalError: 422,
    DamagedError: 500, RecordsError: 503,
}  # fmt: skip

tried = Pages()


@tried.shows("/tried/job")
def ask_for_job(_visit):
    return Filled("job_of_tests.html", {}, title="A job")


@tried.takes("/tried/job", again=ask_for_job)
def take_job(visit):
    name = visit.form["job"]
    session = visit.writing()
    append(session, [Job(job=name or "blank", decision_rule="simple")], visit.signature("job add"))
    if not name:
        raise BadInputError([Finding.typed("job", "", "a name"), Finding.typed(None, None, "something as a whole")])
    if name == "odd" and not visit.form.is_sure:
        raise DoubtError([Doubt.typed("job", name, "it is odd")])
    if name == "refused":
        raise RefusedError("the gate refuses it")
    return Goto("/tried/job", said="the job is written")


@tried.shows("/tried/error/{name:name}")
def raises(_visit, name):
    raise next(kind for kind in ERRORS if kind.__name__ == name)("a line that says why")


@tried.shows("/tried/file")
def file(_visit):
    return Sent(b"\x00\x01", "application/pdf", name='r"é\n.pdf')


@tried.takes("/tried/job-of-a-script")
def take_job_of_a_script(visit):
    append(visit.writing(), [Job(job=visit.form.document["job"], decision_rule="simple")], visit.signature("job add"))
    return Document({"written": True})


@tried.takes("/tried/written-and-failed")
def writes_and_fails(visit):
    with visit.writing_last() as session:
        append(session, [Job(job="whole", decision_rule="simple")], visit.signature("job add"))
    session = visit.writing()
    append(session, [Job(job="half", decision_rule="simple")], visit.signature("job add"))
    raise ZeroDivisionError


@tried.takes("/tried/echo")
def echo(visit):
    upload = visit.form.file("photograph")
    return Document({
        "json": visit.form.document, "file": None if upload is None else [upload.name, len(upload.content)], "by": visit.person,
    })  # fmt: skip


@pytest.fixture
def served(served_with, monkeypatch):
    from jinja2 import ChoiceLoader, DictLoader

    from calib.faces.template import environment

    page = (
        '{% extends "frame.html" %}{% import "form.html" as parts with context %}{% block page %}{{ parts.begin("/tried/job") }}'
        '{{ parts.field("job", "Name of the job", told="as on the drawing") }}{{ parts.words("remarks", "Remarks") }}'
        '{{ parts.choice("rule", "Rule", [("a", "A"), ("b", "B")]) }}{{ parts.end("Keep") }}{% endblock %}'
    )
    pages = environment("calib.faces.pages")
    monkeypatch.setattr(pages, "loader", ChoiceLoader([pages.loader, DictLoader({"job_of_tests.html": page})]))
    return served_with(more=(tried,))


def jobs(served):
    """Every job on record, and who recorded it."""
    login = served.credentials.enrolled("Tom").login
    with database.reading(database.acting_as(served.engine, login)) as session:
        return {job.job: ledger.written(session, "job", job.id)[0] for job in session.exec(select(Job))}


def field(answer, name):
    return re.search(f'<(input|textarea) id="field-{name}"[^>]*>([^<]*)', answer.text)[0]


def test_a_finding_stands_beside_its_field_and_what_was_typed_is_kept_and_nothing_is_written(served):
    tom = served.signed_in("Tom")
    answer = tom.fill_in("/tried/job", job="", remarks="near the <stair>", rule="b")
    assert answer.status_code == 422
    assert 'aria-invalid="true"' in field(answer, "job")
    assert 'aria-describedby="told-job wrong-job"' in field(answer, "job")
    assert re.search(r'id="wrong-job">expected a name<', answer.text)
    assert "expected something as a whole" in text_of(answer)
    assert "near the &lt;stair&gt;" in field(answer, "remarks")
    assert '<option value="b" selected>' in answer.text
    assert "blank" not in jobs(served)


def test_what_is_written_is_said_once_on_the_next_page_and_is_the_persons(served):
    tom = served.signed_in("Tom")
    answer = tom.fill_in("/tried/job", job="of Tom")
    assert (answer.status_code, answer.headers["location"]) == (303, "/tried/job")
    assert "the job is written" in text_of(tom.get("/tried/job"))
    assert "the job is written" not in text_of(tom.get("/tried/job"))
    assert jobs(served)["of Tom"] == "Tom"


def test_what_is_unusual_is_asked_and_written_once_somebody_is_sure(served):
    tom = served.signed_in("Tom")
    answer = tom.fill_in("/tried/job", job="odd")
    assert (answer.status_code, "it is odd: is that right?" in text_of(answer)) == (422, True)
    assert 'name="sure"' in answer.text
    assert "odd" not in jobs(served)
    assert tom.fill_in("/tried/job", job="odd", sure="yes").status_code == 303
    assert "odd" in jobs(served)


def test_a_refusal_is_one_line_on_the_form(served):
    answer = served.signed_in("Tom").fill_in("/tried/job", job="refused")
    assert (answer.status_code, "the gate refuses it" in text_of(answer)) == (409, True)
    assert 'value="refused"' in field(answer, "job")
    assert "refused" not in jobs(served)


@pytest.mark.parametrize(("kind", "status"), ERRORS.items())
def test_every_error_is_a_line_with_a_status_of_its_own(served, kind, status):
    answer = served.signed_in("Tom").get(f"/tried/error/{kind.__name__}")
    assert (answer.status_code, "a line that says why" in text_of(answer)) == (status, True)


def test_a_script_is_told_in_json_what_is_wrong(served):
    tom = served.signed_in("Tom")
    answer = tom.post("/tried/job", json={"job": ""}, headers={"Calib-Token": tom.token})
    assert answer.status_code == 422
    assert answer.json()["findings"][0] == {"column": "job", "value": "", "expected": "a name"}


def test_a_script_sends_json_and_a_form_sends_files(served):
    tom = served.signed_in("Tom")
    sent = tom.post("/tried/echo", json={"a": [1]}, headers={"Calib-Token": tom.token})
    assert sent.json() == {"json": {"a": [1]}, "file": None, "by": "Tom"}
    sent = tom.fill_in("/tried/echo", files={"photograph": ("../p.jpg", b"\xff" * 1000)})
    assert sent.json()["file"] == ["../p.jpg", 1000]


def test_a_file_is_sent_under_its_name_whatever_signs_are_in_it(served):
    answer = served.signed_in("Tom").get("/tried/file")
    assert answer.content == b"\x00\x01"
    assert answer.headers["content-disposition"] == "attachment; filename*=UTF-8''r%22%C3%A9%0A.pdf"


def test_a_page_names_its_fields_and_says_where_one_is(served):
    answer = served.signed_in("Tom").get("/")
    assert 'aria-current="page">Jobs' in answer.text
    assert not read(answer).handlers


def test_reports_that_a_write_contradicts_are_told_on_the_next_page(served, monkeypatch):
    from calib.procedures.report import watch_issued

    monkeypatch.setattr(watch_issued, "watch_issued", lambda *_: ["report LM-27 says otherwise"])
    tom = served.signed_in("Tom")
    tom.fill_in("/tried/job", job="of Tom")
    assert "report LM-27 says otherwise" in text_of(tom.get("/tried/job"))
    tom.post("/tried/job-of-a-script", json={"job": "of a script"}, headers={"Calib-Token": tom.token})
    assert "report LM-27 says otherwise" in text_of(tom.get("/tried/job"))
    assert "report LM-27 says otherwise" not in text_of(tom.get("/tried/job"))


def test_a_page_that_fails_takes_back_what_it_had_not_ended_and_promises_nothing(served):
    answer = served.signed_in("Tom").fill_in("/tried/written-and-failed")
    assert answer.status_code == 500
    assert "look whether it was written before you send it again" in text_of(answer)
    assert {"whole", "half"} & set(jobs(served)) == {"whole"}


def test_a_change_of_whoever_is_signed_out_leads_to_the_first_page_after_signing_in(served):
    assert served.visitor().fill_in("/tried/job", job="x").headers["location"] == "/sign-in?to=%2F"


def test_a_number_in_an_address_is_of_any_record_that_there_may_be():
    """Ten years have more than 9,999 readings; a server's narrowest key holds 31 bits (PostgreSQL documentation, 8.1.1)."""
    assert [number_of(typed) for typed in ("1", "9999", "10000", "2147483647")] == [1, 9999, 10000, 2147483647]
    for typed in ("0", "-1", "2147483648", "1" * 5000, "\u0663", "1e3", "", " 1"):
        with pytest.raises(NotInRecordsError, match="no reading"):
            number_of(typed)


def test_an_answer_waits_for_no_acknowledgement_of_its_head():
    """TCP_NODELAY: Nagle's rule (RFC 896) holds a second small packet back until the first is acknowledged, some 40 ms later."""
    with bound(THIS_MACHINE, 0) as listening, socket.create_connection(listening.getsockname()):
        accepted, _ = listening.accept()
        with accepted:
            assert accepted.getsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY)


def test_what_is_sent_slowly_is_an_act_of_when_it_has_arrived(served, monkeypatch):
    """While it was sent another person wrote, more than a minute after it was begun: that is no clock set back."""
    monkeypatch.setattr(ledger, "_BACK_AT_MOST", timedelta(minutes=1))  # as it is but in tests
    begun = datetime.now(UTC).replace(microsecond=0) - timedelta(seconds=90)
    now, read = [begun], application._form_of  # noqa: SLF001
    monkeypatch.setattr(application, "clock", lambda: now[0])
    tom = served.signed_in("Tom")

    async def slowly(request):
        with served.writing_as("Ed") as session:
            append(
                session, [Job(job="of Ed", decision_rule="simple")], ledger.Signature("Ed", datetime.now(UTC), "test")
            )
        now[0] = begun + timedelta(seconds=90)
        return await read(request)

    monkeypatch.setattr(application, "_form_of", slowly)
    assert tom.fill_in("/tried/job", job="of Tom").status_code == 303
    with database.reading(served.records) as session:
        assert {"of Ed", "of Tom"} <= set(session.exec(select(Job.job)))
