"""People on pages: their roles, logins and competences, changed by QA alone; a one-time link, shown once to QA."""

import logging
import re
from datetime import UTC, datetime, timedelta

import pytest

from calib.faces.pages.frame import application
from calib.faces.pages.passkeys import FRESH
from calib.records.credentials import LINK_LASTS
from tests.command import calib
from tests.conftest import SERVER
from tests.faces.pages.test_events_and_checks import told_after
from tests.faces.pages.test_security import SCRIPT, runs_nothing, text_of
from tests.served import PASSWORD

PDF = b"%PDF-1.7 a course\n%%EOF\n"
TOM = "/people/Tom"
TRAVERSES = {
    "scope": "duct traverses",
    "from": "2026-01-10",
    "until": "2029-06-30",
    "authorised_by": "Head of the laboratory",
}


def names(answer):
    return re.findall(r'<th scope="row"><a href="/people/[^"]+">([^<]+)</a>', answer.text)


def on_record(served):
    return {each["name"]: each for each in calib("person", "list", "--json", records=served.records).document["people"]}


def test_everybody_sees_who_is_on_record_and_only_qa_is_offered_a_change(served, quinn):
    tom = served.signed_in("Tom")
    for visitor, may in ((quinn, True), (tom, False)):
        listed, person = visitor.get("/people"), visitor.get(TOM)
        assert names(listed) == ["Quinn", "Ed", "Tom"]
        assert ("Another person" in listed.text) is may
        assert (f'href="{TOM}/roles"' in person.text, f'href="{TOM}/link"' in person.text) == (may, may)
    assert served.visitor().get("/people").headers["location"].startswith("/sign-in")
    assert quinn.get("/people/Nobody").status_code == 404


def test_an_address_shows_those_who_fit_and_the_same_to_whoever_opens_it(quinn):
    quinn.fill_in(f"{TOM}/competences", **TRAVERSES)
    for asked, shown in (
        ("role=engineer", ["Ed"]),
        ("scope=TRAVERSES", ["Tom"]),
        ("scope=traverses&on=2026-01-09", []),
        ("role=QA&scope=traverses", []),
        ("on=2026-01-04", ["Quinn", "Ed", "Tom"]),
    ):
        assert names(quinn.get(f"/people?{asked}")) == shown, asked
    assert (
        "technician"
        not in text_of(quinn.get("/people?on=2026-01-04")).partition("Another person")[0].partition("as of")[2]
    )
    answer = quinn.get("/people?on=yesterday")
    assert (answer.status_code, "a date as YYYY-MM-DD" in text_of(answer)) == (422, True)


def test_a_person_is_put_on_record_with_the_roles_that_were_ticked(served, quinn, backend):
    answer = quinn.fill_in("/people", name="Nora", login="", role_technician="yes", role_engineer="yes")
    told = told_after(quinn, answer)
    assert "added Nora: technician, engineer" in told
    assert ("the server follows" in told) is (backend == SERVER)
    assert on_record(served)["Nora"]["roles"] == ["technician", "engineer"]


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"name": "", "role_QA": "yes"}, "a name, on one line"),
        ({"name": "tom", "role_QA": "yes"}, "a name that is not on record yet"),
        ({"name": "Nora"}, "one or more of technician, QA, engineer"),
        ({"name": "Nora", "role_QA": "yes", "login": "calib_qa"}, "a group of logins"),
    ],
)
def test_what_is_wrong_with_a_person_is_said_and_nothing_is_written(served, quinn, fields, expected):
    answer = quinn.fill_in("/people", **fields)
    assert (answer.status_code, expected in text_of(answer)) == (422, True)
    assert fields.get("role_QA") is None or 'name="role_QA" value="yes" checked' in answer.text
    assert set(on_record(served)) == {"Quinn", "Ed", "Tom"}


def test_a_role_is_given_and_withdrawn_with_the_reason_and_both_stay_on_record(served, quinn):
    told = told_after(quinn, quinn.fill_in(f"{TOM}/roles", give="engineer", withdraw="", reason="authorised to sign"))
    assert "Tom: engineer given" in told
    assert on_record(served)["Tom"]["roles"] == ["technician", "engineer"]
    told = told_after(quinn, quinn.fill_in(f"{TOM}/roles", give="", withdraw="engineer", reason="left the office"))
    assert [reason in told for reason in ("authorised to sign", "left the office")] == [True, True]
    assert on_record(served)["Tom"]["roles"] == ["technician"]


@pytest.mark.parametrize(
    ("place", "fields", "expected"),
    [
        (TOM, {"give": "", "withdraw": "", "reason": "r"}, "a role to give, or one to withdraw"),
        (TOM, {"give": "QA", "withdraw": "technician", "reason": "r"}, "a role to give, or one to withdraw"),
        (TOM, {"give": "QA", "reason": " "}, "why, in a few words"),
        (TOM, {"give": "king", "reason": "r"}, "one of technician, QA, engineer"),
        ("/people/Quinn", {"withdraw": "QA", "reason": "r"}, "another person with QA first"),
    ],
)
def test_a_change_that_may_not_be_is_said_beside_its_field(served, quinn, place, fields, expected):
    answer = quinn.fill_in(f"{place}/roles", **fields)
    assert (answer.status_code, expected in text_of(answer), "is-wrong" in answer.text) == (422, True, True)
    assert on_record(served)["Tom"]["roles"] == ["technician"]


def test_nobody_gives_themselves_a_role_while_another_qa_is_there(quinn):
    quinn.fill_in("/people/Ed/roles", give="QA", reason="a second one")
    answer = quinn.fill_in("/people/Quinn/roles", give="engineer", reason="I want to")
    assert (answer.status_code, "another person than yourself" in text_of(answer)) == (422, True)


def test_a_login_is_corrected_and_the_one_before_stays_on_record(served, quinn):
    told = told_after(quinn, quinn.fill_in("/people/Ed/login", login="edward", reason="mistyped"))
    assert "Ed: the login edward, from" in told
    assert on_record(served)["Ed"]["login"] == "edward"
    answer = quinn.fill_in(f"{TOM}/login", login="edward", reason="his too")
    assert (answer.status_code, "it is that of Ed" in text_of(answer)) == (422, True)


def test_a_competence_is_recorded_with_its_evidence_and_taken_back(served, quinn):
    answer = quinn.fill_in(f"{TOM}/competences", files={"evidence": ("course.pdf", PDF)}, **TRAVERSES)
    told = told_after(quinn, answer)
    assert "Tom: duct traverses, from 2026-01-10 until 2029-06-30, authorised by Head of the laboratory" in told
    page = quinn.get(TOM)
    (kept,) = re.findall(r'href="(/files/[0-9a-f]{64})">course.pdf<', page.text)
    assert quinn.get(kept).content == PDF
    (link,) = re.findall(rf'href="({TOM}/competences/[^"]+)"', page.text)
    assert served.signed_in("Tom").get(link).status_code == 403
    assert quinn.fill_in(link, reason="").status_code == 422
    assert "withdrawn: " in told_after(quinn, quinn.fill_in(link, reason="it was Ed's"))
    assert "None on record." in text_of(quinn.get(TOM))
    assert quinn.fill_in(link, reason="once more").status_code == 404


@pytest.mark.parametrize(
    ("fields", "expected"),
    [
        ({"scope": " "}, "what the person may do, in a few words"),
        ({"from": "soon", "until": "31.12.2026"}, "a date as YYYY-MM-DD"),
        ({"until": "2026-01-09"}, "a day not before 2026-01-10"),
    ],
)
def test_what_is_wrong_with_a_competence_is_said_beside_its_field(quinn, fields, expected):
    answer = quinn.fill_in(f"{TOM}/competences", **TRAVERSES | fields)
    assert (answer.status_code, text_of(answer).count(expected) >= len(fields)) == (422, True)
    assert "is-wrong" in answer.text
    assert "Head of the laboratory" in answer.text


def test_what_is_no_evidence_is_refused_and_nothing_is_written(quinn):
    answer = quinn.fill_in(f"{TOM}/competences", files={"evidence": ("course.pdf", b"MZ")}, **TRAVERSES)
    assert (answer.status_code, "a whole PDF, PNG, JPEG or XML file" in text_of(answer)) == (422, True)
    assert "None on record." in text_of(quinn.get(TOM))


def test_the_grants_are_shown_to_qa_of_a_server(quinn, served, backend):
    page = quinn.get("/grants")
    if backend == SERVER:
        assert calib("person", "grants", records=served.records).out.strip() in text_of(page)
    else:
        assert "The records are a file" in text_of(page)
    assert served.signed_in("Ed").get("/grants").status_code == 403


# --- a link ----------------------------------------------------------------------------------------------------------------------


def test_qa_makes_a_link_by_which_the_person_begins_anew(served, quinn, caplog, tmp_path):
    tom = served.signed_in("Tom")
    with caplog.at_level(logging.WARNING):
        answer = quinn.fill_in(f"{TOM}/link", own_password=PASSWORD)
    assert answer.headers["cache-control"] == "no-store"
    (link,) = re.findall(r"http://localhost:8417(/enrol/[\w-]{43})\n?<", answer.text)
    assert "'Quinn' made a one-time link for 'Tom'" in caplog.text
    assert link.rpartition("/")[2] not in caplog.text
    assert link.rpartition("/")[2].encode() not in (tmp_path / "credentials").read_bytes()
    assert tom.get("/").headers["location"].startswith("/sign-in")  # what Tom signed in by has ended
    begun = served.visitor()
    words = "some other plain words"
    assert begun.fill_in(link, password=words, again=words).status_code == 303
    assert "Sign out" in begun.get("/").text
    assert served.visitor().fill_in(link, password=words, again=words).status_code == 403


def test_it_is_shown_once(quinn):
    shown = re.findall(r"/enrol/[\w-]{43}", quinn.fill_in(f"{TOM}/link", own_password=PASSWORD).text)
    assert len(set(shown)) == 1
    assert not any("/enrol/" in quinn.get(place).text for place in (TOM, f"{TOM}/link", "/people", "/"))


def test_who_found_an_open_session_of_qa_makes_none_and_guesses_no_faster(served, monkeypatch):
    tom, now = served.signed_in("Tom"), datetime.now(UTC)
    monkeypatch.setattr(application, "clock", lambda: now)
    quinn = served.signed_in("Quinn")
    answers = [quinn.fill_in(f"{TOM}/link", own_password=typed) for typed in ("", "wrong", "guess", "luck", PASSWORD)]
    assert [answer.status_code for answer in answers] == [422] * 4 + [403]
    assert not any("/enrol/" in answer.text for answer in answers)
    assert tom.get("/").status_code == 200


def test_who_signs_in_by_a_passkey_alone_makes_one_soon_after_that(served, quinn, monkeypatch):
    served.credentials.set_password("Quinn", None, quinn.cookies["calib"])
    assert "Password of Quinn" not in quinn.get(f"{TOM}/link").text
    assert "/enrol/" in quinn.fill_in(f"{TOM}/link").text
    later = datetime.now(UTC) + FRESH + timedelta(minutes=1)
    monkeypatch.setattr(application, "clock", lambda: later)
    answer = quinn.fill_in(f"{TOM}/link")
    assert (answer.status_code, "/enrol/" in answer.text) == (403, False)


def test_a_link_holds_as_long_as_the_page_says(served, monkeypatch):
    at = datetime(2126, 11, 30, 8, tzinfo=UTC)  # later than whoever is enrolled now
    monkeypatch.setattr(application, "clock", lambda: at)
    quinn = served.signed_in("Quinn")
    answer = quinn.fill_in(f"{TOM}/link", own_password=PASSWORD)
    assert "Until 2126-12-02 08:00+00:00, once." in text_of(answer)
    (link,) = set(re.findall(r"/enrol/[\w-]{43}", answer.text))
    monkeypatch.setattr(application, "clock", lambda: at + LINK_LASTS + timedelta(seconds=1))
    assert served.visitor().get(link).status_code == 403


def test_nobody_without_a_role_gets_one(served, quinn):
    quinn.fill_in(f"{TOM}/roles", withdraw="technician", reason="left")
    for answer in (quinn.get(f"{TOM}/link"), quinn.fill_in(f"{TOM}/link", own_password=PASSWORD)):
        assert (answer.status_code, "a person with a role" in text_of(answer), "/enrol/" in answer.text) == (
            422,
            True,
            False,
        )
    assert served.signed_in("Ed").get(f"{TOM}/link").status_code == 403


def test_script_in_names_scopes_and_reasons_is_text(quinn, backend):
    place = quinn.fill_in("/people", name=SCRIPT, role_technician="yes").headers["location"]
    without_login = 422 if backend == SERVER else 200
    quinn.fill_in(f"{place}/roles", give="engineer", reason=SCRIPT)
    quinn.fill_in(f"{place}/competences", scope=SCRIPT, authorised_by=f"A. {SCRIPT}")
    (link,) = re.findall(r'href="(/people/[^"]+/competences/[^"]+)"', quinn.get(place).text)
    for where in (
        "/people",
        f"/people?scope={SCRIPT}",
        place,
        link,
        f"{place}/roles",
        f"{place}/login",
        f"{place}/link",
    ):
        answer = quinn.get(where)
        status = without_login if where.endswith("/link") else 200
        assert (answer.status_code, runs_nothing(answer), SCRIPT in answer.text) == (status, True, False), where
        assert "<script>" in text_of(answer), where
