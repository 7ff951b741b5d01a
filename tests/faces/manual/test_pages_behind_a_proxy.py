"""What `calib help pages` shows for a machine of a company: its unit and its proxy are taken from the page and run.

Sources: systemd.exec(5) and systemd-analyze(1); the manual of nginx; WebAuthn, 5.1.3 (the origin that a device signs).
"""

import base64
import hashlib
import re
import socket
import subprocess
from datetime import UTC, datetime
from importlib.util import find_spec
from urllib.parse import quote

import pytest

from tests.behind_proxy import DROP_IN, NAME, PAGE, PATIENCE, UNIT, BehindProxy, program, put_in_place, setting
from tests.missing import missing

if not find_spec("starlette"):
    missing("needs the extra: pip install 'calib[pages]'")
import httpx2
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from calib.faces.pages.frame.passwords import hash_of
from calib.procedures.fleet.photograph import LARGEST_PHOTOGRAPH
from tests.command import copied
from tests.pages_browser import chromium, phone, with_passkeys
from tests.served import PASSWORD, put_on_record


@pytest.fixture(scope="module")
def company(_small, tmp_path_factory):
    """A company whose pages are set up as the page says."""
    folder = tmp_path_factory.mktemp("company")
    records = copied(_small, folder / "calibration.sqlite")
    put_on_record(records)
    made = BehindProxy(records, folder)
    for name in ("Tom", "Quinn"):
        made.credentials.enrol(name, None, f"link-of-{name}", datetime.now(UTC))
    made.credentials.use_link("link-of-Tom", datetime.now(UTC), hash_of(PASSWORD))
    with made.running():
        yield made


@pytest.fixture(autouse=True)
def this_machine_has_the_name(monkeypatch):
    asked = socket.getaddrinfo
    monkeypatch.setattr(
        socket,
        "getaddrinfo",
        lambda host, *words, **named: asked("127.0.0.1" if host == NAME else host, *words, **named),
    )


class Browser(httpx2.Client):
    """A browser of somebody outside, by way of the proxy."""

    def __init__(self, company, **headers):
        super().__init__(base_url=company.address, verify=company.trusted, headers=headers, timeout=PATIENCE)

    def fill_in(self, place, headers=None, **fields):
        token = re.search('name="token" content="([^"]*)"', self.get("/sign-in").text)[1]
        said = {"Sec-Fetch-Site": "same-origin"} | (headers or {})
        return self.post(place, data={"token": token} | fields, headers=said)

    def sign_in(self, password=PASSWORD, name="Tom", headers=None):
        return self.fill_in("/sign-in", headers, name=name, password=password)


# --- the unit --------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("with_server", [False, True])
def test_systemd_finds_nothing_wrong_with_the_unit(tmp_path, with_server):
    places = {"/opt/calib/bin/calib": program("true", "coreutils")}
    (tmp_path / "calib.service").write_text(put_in_place(UNIT, **places))
    if with_server:
        (tmp_path / "calib.service.d").mkdir()
        (tmp_path / "calib.service.d" / "override.conf").write_text(put_in_place(DROP_IN, **places))
    words = [program("systemd-analyze", "systemd"), "verify", "--man=no", str(tmp_path / "calib.service")]
    ran = subprocess.run(words, capture_output=True, text=True, check=False)
    said = [line for line in ran.stderr.splitlines() if "calib" in line]
    assert (ran.returncode, said) == (0, [])


def test_the_unit_is_of_a_user_who_may_write_in_one_folder_alone():
    assert (setting("User"), setting("ProtectSystem"), setting("StateDirectory")) == ("calib", "strict", "calib")
    assert setting("CapabilityBoundingSet") == ""


def test_on_a_server_the_pages_come_by_their_own_login_with_a_file_of_credentials():
    first, command = re.findall("^ExecStart=(.*)$", DROP_IN, re.MULTILINE)
    assert first == ""
    assert "postgresql://calib_pages@" in command
    assert "--credentials /var/lib/calib/" in command
    assert command.endswith(setting("ExecStart").partition("--base-address")[2])


# --- the proxy -------------------------------------------------------------------------------------------------------------------


def test_nginx_finds_nothing_wrong_with_the_proxy(tmp_path):
    made = BehindProxy(tmp_path / "calibration.sqlite", tmp_path)
    made.make_certificate()
    ran = made.make_site()
    assert (ran.returncode, re.findall(r"\[(?:warn|emerg|error)\].*", ran.stderr)) == (0, [])


def test_who_comes_unencrypted_is_sent_to_https(company):
    answer = httpx2.get(f"http://{NAME}:{company.unencrypted}/jobs/A%2FB?x=1")
    assert (answer.status_code, answer.headers["location"]) == (301, f"{company.address}/jobs/A%2FB?x=1")


def test_a_person_signs_in_and_the_cookie_comes_back_by_https_alone(company):
    with Browser(company) as tom:
        answer = tom.sign_in()
        assert answer.status_code == 303
        cookie = answer.headers["set-cookie"]
        assert cookie.startswith("__Host-calib=")
        assert {"Secure", "HttpOnly", "SameSite=lax", "Path=/"} <= set(cookie.split("; "))
        assert answer.headers["strict-transport-security"] == "max-age=31536000"
        page = tom.get("/")
        assert (page.status_code, "<h1>Jobs</h1>" in page.text) == (200, True)
        assert page.headers["content-security-policy"].startswith("default-src 'none'")
        assert page.headers["server"] == "nginx"


def test_a_name_with_a_slash_comes_through_whole(company):
    with Browser(company) as tom:
        tom.sign_in()
        answer = tom.get(f"/jobs/{quote('A/B //c', safe='')}")
        assert (answer.status_code, "A/B //c" in answer.text) == (404, True)


def test_a_page_of_another_site_changes_nothing_and_one_of_its_own_does(company):
    with Browser(company) as tom:
        tom.sign_in()
        for headers in (
            {"Origin": "https://evil.example"},
            {"Origin": f"http://{NAME}:{company.port}"},
            {"Origin": f"https://{NAME}"},  # another port
            {"Sec-Fetch-Site": "cross-site"},
            {"X-Forwarded-Host": "evil.example", "Origin": "https://evil.example"},
            {"X-Forwarded-Proto": "http", "Origin": f"http://{NAME}:{company.port}"},
        ):
            answer = tom.fill_in("/sign-out", headers)
            assert (answer.status_code, "page of another site" in answer.text) == (403, True), headers
        assert tom.post("/sign-out", headers={"Origin": company.address}, data={"token": "x"}).status_code == 403
        assert tom.fill_in("/sign-out", {"Origin": company.address}).status_code == 303


@pytest.mark.parametrize(
    "headers",
    [
        {"X-Forwarded-Host": "evil.example", "X-Forwarded-Proto": "http", "X-Forwarded-Port": "80"},
        {"Forwarded": "for=192.0.2.1;host=evil.example;proto=http"},
        {"X-Original-URL": "/account", "X-Rewrite-URL": "/account", "X-HTTP-Method-Override": "POST"},
    ],
)
def test_what_a_visitor_says_of_host_and_scheme_leads_nowhere_else(company, headers):
    with Browser(company, **headers) as visitor:
        answer = visitor.get("/sign-in/")  # the one address that the frame makes whole by itself
        assert (answer.status_code, answer.headers["location"]) == (307, f"{company.address}/sign-in")
        assert (visitor.get("/").status_code, visitor.get("/sign-in").text.count("evil")) == (303, 0)


@pytest.mark.parametrize("host", ["evil.example", f"{NAME}.evil.example", "127.0.0.1", NAME])
def test_another_host_is_not_served(company, host):
    with Browser(company) as visitor:
        answer = visitor.get("/sign-in", headers={"Host": host})
        assert (answer.status_code, "evil" in answer.text) == (421, False)


def test_who_guesses_is_one_address_whatever_they_say_of_it(company):
    with Browser(company) as visitor:
        told = []
        while (
            len(told) < 60 and told[-3:] != [403] * 3
        ):  # whoever waited long enough, on a slow machine, is let try once again
            claimed = {"X-Forwarded-For": f"198.51.100.{len(told)}"}
            told.append(visitor.sign_in("wrong", f"Name {len(told)}", claimed).status_code)
        assert (told[:5], told[-3:]) == ([422] * 5, [403] * 3)
        said = {"X-Forwarded-For": "203.0.113.9, 127.0.0.1", "X-Real-IP": "::1"}
        assert "too many tries" in visitor.sign_in("wrong", "Nobody", said).text
    company.forget_tries()


def test_a_photograph_passes_and_more_is_refused_at_the_door(company):
    with Browser(company) as visitor:
        place = "/jobs/J/outlets/S1/photographs"
        photographed = visitor.post(place, files={"photograph": b"x" * LARGEST_PHOTOGRAPH})
        assert (photographed.status_code, photographed.headers["location"]) == (303, "/sign-in?to=%2F")
        assert visitor.post(place, files={"photograph": b"x" * 17_000_000}).status_code == 413


def test_no_page_is_compressed(company):
    """Its length would tell what of an address is a part of the token too (the attack BREACH, 2013)."""
    with Browser(company, **{"Accept-Encoding": "gzip"}) as visitor:
        assert "content-encoding" not in visitor.get("/sign-in").headers


def test_no_one_time_link_stands_in_the_log(company):
    with Browser(company) as visitor:
        assert "Welcome, Quinn" in visitor.get("/enrol/link-of-Quinn").text
        visitor.get("/sign-in?asked-for=the-log")
    assert "link-of-Quinn" not in company.log_up_to("asked-for=the-log")


def test_a_passkey_is_made_and_lets_in_by_the_name_that_browsers_know(company):
    """The device signs the origin that the browser shows: the program takes the one of the base address alone."""
    read = x509.load_pem_x509_certificate(company.certificate.read_bytes())
    key = read.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    trusted = base64.b64encode(hashlib.sha256(key).digest()).decode()
    words = (f"--host-resolver-rules=MAP {NAME} 127.0.0.1", f"--ignore-certificate-errors-spki-list={trusted}")
    with chromium(*words) as browser, phone(browser, company.address) as page:
        with_passkeys(page)
        page.goto("/account")
        page.get_by_label("Name").fill("Tom")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.get_by_label("Name of this device").fill("Tom's phone")
        page.get_by_role("button", name="Add a passkey").click()
        page.get_by_role("heading", name="Tom's phone").wait_for()
        page.get_by_role("button", name="Sign out").click()
        page.get_by_role("button", name="Sign in with a passkey").click()
        page.get_by_role("heading", name="Jobs").wait_for()
        assert page.said == []


# --- what it says ----------------------------------------------------------------------------------------------------------------


def test_it_says_plainly_what_whoever_takes_over_the_process_can_do():
    assert "Whoever takes over the process of the pages can act as anyone granted to it" in " ".join(PAGE.split())
