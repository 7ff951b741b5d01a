"""Who signs in, by what, for how long, and who does not (OWASP, Authentication and Session Management Cheat Sheets)."""

import pytest

from calib.faces.pages.frame.passwords import expected_password
from calib.faces.pages.sign_in import network_of
from tests.served import PASSWORD


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
    served.enrol("Tom", link="new")
    assert not shows_jobs(visitor)
    assert served.visitor().sign_in("Tom").status_code == 422


@pytest.mark.parametrize(
    ("address", "network"),
    [
        ("192.0.2.7", "192.0.2.7"), ("2001:db8:1:2:3:4:5:6", "2001:db8:1:2::/64"), ("2001:db8:1:2::9", "2001:db8:1:2::/64"),
        ("testclient", "testclient"), ("", ""),
    ],
)  # fmt: skip
def test_tries_are_counted_by_the_network_of_one_customer(address, network):
    assert network_of(address) == network


def test_a_session_outlives_the_browser_and_a_visit_of_nobody_does_not(served):
    visitor = served.visitor()
    served.enrol("Tom")
    assert "Max-Age" not in visitor.get("/sign-in").headers["set-cookie"]
    assert "Max-Age=604800" in visitor.sign_in("Tom").headers["set-cookie"]


def test_another_password_holds_from_then_on_and_signs_other_devices_out(served):
    here, there = served.signed_in("Tom"), served.signed_in("Tom")
    new = "other words that are plain"
    answer = here.fill_in("/account/password", before=PASSWORD, password=new, again=new)
    assert (answer.status_code, answer.headers["location"]) == (303, "/account")
    assert "the new password holds" in here.get("/account").text
    assert not shows_jobs(there)
    assert served.visitor().sign_in("Tom").status_code == 422
    assert served.visitor().sign_in("Tom", new).status_code == 303


@pytest.mark.parametrize(
    ("password", "again", "told"),
    [
        ("short", "short", "expected 12 to 256 signs"),
        ("x" * 257, "x" * 257, "expected 12 to 256 signs"),
        ("aaaaaaaaaaaaaaa", "aaaaaaaaaaaaaaa", "more than four different signs"),
        (PASSWORD, "something else", "the same password once more"),
    ],
)
def test_a_password_that_is_none_is_told_beside_its_field(served, password, again, told):
    served.enrol("Tom", link="abc")
    answer = served.visitor().fill_in("/enrol/abc", password=password, again=again)
    assert (answer.status_code, told in answer.text) == (422, True)
    assert password not in answer.text
    assert served.credentials.enrolled("Tom").password is None


@pytest.mark.parametrize(
    ("person", "password", "is_good"),
    [
        ("I. Marlow", "i. marlow and more", False),
        ("Ed", "selected plain words", True),
        ("Tom", "x" * 11 + "\u00e9", False),
    ],
)
def test_a_password_has_no_name_in_it(person, password, is_good):
    assert (expected_password(password, person) is None) is is_good


def test_a_password_is_one_however_a_keyboard_composes_its_letters(served):
    served.enrol("Tom", link="abc")
    composed, parted = "grüne Wörter ähnlich", "gru\u0308ne Wo\u0308rter a\u0308hnlich"
    assert served.visitor().fill_in("/enrol/abc", password=composed, again=composed).status_code == 303
    assert served.visitor().sign_in("Tom", parted).status_code == 303
