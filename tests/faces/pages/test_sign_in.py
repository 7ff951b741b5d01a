"""Who signs in, by what, for how long, and who does not (OWASP, Authentication and Session Management Cheat Sheets)."""

from datetime import UTC, datetime

import pytest

from tests.served import PASSWORD, company, put_on_record


@pytest.fixture
def served(small_records, tmp_path):
    put_on_record(small_records)
    with company(small_records, tmp_path) as made:
        yield made


def shows_jobs(visitor):
    answer = visitor.get("/")
    return answer.status_code == 200 and "<h1>Jobs</h1>" in answer.text


def test_nobody_sees_a_page_of_the_records_before_signing_in(served):
    answer = served.visitor().get("/")
    assert (answer.status_code, answer.headers["location"]) == (303, "/sign-in?to=%2F")


def test_a_name_and_its_password_let_in(served):
    assert shows_jobs(served.signed_in("Tom"))


@pytest.mark.parametrize(
    ("name", "password"), [("Tom", "another plain word"), ("Nobody", PASSWORD), ("", ""), ("Quinn", PASSWORD)]
)
def test_what_does_not_belong_together_lets_nobody_in_and_is_told_alike(served, name, password):
    served.enrol("Tom")
    visitor = served.visitor()
    answer = visitor.sign_in(name, password)
    assert answer.status_code == 422
    assert "expected a name and a password that belong together" in answer.text
    assert not shows_jobs(visitor)


def test_a_link_lets_a_person_choose_a_password_once(served):
    served.enrol("Tom", link="abc")
    visitor = served.visitor()
    assert "Welcome, Tom" in visitor.get("/enrol/abc").text
    assert visitor.fill_in("/enrol/abc", password=PASSWORD, again=PASSWORD).status_code == 303
    assert shows_jobs(visitor)
    assert served.visitor().get("/enrol/abc").status_code == 403
    assert served.visitor().fill_in("/enrol/abc", password=PASSWORD, again=PASSWORD).status_code == 403


def test_signing_out_ends_the_session_on_the_server(served):
    visitor = served.signed_in("Tom")
    stolen = visitor.cookies["calib"]
    visitor.fill_in("/sign-out")
    thief = served.visitor()
    thief.cookies.set("calib", stolen)
    assert not shows_jobs(thief)


def test_enrolling_anew_ends_older_sessions_and_the_password(served):
    visitor = served.signed_in("Tom")
    served.credentials.enrol("Tom", None, "new", datetime.now(UTC))
    assert not shows_jobs(visitor)
    assert served.visitor().sign_in("Tom").status_code == 422
