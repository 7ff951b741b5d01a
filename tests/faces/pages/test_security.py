"""What somebody tries who means no good: other sites' pages, stolen and planted cookies, addresses that are not theirs, odd hosts,
too much of everything, script in every text. Sources: OWASP Application Security Verification Standard 4, chapters 3, 4, 5, 13 and
14; RFC 6265bis; Fetch Metadata.
"""

import re
from datetime import UTC, datetime
from html import unescape
from html.parser import HTMLParser

import anyio
import pytest

from calib.faces.pages.frame import application, passwords
from calib.faces.pages.frame.application import token_of
from calib.faces.pages.frame.door import LARGEST_SENT
from calib.faces.pages.frame.routes import Document, Filled, Goto, Pages, address
from calib.faces.pages.frame.typeset import typeset
from calib.procedures.enter.import_sheets import import_row
from calib.procedures.people.authorise import append
from calib.procedures.people.persons_and_roles import WITHDRAWN, ChangeWanted, change_role
from calib.records import database, ledger
from calib.records.tables.methods import Method
from tests.conftest import SERVER
from tests.served import PASSWORD

SCRIPT = "<script>alert(1)</script>\"'><img src=x onerror=alert(1)>"
OPEN_TO_ALL = {
    "/sign-in", "/enrol/{link:name}", "/enrol/{link:name}/passkey", "/enrol/{link:name}/passkey/ask", "/passkey", "/passkey/ask",
    "/worker.js", "/without-network",
    "/still-signed-in",
}  # fmt: skip

tried = Pages()  # pages of the tests alone


@tried.shows("/tried/explodes")
def explodes(_visit):
    raise ZeroDivisionError("the combination of the safe is 4711")


@tried.shows("/tried/qa", act="accept", menu="For QA")
def for_qa(_visit):
    return Filled("told.html", {"told": ["of QA"], "status": 200}, title="of QA")


@tried.takes("/tried/qa", again=for_qa, act="accept")
def done_by_qa(_visit):
    return Goto("/tried/qa", said="done")


@tried.shows("/tried/named/{name:name}")
def named(_visit, name):
    return Filled("told.html", {"told": [name], "status": 200}, title=name)


@tried.takes("/tried/method")
def method_past_the_program(visit):
    """What no page should do: a record of QA's by whoever asks, without the program's own question."""
    record = Method(method="M", relative_standard_uncertainty_percent="1", basis="b")
    ledger.append_entries(visit.writing(), [record], visit.signature("test"))
    return Goto("/")


@tried.takes("/tried/method-by-the-program")
def method_by_the_program(visit):
    append(
        visit.writing(), [Method(method="M", relative_standard_uncertainty_percent="1", basis="b")], visit.signature()
    )
    return Goto("/")


@tried.takes("/tried/forged")
def signed_by_another(visit):
    """What no page should do: a record under another's name."""
    record = Method(method="N", relative_standard_uncertainty_percent="1", basis="b")
    ledger.append_entries(visit.writing(), [record], ledger.Signature("Quinn", visit.at, "test"))
    return Goto("/")


@tried.takes("/tried/small", largest=1_000)
def small(visit):
    return Document(len(visit.form["text"]))


@pytest.fixture
def served(served_with):
    return served_with(more=(tried,))


def declared(served):
    """Every page: method and address."""
    frame = next(route for route in served.application._inner.routes).endpoint.func.__self__  # noqa: SLF001
    return frame.pages


def filled(form):
    """An address with names in it that are nobody's."""
    return re.sub(r"\{\w+(:\w+)?\}", "x", form)


# --- forged requests -------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "headers",
    [
        {"Sec-Fetch-Site": "cross-site"},
        {"Sec-Fetch-Site": "same-site"},
        {"Sec-Fetch-Site": "none"},
        {"Sec-Fetch-Site": "same-origin", "Origin": "https://evil.example"},
        {"Sec-Fetch-Site": "same-origin", "Origin": "null"},
        {"Sec-Fetch-Site": "same-origin", "Origin": "http://localhost:9999"},
    ],
)
def test_a_page_of_another_site_changes_nothing(served, headers):
    quinn = served.signed_in("Quinn")
    answer = quinn.fill_in("/tried/qa", headers=headers)
    assert (answer.status_code, "page of another site" in answer.text) == (403, True)


def test_every_change_needs_the_token_of_its_own_session(served):
    quinn, tom, ed = (served.signed_in(name) for name in ("Quinn", "Tom", "Ed"))
    for page in declared(served):
        if page.method == "POST":
            may = ed if page.act == "issue" else quinn
            for token in ("", "x", "é", tom.token, token_of("")):
                answer = may.fill_in(filled(page.address), token=token)
                assert (answer.status_code, "too old" in answer.text) == (403, True), (page.address, token)


def test_a_page_of_no_browser_we_know_needs_the_token_all_the_same(served):
    quinn = served.signed_in("Quinn")
    assert quinn.post("/tried/qa", data={"token": "x"}).status_code == 403
    assert quinn.post("/tried/qa", data={"token": quinn.token}).status_code == 303


def test_what_is_shown_changes_by_no_get(served):
    quinn = served.signed_in("Quinn")
    for page in declared(served):
        if page.method == "POST" and not any(
            other.method == "GET" and other.address == page.address for other in declared(served)
        ):
            assert quinn.get(filled(page.address)).status_code == 405, page.address


# --- sessions --------------------------------------------------------------------------------------------------------------------


def test_a_cookie_that_was_planted_before_signing_in_is_worth_nothing_after(served):
    served.enrol("Tom")
    victim, planted = served.visitor(), "planted-by-somebody-who-means-no-good"
    victim.cookies.set("calib", planted, domain="localhost.local", path="/")
    assert victim.sign_in("Tom").status_code == 303
    thief = served.visitor()
    thief.cookies.set("calib", planted)
    assert thief.get("/account").status_code == 303
    assert served.credentials.signed_in(planted, datetime.now(UTC)) is None


def test_each_session_has_a_secret_of_its_own(served):
    secrets = {served.signed_in("Tom").cookies["calib"] for _ in range(3)}
    assert len(secrets) == 3
    assert all(len(secret) >= 43 for secret in secrets)  # 32 random bytes


def test_the_cookie_is_shown_to_no_script_and_to_no_other_site(served):
    served.enrol("Tom")
    cookie = served.visitor().sign_in("Tom").headers["set-cookie"]
    assert {"HttpOnly", "Path=/", "SameSite=lax"} <= set(cookie.split("; "))


def test_by_https_the_cookie_is_secure_and_of_this_host_alone(served_with):
    served = served_with(address="https://calib.example")
    served.enrol("Tom")
    answer = served.visitor().sign_in("Tom")
    cookie = answer.headers["set-cookie"]
    assert cookie.startswith("__Host-calib=")
    assert {"HttpOnly", "Path=/", "SameSite=lax", "Secure"} <= set(cookie.split("; "))
    assert "Domain" not in cookie
    assert answer.headers["strict-transport-security"] == "max-age=31536000"


@pytest.mark.parametrize(
    "to",
    [
        "//evil.example",
        "https://evil.example",
        "/\\evil.example",
        "javascript:alert(1)",
        "\\\\evil",
        "/\tevil",
        "/\r\nX: y",
        "evil",
    ],
)
def test_signing_in_leads_to_no_other_site(served, to):
    served.enrol("Tom")
    assert served.visitor().sign_in("Tom", to=to).headers["location"] == "/"


def test_signing_in_leads_where_it_was_wanted(served):
    served.enrol("Tom")
    visitor = served.visitor()
    asked = visitor.get("/tried/named/A%2FB%20%C3%A9?x=1")
    assert asked.headers["location"].startswith("/sign-in?to=")
    assert (
        "/tried/named/A%2FB%20%C3%A9?x=1"
        in re.search(r'name="to" value="([^"]*)"', visitor.get(asked.headers["location"]).text)[1]
    )


# --- who may see what ------------------------------------------------------------------------------------------------------------


def test_what_is_open_to_all_is_what_nobody_has_to_sign_in_for(served):
    assert {page.address for page in declared(served) if page.open_to_all} == OPEN_TO_ALL


def test_nobody_reaches_any_other_page_without_signing_in(served):
    visitor = served.visitor()
    for page in declared(served):
        if not page.open_to_all:
            answer = (
                visitor.get(filled(page.address)) if page.method == "GET" else visitor.fill_in(filled(page.address))
            )
            assert (answer.status_code, answer.headers.get("location", "").partition("?")[0]) == (303, "/sign-in"), (
                page.address
            )
            sent = visitor.post(filled(page.address), json={}, headers={"Calib-Token": visitor.token})
            assert page.method == "GET" or sent.status_code == 401, page.address


@pytest.mark.parametrize(("name", "may"), [("Quinn", True), ("Ed", False), ("Tom", False)])
def test_a_page_of_one_role_is_refused_to_the_others_and_stands_not_in_their_menu(served, name, may):
    visitor = served.signed_in(name)
    assert visitor.get("/tried/qa").status_code == (200 if may else 403)
    assert visitor.fill_in("/tried/qa").status_code == (303 if may else 403)
    assert ("For QA" in visitor.get("/").text) is may


def test_the_program_refuses_a_technician_what_a_technician_may_not(served):
    answer = served.signed_in("Tom").fill_in("/tried/method-by-the-program")
    assert (answer.status_code, "a person who may put an instrument or a method on record" in text_of(answer)) == (
        403,
        True,
    )


@pytest.mark.parametrize("place", ["/tried/method", "/tried/forged"])
def test_a_server_refuses_it_itself_where_a_page_went_past_the_program(served, backend, place):
    """A file knows no logins: there the program's own door is all there is, which no page goes past."""
    answer = served.signed_in("Tom").fill_in(place)
    assert answer.status_code == (403 if backend == SERVER else 303)
    assert backend != SERVER or "the login's roles do not allow it" in text_of(answer)


def test_whoever_has_no_role_any_more_is_signed_out_at_once(served):
    tom = served.signed_in("Tom")
    with database.writing(
        database.acting_as(served.engine, served.credentials.enrolled("Tom").login and "quinn")
    ) as session:
        change_role(
            session,
            ChangeWanted("Tom", "technician", WITHDRAWN, "left"),
            ledger.Signature("Quinn", datetime.now(UTC), "role"),
        )
    assert tom.get("/").headers["location"].startswith("/sign-in")
    assert tom.sign_in("Tom").status_code == 422


# --- hosts, sizes, addresses -----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "host", ["evil.example", "localhost:8417.evil.example", "evil@localhost:8417", "localhost", "localhost:80", ""]
)
def test_another_host_is_not_served(served, host):
    answer = served.visitor().get("/sign-in", headers={"Host": host})
    assert (answer.status_code, "evil" in answer.text) == (421, False)


def test_a_host_that_a_proxy_is_said_to_have_seen_is_not_believed(served):
    headers = {"X-Forwarded-Host": "evil.example", "Forwarded": "host=evil.example"}
    answer = served.visitor().get("/", headers=headers)
    assert answer.headers["location"].startswith("/sign-in")
    assert "evil" not in served.visitor().get("/sign-in", headers=headers).text


def test_more_than_is_taken_is_refused_whatever_was_said_of_its_size(served):
    tom = served.signed_in("Tom")
    assert tom.fill_in("/account/password", before="x" * (LARGEST_SENT + 1)).status_code == 413

    def chunks(size=LARGEST_SENT + 1):
        for _ in range(size // 1000 + 1):
            yield b"x" * 1000

    kind = {"Content-Type": "application/x-www-form-urlencoded"}
    assert tom.post("/account/password", content=chunks(), headers=kind).status_code == 413
    assert tom.post("/passkey", content=chunks(), headers={"Content-Type": "application/json"}).status_code == 413
    assert tom.fill_in("/tried/small", text="x" * 2_000).status_code == 413
    assert tom.post("/tried/small", content=chunks(2_000), headers=kind).status_code == 413
    assert tom.fill_in("/tried/small", text="x" * 500).text == "500"


def test_somebody_whom_nobody_knows_is_sent_to_sign_in_without_more_being_read_than_is_taken(served):
    asked = []

    async def receive():
        asked.append(1_000_000)
        return {"type": "http.request", "body": bytes(asked[-1]), "more_body": True}

    told = []

    async def send(message):
        told.append(message)

    scope = {
        "type": "http", "method": "POST", "path": "/tried/small", "raw_path": b"/tried/small", "query_string": b"",
        "headers": [(b"host", b"localhost:8417")], "http_version": "1.1", "scheme": "http", "client": ("192.0.2.1", 1),
    }  # fmt: skip
    anyio.run(served.application, scope, receive, send)
    assert told[0]["status"] == 303
    assert sum(asked[:-1]) < 50_200_000  # [byte], of the largest file that a page takes and its form


def test_forms_that_are_none_and_forms_of_very_many_parts_are_refused(served):
    tom = served.signed_in("Tom")
    many = {f"f{number}": "x" for number in range(2_000)}
    assert tom.fill_in("/account/password", **many).status_code in (400, 403)
    assert tom.fill_in("/account/password", files={f"f{number}": b"x" for number in range(50)}).status_code == 400
    for kind in ("text/plain", "multipart/form-data", "multipart/form-data; boundary=", "application/json"):
        answer = tom.post("/account/password", content=b"[" * 100_000, headers={"Content-Type": kind})
        assert answer.status_code in (400, 403), kind


@pytest.mark.parametrize(
    "place",
    [
        "/assets/../../../etc/passwd", "/assets/x/calib.css", "/assets/x/..%2f..%2f__init__.py", "/%2e%2e/%2e%2e/etc/passwd",
        "/assets/x/%00", "/tried", "/tried/named/", "/.git/config", "/nothing%0d%0aX-Evil:%20y",
    ],
)  # fmt: skip
def test_an_address_that_is_none_leads_nowhere(served, place):
    answer = served.signed_in("Tom").get(place)
    assert answer.status_code == 404
    assert "root:" not in answer.text


@pytest.mark.parametrize("name", ["LM 27/2", "..%2f", "a?b#c", "{x}", "naïve ☃", SCRIPT, "%", "+"])
def test_a_name_in_an_address_is_itself(served, name):
    answer = served.signed_in("Tom").get(address("/tried/named/{}", name))
    assert (answer.status_code, name in text_of(answer)) == (200, True)


def test_an_address_without_end_is_refused(served):
    assert served.visitor().get("/sign-in?to=" + "x" * 10_000).status_code == 414


# --- what a browser is told ------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("place", ["/sign-in", "/", "/nothing", "/tried/explodes", "/enrol/x", "/assets/x/y"])
def test_every_answer_tells_the_browser_to_run_nothing_of_others(served, place):
    headers = served.signed_in("Tom").get(place).headers
    policy = dict(part.split(" ", 1) for part in headers["content-security-policy"].split("; "))
    assert policy["default-src"] == policy["frame-ancestors"] == policy["base-uri"] == "'none'"
    assert policy["script-src"] == policy["style-src"] == policy["form-action"] == "'self'"
    assert (headers["x-content-type-options"], headers["x-frame-options"], headers["referrer-policy"]) == (
        "nosniff",
        "DENY",
        "same-origin",
    )
    assert headers["cache-control"] == "no-store"


def test_assets_are_kept_for_good_since_their_address_changes_with_them(served):
    visitor = served.visitor()
    style = re.search(r'<link rel="stylesheet" href="([^"]*)">', visitor.get("/sign-in").text)[1]
    answer = visitor.get(style)
    assert (answer.status_code, answer.headers["content-type"]) == (200, "text/css; charset=utf-8")
    assert answer.headers["cache-control"] == "public, max-age=31536000, immutable"


def test_a_page_that_fails_says_so_in_a_line_and_nothing_of_why(served, caplog):
    answer = served.signed_in("Tom").get("/tried/explodes")
    assert answer.status_code == 500
    assert "this page failed: whoever runs the program finds the reason in its log" in answer.text
    assert not re.search("4711|ZeroDivision|Traceback|File ", answer.text)
    assert "4711" in caplog.text


# --- script in texts -------------------------------------------------------------------------------------------------------------


class _Tags(HTMLParser):
    def __init__(self):
        super().__init__()
        self.scripts, self.handlers, self.text = [], [], []

    def handle_starttag(self, tag, attrs):
        self.scripts += [dict(attrs).get("src")] if tag == "script" else []
        self.handlers += [name for name, _ in attrs if name.startswith("on") or name == "style"] + (
            [tag] if tag == "img" else []
        )

    def handle_data(self, data):
        self.text.append(data)


def read(answer):
    tags = _Tags()
    tags.feed(answer.text)
    return tags


def text_of(answer):
    return "".join(read(answer).text)


def as_read(line):
    """A line of a command as a page shows it."""
    return unescape(re.sub("<[^>]*>", "", typeset(line)))


def runs_nothing(answer):
    tags = read(answer)
    return not tags.handlers and all(script and script.startswith("/assets/") for script in tags.scripts)


def test_script_in_what_is_recorded_is_text_on_every_page(served):
    quinn_s = served.signed_in("Quinn")
    login = served.credentials.enrolled("Quinn").login
    cells = {"job": SCRIPT, "title": SCRIPT, "site": SCRIPT, "client": SCRIPT, "decision_rule": "simple"}
    with database.writing(database.acting_as(served.engine, login)) as session:
        import_row(
            session,
            "jobs.csv",
            cells,
            ledger.Signature("Quinn", datetime.now(UTC), "job add"),
            datetime.now(UTC),
            sure=True,
        )
    for page in declared(served):
        if page.method == "GET":
            answer = quinn_s.get(filled(page.address))
            assert runs_nothing(answer), page.address
    assert SCRIPT in text_of(quinn_s.get("/"))


def test_script_in_what_is_sent_is_text_in_the_answer(served):
    visitor = served.visitor()
    for answer in (
        visitor.get("/sign-in", params={"to": SCRIPT}),
        visitor.get(address("/enrol/{}", SCRIPT)),
        visitor.get(address("/{}", SCRIPT)),
        visitor.sign_in(SCRIPT, SCRIPT, to=SCRIPT),
        served.signed_in("Tom").get(address("/tried/named/{}", SCRIPT)),
    ):
        assert runs_nothing(answer)


# --- guessing --------------------------------------------------------------------------------------------------------------------


@pytest.fixture
def no_time_passes(monkeypatch):
    """However long a busy machine takes."""
    now = datetime.now(UTC).replace(microsecond=0)
    monkeypatch.setattr(application, "clock", lambda: now)


@pytest.mark.usefixtures("no_time_passes")
def test_who_guesses_has_to_wait_even_with_the_right_password(served):
    served.enrol("Tom")
    visitor = served.visitor()
    told = [visitor.sign_in("Tom", "wrong password").status_code for _ in range(5)]
    assert told == [422] * 4 + [403]
    answer = visitor.sign_in("Tom", PASSWORD)
    assert (answer.status_code, "too many tries: wait" in answer.text) == (403, True)


@pytest.mark.usefixtures("no_time_passes")
def test_who_guesses_many_names_is_stopped_by_their_address(served):
    visitor = served.visitor()
    told = [visitor.sign_in(f"Name {number}", "wrong password").status_code for number in range(25)]
    assert told == [422] * 20 + [403] * 5


@pytest.mark.usefixtures("no_time_passes")
def test_who_found_an_open_session_guesses_the_password_no_faster(served):
    tom = served.signed_in("Tom")
    told = [tom.fill_in("/account/password", before="wrong", password="x", again="x").status_code for _ in range(5)]  # noqa: S106
    assert told == [422] * 4 + [403]


def test_a_name_that_is_not_there_costs_as_many_hashes_as_one_that_is(served, monkeypatch):
    served.enrol("Tom", link="of Tom")
    served.credentials.use_link("of Tom", datetime.now(UTC), passwords.hash_of(PASSWORD))
    served.enrol("Ed", link="not used")
    counted = []
    verify = passwords._HASHER.verify  # noqa: SLF001

    class Counting:
        hash = passwords._HASHER.hash  # noqa: SLF001

        @staticmethod
        def verify(kept_hash, password):
            counted.append(kept_hash.split("$")[3])
            return verify(kept_hash, password)

    monkeypatch.setattr(passwords, "_HASHER", Counting)
    for name in ("Tom", "Nobody", "Ed", ""):
        served.visitor().sign_in(name, "wrong password")
    assert counted == ["m=19456,t=2,p=1"] * 4


# --- what is kept ----------------------------------------------------------------------------------------------------------------


def test_the_file_of_credentials_is_its_owners_alone_and_holds_no_secret(served, tmp_path):
    tom = served.signed_in("Tom")
    served.enrol("Ed", link="a link that was not used")
    file = tmp_path / "credentials"
    assert file.stat().st_mode & 0o777 == 0o600
    content = file.read_bytes()
    for secret in (PASSWORD, tom.cookies["calib"], "a link that was not used", tom.token):
        assert secret.encode() not in content
