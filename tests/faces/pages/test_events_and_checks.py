"""Events and intermediate checks by a page: recorded, charted, taken back; each by who may."""

import re

import pytest

from tests.faces.pages.test_security import SCRIPT, runs_nothing, text_of

EVENTS, CHECKS = "/instruments/VA-1/events", "/instruments/VA-1/checks"
DROPPED = {"kind": "damage", "reason": "fell from a ladder", "at": "2026-11-02T09:00+01:00"}
ZERO = {"kind": "zero", "value": "0.01", "low": "-0.02", "high": "0.02", "unit": "m/s", "at": "2026-05-04T08:00+01:00"}


def told_after(visitor, answer):
    assert answer.status_code == 303, text_of(answer)
    return text_of(visitor.get(answer.headers["location"]))


def offered(visitor):
    chosen = visitor.get(EVENTS).text.partition('<select id="field-kind"')[2].partition("</select>")[0]
    return [kind for kind in re.findall(r'value="([^"]*)"', chosen) if kind]


def test_damage_is_reported_by_a_technician_and_the_meter_is_out_of_use(served):
    tom = served.signed_in("Tom")
    told = told_after(tom, tom.fill_in(EVENTS, **DROPPED))
    assert "VA-1: damage" in told
    assert "fell from a ladder" in told
    assert "May be used" not in told
    assert "Do not use" in text_of(tom.get("/instruments/VA-1"))


def test_each_person_is_offered_what_they_may_record(served):
    assert offered(served.signed_in("Tom")) == ["suspension", "damage", "repair", "adjustment", "move", "return"]
    assert {"release", "retirement"} <= set(offered(served.signed_in("Quinn")))


def test_what_is_not_offered_is_refused_all_the_same(served):
    tom = served.signed_in("Tom")
    tom.fill_in(EVENTS, kind="suspension", reason="to be looked at")
    answer = tom.fill_in(EVENTS, kind="release", reason="it is right again")
    assert (answer.status_code, "QA" in text_of(answer)) == (403, True)
    for kind in ("interval change", "explosion", ""):
        assert tom.fill_in(EVENTS, kind=kind, reason="r").status_code == 422


def test_a_suspension_holds_until_qa_releases_it(served):
    tom, quinn = served.signed_in("Tom"), served.signed_in("Quinn")
    assert "suspended" in told_after(tom, tom.fill_in(EVENTS, kind="suspension", reason="to be looked at"))
    assert "May be used" in told_after(quinn, quinn.fill_in(EVENTS, kind="release", reason="compared, no change"))


def test_a_move_says_where_it_is(served):
    tom = served.signed_in("Tom")
    told = told_after(tom, tom.fill_in(EVENTS, kind="move", reason="to be calibrated", location="North Laboratory"))
    assert "VA-1: move" in told
    assert "North Laboratory" in told
    assert tom.fill_in(EVENTS, kind="move", reason="to be calibrated", location=" ").status_code == 422


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"reason": " "}, "reason"),
        ({"at": "yesterday"}, "expected"),
        ({"at": "2999-01-01T00:00+00:00"}, "expected"),
        ({"at": "2026-11-02T09:00"}, "expected"),
    ],
)
def test_what_cannot_be_is_said_and_what_was_typed_stays(served, fields, told):
    answer = served.signed_in("Tom").fill_in(EVENTS, **(DROPPED | fields))
    assert (answer.status_code, told in text_of(answer)) == (422, True)
    assert 'value="damage" selected' in answer.text


def test_an_event_is_taken_back_by_qa_with_the_reason_and_stays_on_record(served):
    tom, quinn = served.signed_in("Tom"), served.signed_in("Quinn")
    tom.fill_in(EVENTS, **(DROPPED | {"kind": "suspension"}))
    (link,) = re.findall(rf'<a href="({EVENTS}/\d+)">', quinn.get(EVENTS).text)
    assert tom.get(link).status_code == 403
    assert quinn.fill_in(f"{link}/withdrawal", reason="").status_code == 422
    told = told_after(quinn, quinn.fill_in(f"{link}/withdrawal", reason="it was VA-2"))
    assert "May be used" in told
    assert "it was VA-2" in told
    assert "fell from a ladder" in told
    assert quinn.fill_in(f"{link}/withdrawal", reason="once more").status_code == 422
    assert quinn.fill_in(f"{EVENTS}/9999/withdrawal", reason="none").status_code == 404


def test_a_number_that_is_none_is_told_by_what_it_is_of(served):
    quinn = served.signed_in("Quinn")
    for address, said in ((f"{EVENTS}/x", "no event 'x'"), (f"{CHECKS}/x", "no check 'x'")):
        for page in (quinn.get(address), quinn.fill_in(f"{address}/withdrawal", reason="none")):
            assert (page.status_code, said in text_of(page)) == (404, True)


def test_a_check_is_charted_with_the_limits_it_was_held_to(served):
    tom = served.signed_in("Tom")
    assert "VA-1: zero check passed" in told_after(tom, tom.fill_in(CHECKS, **ZERO))
    tom.fill_in(CHECKS, **(ZERO | {"value": "-0.01", "at": "2026-06-04T08:00+01:00"}))
    page = tom.get(CHECKS)
    assert page.text.count('<circle class="passed"') == 2
    assert page.text.count('<line class="limit"') == 4
    assert "zero: 2 checks, 0 failed" in text_of(page)
    (first, second) = [float(y) for y in re.findall(r'<circle class="passed" cx="[\d.]+" cy="([\d.]+)"', page.text)]
    assert first < second  # the greater value stands higher


def test_values_of_a_check_may_have_a_decimal_comma(served):
    tom = served.signed_in("Tom")
    comma = {name: value.replace(".", ",") for name, value in ZERO.items() if name in ("value", "low", "high")}
    assert "zero check passed" in told_after(tom, tom.fill_in(CHECKS, **(ZERO | comma)))


def test_a_failed_check_closes_the_gate_and_is_a_cross(served):
    tom = served.signed_in("Tom")
    told = told_after(tom, tom.fill_in(CHECKS, **(ZERO | {"value": "0.05"})))
    assert "zero check failed" in told
    assert re.search(r"may not be used from 2026-05-04 08:00( \(\+01:00\))? until it is recalibrated", told)
    page = tom.get(CHECKS)
    assert page.text.count('<line class="failed"') == 2
    assert "Do not use" in text_of(tom.get("/instruments/VA-1"))


@pytest.mark.parametrize(
    ("fields", "told"),
    [
        ({"value": "much"}, "finite number"),
        ({"low": ""}, "low"),
        ({"unit": "Pa"}, "one of"),
        ({"low": "1"}, "not below low"),
    ],
)
def test_what_is_wrong_with_a_check_is_said_beside_its_field(served, fields, told):
    answer = served.signed_in("Tom").fill_in(CHECKS, **(ZERO | fields))
    assert (answer.status_code, told in text_of(answer)) == (422, True)
    assert "is-wrong" in answer.text


def test_a_check_is_taken_back_by_qa(served):
    tom, quinn = served.signed_in("Tom"), served.signed_in("Quinn")
    tom.fill_in(CHECKS, **(ZERO | {"value": "0.05"}))
    (link,) = re.findall(rf'<a href="({CHECKS}/\d+)">', quinn.get(CHECKS).text)
    told = told_after(quinn, quinn.fill_in(f"{link}/withdrawal", reason="of another meter"))
    assert "of another meter" in told
    assert "May be used" in text_of(quinn.get("/instruments/VA-1"))


def test_script_in_reasons_and_remarks_is_text(served):
    tom, quinn = served.signed_in("Tom"), served.signed_in("Quinn")
    tom.fill_in(EVENTS, kind="move", reason=SCRIPT, location=SCRIPT)
    tom.fill_in(CHECKS, **ZERO, remarks=SCRIPT)
    (event,) = re.findall(rf'<a href="({EVENTS}/\d+)">', quinn.get(EVENTS).text)
    (check,) = re.findall(rf'<a href="({CHECKS}/\d+)">', quinn.get(CHECKS).text)
    for place in (EVENTS, CHECKS, event, check):
        answer = quinn.get(place)
        assert (answer.status_code, runs_nothing(answer), SCRIPT in answer.text) == (200, True, False)
        assert "<script>" in text_of(answer)


def test_nobody_who_is_not_signed_in_sees_them(served):
    for place in (EVENTS, CHECKS, f"{EVENTS}/1", f"{CHECKS}/1"):
        assert served.visitor().get(place).headers["location"].startswith("/sign-in")
