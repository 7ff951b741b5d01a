"""`calib serve` and `calib person enrol`: what they ask for, what they print, and how they end."""

import json
import os
import re
import shutil
import signal
import ssl
import subprocess
import sys
import urllib.error
import urllib.request
from importlib.util import find_spec

import pytest

from tests.command import calib, done
from tests.missing import missing

if not find_spec("starlette"):
    missing("needs the extra: pip install 'calib[pages]'")
import httpx2

from tests.served import PASSWORD, put_on_server

STARTS_WITHIN = 120  # [s] on a busy machine


@pytest.fixture
def company(small_records):
    done(small_records, "person", "add", "Quinn", "--role", "QA", "--by", "Quinn")
    done(small_records, "person", "add", "Tom", "--role", "technician", "--by", "Quinn")
    return small_records


def served(records, *options):
    """A process that serves, and its address once it says so."""
    words = ["serve", "--records", str(records), "--port", "0", *options]
    process = subprocess.Popen(
        [sys.executable, "-c", "from calib.faces.cli import main; main()", *words], stderr=subprocess.PIPE, text=True
    )
    line = process.stderr.readline()
    return process, re.search(r"serving (\S+) until", line)[1] if "serving" in line else line


def ended(process, by=signal.SIGTERM):
    process.send_signal(by)
    _, said = process.communicate(timeout=STARTS_WITHIN)
    return process.returncode, said


@pytest.mark.skipif(os.name != "posix", reason="signals are those of POSIX")
@pytest.mark.parametrize("by", [signal.SIGTERM, signal.SIGINT])
def test_it_serves_this_machine_and_ends_cleanly_when_told_to(company, by):
    process, address = served(company)
    try:
        assert re.fullmatch(r"http://localhost:\d+", address)
        with urllib.request.urlopen(f"{address}/sign-in") as answer:  # noqa: S310 (its own)
            assert (answer.status, b"<h1>Sign in</h1>" in answer.read()) == (200, True)
    finally:
        assert ended(process, by) == (0, "")


@pytest.mark.skipif(os.name != "posix", reason="signals are those of POSIX")
def test_with_a_certificate_it_serves_by_https(company, tmp_path):
    file, key = tmp_path / "c.pem", tmp_path / "k.pem"
    own_certificate(file, key)
    process, address = served(company, "--certificate", str(file), "--key", str(key))
    try:
        assert address.startswith("https://localhost:")
        trusted = ssl.create_default_context(cafile=str(file))
        with urllib.request.urlopen(f"{address}/sign-in", context=trusted) as answer:  # noqa: S310 (its own)
            assert answer.headers["set-cookie"].startswith("__Host-calib=")
    finally:
        assert ended(process) == (0, "")


def page_of(address):
    with urllib.request.urlopen(address) as answer:  # noqa: S310 (its own)
        return answer.read().decode()


@pytest.mark.skipif(os.name != "posix", reason="signals are those of POSIX")
def test_records_on_a_server_are_served_to_each_person_by_their_login(server_with_logins, small_there, tmp_path):
    pages, file = put_on_server(server_with_logins, small_there), tmp_path / "credentials"
    process, address = served(pages, "--credentials", str(file))
    try:
        words = ("person", "enrol", "Tom", "--base-address", address, "--credentials", file)
        link = calib(*words, records=small_there).out.strip()
        with httpx2.Client(follow_redirects=True) as browser:
            token = re.search('name="token" content="([^"]*)"', browser.get(link).text)[1]
            words = {"token": token, "password": PASSWORD, "again": PASSWORD}
            answer = browser.post(link, data=words, headers={"Sec-Fetch-Site": "same-origin"})
        assert (answer.status_code, "<h1>Jobs</h1>" in answer.text, "Tom" in answer.text) == (200, True, True)
    finally:
        assert ended(process) == (0, "")


@pytest.mark.skipif(os.name != "posix", reason="signals are those of POSIX")
def test_the_demo_is_served_with_a_link_for_each_of_its_people(demo_folder, tmp_path):
    into = shutil.copytree(demo_folder, tmp_path / "demo")
    words = ["demo", "--serve", "--into", str(into), "--port", "0"]
    process = subprocess.Popen(
        [sys.executable, "-c", "from calib.faces.cli import main; main()", *words], stderr=subprocess.PIPE, text=True
    )
    links = {}
    try:
        while len(links) < 3 and (line := process.stderr.readline()):
            links |= dict(re.findall(r"^  (.*), \w+: (http://localhost:\d+/enrol/\S+)$", line))
        assert set(links) == {"I. Marlow", "S. Quill", "R. Sorrel"}
        for name, link in links.items():
            assert f"Welcome, {name}" in page_of(link)
    finally:
        assert ended(process)[0] == 0


def own_certificate(file, key):
    """A certificate for this machine that nobody else has signed."""
    from datetime import UTC, datetime, timedelta

    from cryptography import x509
    from cryptography.hazmat.primitives import hashes, serialization
    from cryptography.hazmat.primitives.asymmetric import ec

    private = ec.generate_private_key(ec.SECP256R1())
    name = x509.Name([x509.NameAttribute(x509.NameOID.COMMON_NAME, "localhost")])
    made = (
        x509.CertificateBuilder()
        .subject_name(name)
        .issuer_name(name)
        .public_key(private.public_key())
        .serial_number(1)
        .not_valid_before(datetime.now(UTC) - timedelta(days=1))
        .not_valid_after(datetime.now(UTC) + timedelta(days=1))
        .add_extension(x509.SubjectAlternativeName([x509.DNSName("localhost")]), critical=False)
        .sign(private, hashes.SHA256())
    )
    file.write_bytes(made.public_bytes(serialization.Encoding.PEM))
    key.write_bytes(
        private.private_bytes(
            serialization.Encoding.PEM, serialization.PrivateFormat.PKCS8, serialization.NoEncryption()
        )
    )


@pytest.mark.parametrize(
    ("options", "told"),
    [
        (["--lan"], "--lan: expected --certificate and --key, so that nobody reads passwords on the way"),
        (["--lan", "--unencrypted"], "--base-address: expected how other machines reach this one"),
        (["--certificate", "c.pem"], "expected --certificate and --key together"),
        (["--base-address", "calib.example"], "is no base address: write it like https://calib.example"),
        (["--base-address", "https://calib.example/under"], "is no base address"),
        (["--certificate", "none.pem", "--key", "none.pem"], "certificate and key cannot be used"),
    ],
)
def test_what_cannot_be_served_is_told_in_a_line(company, options, told):
    ran = calib("serve", "--port", "0", *options, records=company)
    assert (ran.status, told in ran.err, ran.err.count("\n")) == (2, True, 1)


def test_a_port_that_another_serves_is_told_in_a_line(company):
    import socket

    with socket.create_server(("127.0.0.1", 0)) as taken:
        ran = calib("serve", "--port", taken.getsockname()[1], records=company)
    assert (ran.status, "cannot be served" in ran.err) == (2, True)


def test_without_records_it_says_so(tmp_path):
    ran = calib("serve", "--port", "0", records=tmp_path / "none.sqlite")
    assert (ran.status, "no records at" in ran.err) == (2, True)


def test_records_on_a_server_need_a_file_of_credentials(small_there):
    ran = calib("serve", "--port", "0", records=small_there)
    assert (ran.status, "--credentials: expected a file of this machine" in ran.err) == (2, True)


@pytest.mark.parametrize("words", [["serve"], ["person", "enrol", "Tom"], ["demo", "--serve"]])
def test_without_the_extra_it_says_what_to_install(company, tmp_path, monkeypatch, words):
    monkeypatch.setitem(sys.modules, "starlette", None)
    for name in [name for name in sys.modules if name.startswith(("calib.faces.pages", "starlette."))]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.chdir(tmp_path)
    records = None if words[0] == "demo" else company
    ran = calib(*words, records=records)
    assert (ran.status, ran.err.count("\n")) == (2, 1)
    assert "pip install 'calib[pages]'" in ran.err


def test_enrolling_prints_a_link_once_for_each_time(company):
    first, second = (calib("person", "enrol", "Tom", records=company) for _ in range(2))
    assert first.status == 0
    assert re.fullmatch(r"http://localhost:8417/enrol/[\w-]{43}\n", first.out)
    assert first.out != second.out
    assert re.match(r"for Tom, once, until \d{4}-", first.err)
    assert (company.with_name(f"{company.name}.credentials").stat().st_mode & 0o777) == 0o600


def test_enrolling_takes_the_address_by_which_the_pages_are_reached(company):
    ran = calib("person", "enrol", "Tom", "--base-address", "https://calib.example", "--json", records=company)
    assert json.loads(ran.out)["link"].startswith("https://calib.example/enrol/")


@pytest.mark.parametrize(
    ("name", "told"), [("Nobody", "no person 'Nobody' in the records: there is Quinn, Tom"), ("", "no person ''")]
)
def test_who_is_not_on_record_is_not_enrolled(company, name, told):
    ran = calib("person", "enrol", name, records=company)
    assert (ran.status, told in ran.err) == (2, True)


def test_who_has_no_role_any_more_is_not_enrolled(company):
    done(company, "person", "role", "Tom", "--withdraw", "technician", "--reason", "left", "--by", "Quinn")
    ran = calib("person", "enrol", "Tom", records=company)
    assert (ran.status, "expected a person with a role" in ran.err) == (2, True)
