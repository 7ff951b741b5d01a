"""What somebody sends who wants the pages to stop or to fail: texts that take for ever, signs that are none, numbers without end,
pictures that are large once they are drawn, answers of a device that no device gave.

Sources: OWASP Application Security Verification Standard 4, chapters 5, 11 and 12; Unicode Standard Annex 15 (order of marks).
"""

import io
import json
import re
import threading
import time
import zlib
from concurrent.futures import ThreadPoolExecutor
from functools import partial
from itertools import product

import pytest
from PIL import Image

from calib.confirmation.authority import ACTS, ANYONE
from calib.faces.pages import photographs
from calib.faces.pages.frame.passwords import hash_of, is_password
from calib.faces.pages.frame.routes import address
from calib.procedures.fleet.photograph import MOST_PIXELS
from tests.folders import ledger_head
from tests.served import PASSWORD, PEOPLE

SOON = 5  # [s] of this process: what was tried took from 14 s to hours
OUTLET = "/jobs/J-1/outlets/S-2"
OF_ANYBODY_SIGNED_IN = {
    "/sign-out",
    "/jobs/{job:name}/report/revisions/check",  # of a file, which changes nothing
    "/labels",  # of instruments, likewise
    "/account/password",
    "/account/passkey",
    "/account/passkey/ask",
    "/account/passkey/remove",
}
HOSTILE = (
    "a\0b", "9" * 30, "\u00b2", "1e999999999", "nan", "A" * 3000, "m**9**9**9", "{0.__class__}", ";" * 500, "\r\nX: y", "/\u2603",
    "1e308;1e308", "0001-01-01T00:00:00+14:00",
)  # fmt: skip


def declared(served):
    """Every page: method and address."""
    return next(iter(served.application._inner.routes)).endpoint.func.__self__.pages  # noqa: SLF001


def at(form, /, **names):
    """An address of the small job with other names in it."""
    there = {"job": "J-1", "outlet": "S-2", "tag": "VA-1", "certificate": "C-101", "form": "pdf", "person": "Tom"}
    there |= (
        dict.fromkeys(("reading", "revision", "entry", "review"), "1")
        | dict.fromkeys(("digest", "key", "link", "scope"), "x")
        | names
    )
    return re.sub(r"\{(\w+)(?::\w+)?\}", lambda place: address("{}", there[place[1]]), form)


def holes(form):
    return re.findall(r"\{(\w+)(?::\w+)?\}", form)


def busy_for(work):
    """How long the process works at something [s], whatever else the machine does; and what it gives."""
    began = time.process_time()
    given = work()
    return time.process_time() - began, given


# --- who may -----------------------------------------------------------------------------------------------------------------


def test_every_change_of_the_records_says_whose_act_it_is(served):
    changes = {
        page.address for page in declared(served) if page.method == "POST" and page.act is None and not page.open_to_all
    }
    assert changes == OF_ANYBODY_SIGNED_IN


@pytest.mark.parametrize("name", PEOPLE)
def test_each_role_is_refused_each_address_that_is_not_theirs_and_no_other(served, name):
    visitor = served.signed_in(name)
    token = visitor.token
    for page in declared(served):
        if page.address == "/sign-out":
            continue
        roles = ANYONE if page.act is None else ACTS[page.act].roles
        is_theirs = roles is ANYONE or PEOPLE[name] in roles
        place = at(page.address)
        answer = visitor.get(place) if page.method == "GET" else visitor.fill_in(place, token=token)
        assert ("may not do this: it is for" in answer.text) is not is_theirs, page.address
        assert answer.status_code < 500, page.address


# --- texts that take for ever --------------------------------------------------------------------------------------------------


def test_a_password_of_very_many_marks_stops_nobody_else():
    kept = hash_of(PASSWORD)
    took, is_right = busy_for(lambda: is_password("a" + "\u0301\u0323" * 30_000, kept))
    assert (took < SOON, is_right) == (True, False)


def test_a_form_in_letters_of_its_own_is_refused_before_it_is_read(served):
    """Anybody may send one to /sign-in: in punycode 200 kB took half a minute, in which nobody else was served."""
    visitor = served.visitor()
    part = b'--x\r\nContent-Disposition: form-data; name="token"\r\n\r\n%s\r\n--x--\r\n'
    for charset in ("punycode", "unicode_escape", "utf-16", "latin-1", "no-such"):
        kind = {"Content-Type": f"multipart/form-data; boundary=x; charset={charset}"}
        for content in (b"b" * 150_000, b"\\ud800"):
            took, answer = busy_for(partial(visitor.post, "/sign-in", content=part % content, headers=kind))
            assert (took < SOON, answer.status_code, "not in UTF-8" in answer.text) == (True, 400, True), charset


def test_a_form_in_the_letters_of_all_browsers_is_taken(served):
    served.enrol("Tom")
    for charset in ("", "; charset=utf-8", "; charset=UTF-8"):
        visitor = served.visitor()
        kind = {"Content-Type": f"application/x-www-form-urlencoded{charset}", "Sec-Fetch-Site": "same-origin"}
        sent = f"token={visitor.token}&name=Tom&password={PASSWORD.replace(' ', '+')}"
        assert visitor.post("/sign-in", content=sent, headers=kind).status_code == 303, charset


# --- signs and numbers that are none ---------------------------------------------------------------------------------------------


def test_a_name_that_is_none_in_an_address_is_never_a_failure(served):
    tom = served.signed_in("Tom")
    token = tom.token
    for page in declared(served):
        for hole in holes(page.address):
            for hostile in HOSTILE[:6]:
                place = at(page.address, **{hole: hostile})
                answer = tom.get(place) if page.method == "GET" else tom.fill_in(place, token=token)
                assert answer.status_code in (303, 400, 403, 404, 409, 414, 422), (page.address, hole, hostile[:40])


def test_what_is_asked_for_behind_an_address_is_never_a_failure(served):
    tom = served.signed_in("Tom")
    asked = {
        "/": ("jobs",), "/sign-in": ("to",), "/instruments/VA-1": ("at", "job"), "/jobs/J-1": ("instrument",),
        OUTLET: ("reading", "refusal", "instrument", "unit"), f"{OUTLET}/traverse": ("values", "began", "client_key"),
        "/reviews": ("state", "instrument", "job", "sort"), "/intervals": ("after",),
        "/instruments/VA-1/interval": ("target", "judged"),
        "/jobs/J-1/kept": ("instrument",), "/jobs/J-1/limits": ("instrument",),
        "/fleet": ("text", "state", "within", "sort"), "/due": ("within", "on"), "/due/calendar": ("within", "on"),
        "/round": ("days", "on"), "/labels": ("text",), "/log": ("person", "kind", "since", "until", "before"),
        "/people": ("role", "on"),
        "/audit": ("of", "on"), "/jobs/J-1/report/revisions": ("first",), "/jobs/J-1/report/readings/1": ("wanted",),
    }  # fmt: skip
    for page, names in asked.items():
        for name, hostile in product(names, HOSTILE):
            answer = tom.get(page, params={name: hostile})
            assert answer.status_code in (200, 303, 400, 404, 409, 414, 422), (page, name, hostile[:40])


def test_what_is_typed_into_a_field_is_never_a_failure(served):
    tom = served.signed_in("Tom")
    token = tom.token
    right = {"client_key": "a key", "instrument": "VA-1", "unit": "m/s", "method": "sweep", "pass_1": "3.1"}
    more = ("conditions", "stage", "remarks", "averaging_s", "throttled_observations")
    for field, hostile in product((*right, *more), HOSTILE[::3]):
        answer = tom.fill_in(OUTLET, token=token, **right | {field: hostile})
        assert answer.status_code in (303, 400, 403, 404, 409, 422), (field, hostile[:40])


def test_signing_in_leads_where_it_was_wanted_whatever_signs_the_address_has(served):
    served.enrol("Tom")
    for to, wanted in (
        ("/\u2603", "/%E2%98%83"),
        ("/%E2%98%83", "/%E2%98%83"),
        ("/\u00e9?x=\u2603&y=1", "/%C3%A9?x=%E2%98%83&y=1"),
    ):
        answer = served.visitor().sign_in("Tom", to=to)
        assert (answer.status_code, answer.headers["location"]) == (303, wanted)


# --- answers of a device ---------------------------------------------------------------------------------------------------------


def answered(**response):
    """An answer of a device in the form in which a browser sends it."""
    return {"credential": {"id": "eA", "rawId": "eA", "type": "public-key", "response": response}}


ANSWERS = (
    None, [], "x", 1, {}, {"credential": None}, {"credential": []}, {"credential": {}}, {"credential": {"rawId": 1}},
    {"credential": {"id": "x", "rawId": "\ud800", "response": None, "type": "public-key"}},
    answered(clientDataJSON="eA", attestationObject="eA"), answered(clientDataJSON="bnVsbA", attestationObject="oA"),
    answered(clientDataJSON=1, authenticatorData={}, signature=[]),
    answered(clientDataJSON="W10", authenticatorData="eA", signature="eA"),
)  # fmt: skip


def test_an_answer_that_no_device_gave_lets_nobody_in_and_is_never_a_failure(served):
    served.enrol("Ed", link="a-link")
    tom = served.signed_in("Tom")
    token = {"Calib-Token": tom.token, "Sec-Fetch-Site": "same-origin"}
    for place, sent in product(("/passkey", "/account/passkey", "/enrol/a-link/passkey"), ANSWERS):
        assert tom.post(f"{place}/ask", json={}, headers=token).status_code == 200
        answer = tom.post(place, content=json.dumps(sent), headers=token | {"Content-Type": "application/json"})
        assert answer.status_code in (400, 403), (place, sent)
        assert "set-cookie" not in answer.headers
    assert served.credentials.passkeys_of("Tom") == served.credentials.passkeys_of("Ed") == []


# --- pictures --------------------------------------------------------------------------------------------------------------------


def picture(width, height):
    """A PNG of one colour, which is small however many pixels it has."""
    rows = zlib.compressobj(9)
    line = b"\0" * (1 + (width + 7) // 8)
    coded = b"".join(rows.compress(line) for _ in range(height)) + rows.flush()
    head = width.to_bytes(4, "big") + height.to_bytes(4, "big") + bytes([1, 0, 0, 0, 0])
    return b"\x89PNG\r\n\x1a\n" + b"".join(
        len(content).to_bytes(4, "big") + kind + content + zlib.crc32(kind + content).to_bytes(4, "big")
        for kind, content in ((b"IHDR", head), (b"IDAT", coded), (b"IEND", b""))
    )


@pytest.mark.parametrize(("width", "height"), [(20_000, 20_000), (20_001, 1), (1, 2**31 - 1)])
def test_a_small_file_that_is_a_huge_picture_is_refused_before_it_is_drawn(served, width, height):
    tom, before = served.signed_in("Tom"), ledger_head(served.records)
    bomb = picture(width, min(height, 20_000))
    bomb = bomb if height <= 20_000 else bomb.replace((20_000).to_bytes(4, "big"), height.to_bytes(4, "big"), 1)
    assert width * height > MOST_PIXELS or width > 20_000
    answer = tom.fill_in(f"{OUTLET}/photographs", files={"photograph": ("x.png", bomb, "image/png")}, about="")
    assert (answer.status_code, len(bomb) < 100_000) == (422, True)
    assert ledger_head(served.records) == before


def test_of_pictures_that_come_at_once_one_is_drawn_at_a_time(served, monkeypatch):
    """Each may need 200 MB while it is drawn."""
    inside, most = [], []
    drawn, noting = photographs.photograph, threading.Lock()

    def slowly(file):
        with noting:
            inside.append(file)
            most.append(len(inside))
        time.sleep(0.1)
        inside.remove(file)
        return drawn(file)

    monkeypatch.setattr(photographs, "photograph", slowly)
    coded = io.BytesIO()
    Image.new("RGB", (8, 8)).save(coded, "JPEG")
    visitors = [served.signed_in("Tom") for _ in range(4)]
    send = lambda tom: tom.fill_in(f"{OUTLET}/photographs", files={"photograph": ("x.jpg", coded.getvalue())}, about="")  # noqa: E731
    with ThreadPoolExecutor(4) as at_once:
        told = [answer.status_code for answer in at_once.map(send, visitors)]
    assert (len(told), max(most), set(told) <= {303, 422}) == (4, 1, True)
