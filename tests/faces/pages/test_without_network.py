"""Work without network in Debian's browser, at the width of a phone: pages that were opened, readings that are sent later."""

import json
import re
import time
from collections import Counter
from contextlib import ExitStack, contextmanager
from datetime import UTC, datetime, timedelta
from http.server import BaseHTTPRequestHandler, ThreadingHTTPServer
from threading import Thread

import pytest

from calib.errors import UnreachableError
from calib.faces.pages import without_network
from calib.faces.pages.frame import application
from calib.faces.pages.frame.served import Asset, assets
from calib.procedures.enter.withdraw_reading import withdraw_reading
from calib.procedures.fleet.record_event import record_event
from calib.records import database
from calib.records.ledger import Signature
from calib.records.tables.entries import SentEntry
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading
from tests.accessible import violations_on
from tests.conftest import FILE, SERVER
from tests.folders import all_of
from tests.mortal_server import mortal
from tests.pages_browser import give_password, lasting_phone, phone, scrolls_sideways, serving, sign_in, small_targets

S_2 = "/jobs/J-1/outlets/S-2"
AS_OF = re.compile(r"As of \d\d:\d\d, without network")
PAGES_KEPT = """async () => {
  const names = (await caches.keys()).filter(name => name.startsWith("pages"));
  const kept = await Promise.all(names.map(async name => (await caches.open(name)).keys()));
  return kept.flat().map(each => new URL(each.url).pathname);
}"""
ASSETS_KEPT = "async () => (await caches.keys()).filter(name => name.startsWith('assets'))"
OUTLETS = {f"/jobs/J-1/outlets/{outlet}" for outlet in ("S-1", "S-2", "R-1", "E-1")}


@pytest.fixture
def address(served):
    """The address at which it is served to Tom and Ed, who have a password."""
    for name in ("Tom", "Ed"):
        served.enrol(name)
    with serving(served.engine, served.credentials) as address:
        yield address


def signed_in(page, to="/jobs/J-1", name="Tom"):
    sign_in(page, name, to)
    page.get_by_text(name, exact=True).wait_for()


def wait_for_script(page, function, timeout=60):
    """Wait until a function says so in the page, which may be another one in the next moment."""
    until = time.monotonic() + timeout
    while time.monotonic() < until:
        if page.evaluate(function):
            return
        time.sleep(0.1)
    raise AssertionError(page.evaluate(PAGES_KEPT))


def opened_job(page, name="Tom"):
    """Sign in, open the job, and wait until its pages are kept."""
    signed_in(page, name=name)
    wanted = json.dumps([*OUTLETS, "/", "/unsent", "/jobs/J-1"])
    wait_for_script(
        page,
        f"async () => {{ const kept = await ({PAGES_KEPT})(); return {wanted}.every(each => kept.includes(each)); }}",
    )


def type_reading(page, *values, outlet="S-2"):
    page.goto(f"/jobs/J-1/outlets/{outlet}")
    fill_in(page, *values)


def fill_in(page, *values):
    """Fill in the form of an outlet that is open."""
    for count, value in enumerate(values, start=1):
        page.get_by_label(f"Pass {count}").fill(value)
    page.get_by_role("button", name="Keep the reading").click()


@contextmanager
def answering(content, port=0):
    """A server that answers whatever it is asked with a page; its address."""

    class Answering(BaseHTTPRequestHandler):
        def do_GET(self):
            self.send_response(200)
            self.send_header("Content-Type", "text/html")
            self.end_headers()
            self.wfile.write(content)

        do_POST = do_GET  # noqa: N815 (so the library calls it)

        def log_message(self, *_):
            pass

    with ThreadingHTTPServer(("127.0.0.1", port), Answering) as server:
        Thread(target=server.serve_forever, daemon=True).start()
        yield f"http://127.0.0.1:{server.server_address[1]}"
        server.shutdown()


def told(page, words):
    page.locator("#page").get_by_text(words).first.wait_for()


def on_record(served, table=SentEntry):
    with database.reading(served.records) as session:
        return [row.model_dump() for row in all_of(session, table)]


def usable(page):
    assert not scrolls_sideways(page)
    assert small_targets(page) == []
    assert violations_on(page) == []


# --- pages -----------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("backend", "light"), [(FILE, "light"), (SERVER, "dark")], indirect=["backend"])
def test_a_reading_typed_without_network_is_sent_when_there_is_network(browser, served, address, light):
    with phone(browser, address, light) as page:
        opened_job(page)
        page.context.set_offline(True)
        page.goto("/jobs/J-1")
        page.get_by_text(AS_OF).wait_for()
        usable(page)
        type_reading(page, "3.10", "3.12")
        page.wait_for_url("**/unsent")
        told(page, "3.10; 3.12 m/s")
        page.get_by_text("1 reading not sent").wait_for()
        usable(page)
        page.get_by_role("link", name="Go on with J-1").click()
        page.get_by_text("1 reading not sent").first.wait_for()
        assert "not sent" in page.locator(".card", has_text="S-2").inner_text()
        page.goto("/")
        page.get_by_text("1 reading not sent").wait_for()
        assert on_record(served) == []
        page.context.set_offline(False)  # the page is told that there is network
        page.get_by_text("1 reading answered").wait_for()
        (sent,) = on_record(served)
        page.get_by_text("1 reading answered").click()
        told(page, f"reading {sent['record_id']}, S-2:")
        usable(page)
        page.get_by_role("button", name="I have seen").click()
        told(page, "No reading of yours waits")
        assert page.locator(".unsent").is_hidden()


def test_an_instrument_is_not_said_to_be_ready_without_saying_as_of_when(browser, served, address):
    with phone(browser, address) as page:
        opened_job(page)
        page.goto("/instruments/VA-1")
        page.get_by_text("May be used").wait_for()
        assert page.get_by_text(AS_OF).count() == 0
        wait_for_script(page, f"async () => (await ({PAGES_KEPT})()).includes('/instruments/VA-1')")
        now = datetime.now(UTC)
        with served.writing_as("Quinn") as session:
            record_event(session, "VA-1", "suspension", now, "dropped", Signature("Quinn", now, "event add"))
        page.context.set_offline(True)
        page.reload()
        page.get_by_text("May be used").wait_for()
        page.get_by_text(AS_OF).wait_for()
        page.context.set_offline(False)
        page.reload()
        page.get_by_text("Do not use").wait_for()
        assert page.get_by_text(AS_OF).count() == 0


def test_meters_are_changed_and_looked_up_without_network_and_digits_compared_with_what_would_pass(
    browser, served, address
):
    with phone(browser, address) as page:
        opened_job(page)
        wait_for_script(page, f"async () => (await ({PAGES_KEPT})()).filter(each => each === '{S_2}').length > 2")
        page.context.set_offline(True)
        page.goto("/instruments/VA-2")
        page.get_by_text("May be used").wait_for()
        page.get_by_text(AS_OF).wait_for()
        page.goto(S_2)
        page.locator("summary", has_text="Photographs").click()
        told(page, "To keep a photograph needs the network")
        told(page, "to correct it needs the network")
        assert page.locator("form[data-photograph]").count() == 0
        page.locator("summary", has_text="Another meter").click()
        page.get_by_label("Tag of the meter").fill("VA-2")
        page.get_by_role("button", name="Take this meter").click()
        page.get_by_text(AS_OF).wait_for()
        compared = page.locator(".compared")
        for values, said in (
            (("640", "700"), "Pass 2: outside what would pass"),
            (("640", "641"), "Each pass is within"),
        ):
            for count, value in enumerate(values, start=1):
                page.get_by_label(f"Pass {count}").fill(value)
            compared.get_by_text(said).wait_for()
        assert re.search(r"63\d\.\d to 66\d\.\d fpm, as of \d\d:\d\d\. The server decides\.$", compared.inner_text())
        usable(page)
        page.evaluate("document.querySelectorAll('details').forEach(each => { each.open = true; })")
        page.get_by_label("Unit that the meter shows").select_option("m/s")
        assert compared.inner_text() == ""
        page.get_by_label("Unit that the meter shows").select_option("fpm")
        page.get_by_role("button", name="Keep the reading").click()
        page.wait_for_url("**/unsent")
        page.context.set_offline(False)
        told(page, "On record")
        page.goto(S_2)
        assert page.locator(".compared").inner_text() == ""
        assert page.locator("form[data-photograph]").count() == 1
    assert on_record(served, Reading)[-1]["observations"] == "640;641"


def test_before_the_first_reading_of_an_outlet_its_form_says_what_would_pass(browser, served, address):
    with served.writing_as("Tom") as session:
        number = next(each.id for each in all_of(session, Reading) if each.indication == "2.52")
        withdraw_reading(session, "J-1", number, "another grille", Signature("Tom", datetime.now(UTC), "test"))
    with phone(browser, address) as page:
        opened_job(page)
        page.goto("/jobs/J-1/outlets/E-1")
        # 40 L/s through a valve of 160 mm with the factor 0.80 are 490 fpm; within 20 % less a guard of half of that it would pass
        told(page, re.compile(r"4[2-4]\d\.\d to 5[2-4]\d\.\d fpm would pass"))
        page.goto(S_2)
        assert page.locator(".compared").inner_text() == ""


def test_a_page_that_was_never_opened_says_that_there_is_no_network(browser, address):
    with phone(browser, address) as page:
        opened_job(page)
        page.context.set_offline(True)
        page.goto("/account")
        told(page, "There is no network")
        told(page, "Traverses, corrections, photographs and openings need the network")
        usable(page)
        page.get_by_role("link", name="To the jobs").click()
        page.get_by_text(AS_OF).wait_for()


def test_after_signing_out_no_page_is_kept(browser, address):
    with phone(browser, address) as page:
        opened_job(page)
        page.get_by_role("button", name="Sign out").click()
        page.get_by_label("Password").wait_for()
        assert page.evaluate(PAGES_KEPT) == []
        page.context.set_offline(True)
        page.goto("/jobs/J-1")
        told(page, "There is no network")


def test_a_page_for_another_meter_is_not_answered_with_the_one_for_the_meter_before(browser, address):
    with phone(browser, address) as page:
        opened_job(page)
        page.context.set_offline(True)
        page.goto("/jobs/J-1/outlets/S-2")
        page.get_by_text(AS_OF).wait_for()
        page.goto("/jobs/J-1/outlets/S-2?instrument=VA-9")
        told(page, "has not kept this page")


def test_who_signs_out_without_network_is_told_that_the_session_lives_and_loses_no_page(browser, address):
    with phone(browser, address) as page:
        opened_job(page)
        page.context.set_offline(True)
        page.get_by_role("button", name="Sign out").click()
        told(page, "You are still signed in")
        usable(page)
        page.goto("/jobs/J-1")
        page.get_by_text(AS_OF).wait_for()
        page.context.set_offline(False)
        page.goto("/jobs/J-1")
        page.get_by_role("button", name="Sign out").click()
        page.get_by_label("Password").wait_for()
        assert page.evaluate(PAGES_KEPT) == []


def test_a_form_that_needs_the_network_is_not_kept(browser, address):
    with phone(browser, address) as page:
        opened_job(page)
        page.goto("/jobs/J-1/outlets/S-2/opening")
        page.get_by_role("heading").first.wait_for()
        page.context.set_offline(True)
        page.goto("/jobs/J-1/outlets/S-2/opening")
        told(page, "has not kept this page")


def test_a_session_that_ended_on_the_server_leaves_no_page(browser, served, address):
    with phone(browser, address) as page:
        opened_job(page)
        served.credentials.end_sessions("Tom")
        page.goto("/jobs/J-1")
        page.get_by_label("Password").wait_for()
        wait_for_script(page, f"async () => (await ({PAGES_KEPT})()).length === 0")


def test_an_old_worker_never_serves_a_new_server(browser, served, monkeypatch):
    served.enrol("Tom")
    with ExitStack() as opened:
        with serving(served.engine, served.credentials) as address:
            page = opened.enter_context(phone(browser, address))
            opened_job(page)
            (old,) = page.evaluate(ASSETS_KEPT)
        page.goto("/jobs/J-1")
        page.get_by_text(AS_OF).wait_for()
        opened.callback(without_network._worker.cache_clear)  # noqa: SLF001
        named = assets()
        named["phone.css"] = Asset("phone.css", named["phone.css"].content + b"h1 { letter-spacing: 7px; }")
        for module in (application, without_network):
            monkeypatch.setattr(module, "assets", lambda: named)
        without_network._worker.cache_clear()  # noqa: SLF001 (a new server is another process)
        with serving(served.engine, served.credentials, port=int(address.rpartition(":")[2])):
            page.goto("/jobs/J-1")
            assert is_of_new_version(page)
            assert page.get_by_text(AS_OF).count() == 0
            wait_for_script(
                page,
                f"async () => {{ const kept = await ({ASSETS_KEPT})(); return kept.length === 1 && kept[0] !== '{old}'; }}",
            )
            page.goto("/jobs/J-1")
            wait_for_script(page, f"async () => (await ({PAGES_KEPT})()).includes('/jobs/J-1')")
        page.goto("/jobs/J-1")
        page.get_by_text(AS_OF).wait_for()
        assert is_of_new_version(page)


def is_of_new_version(page):
    return page.locator("h1").evaluate("h1 => getComputedStyle(h1).letterSpacing") == "7px"


# --- readings --------------------------------------------------------------------------------------------------------------------


def test_readings_stand_in_the_phone_though_the_browser_is_closed(browser, served, address, tmp_path):
    with lasting_phone(browser, tmp_path / "browser", address) as page:
        opened_job(page)
        page.context.set_offline(True)
        type_reading(page, "3.10", "3.12")
        told(page, "3.10; 3.12 m/s")
    assert on_record(served) == []
    with lasting_phone(browser, tmp_path / "browser", address) as page:
        page.goto("/unsent")
        told(page, "On record")
    assert len(on_record(served)) == 1


def asked_back(page):
    """Type a reading without network of which the server asks, once there is network, whether it is right."""
    opened_job(page)
    page.context.set_offline(True)
    type_reading(page, "3.10", "6.50")
    page.wait_for_url("**/unsent")
    page.context.set_offline(False)
    told(page, "is that right?")


def test_what_is_unusual_is_asked_when_it_is_sent(browser, served, address):
    with phone(browser, address) as page:
        asked_back(page)
        usable(page)
        assert on_record(served) == []
        page.get_by_role("button", name="It is right: keep it").click()
        told(page, "On record")
    assert len(on_record(served)) == 1


@pytest.mark.parametrize("backend", [FILE, SERVER], indirect=True)
def test_of_two_phones_at_one_outlet_the_second_is_shown_what_the_first_one_sent(browser, served, address):
    with phone(browser, address) as first, phone(browser, address) as second:
        for page, name, values in ((first, "Tom", ("3.10", "3.12")), (second, "Ed", ("3.14", "3.16"))):
            opened_job(page, name)
            page.context.set_offline(True)
            type_reading(page, *values)
            page.wait_for_url("**/unsent")
        first.context.set_offline(False)
        told(first, "On record")
        second.context.set_offline(False)
        told(second, "another reading stands there meanwhile")
        (of_first,) = on_record(served)
        told(second, f"reading {of_first['record_id']}, S-2:")
        usable(second)
        second.get_by_role("button", name="Keep mine too").click()
        told(second, "On record")
    assert len(on_record(served)) == 2


def test_two_readings_of_one_outlet_by_one_person_are_no_conflict(browser, served, address):
    with phone(browser, address) as page:
        opened_job(page)
        page.context.set_offline(True)
        for values in (("3.10", "3.12"), ("3.14", "3.16")):
            type_reading(page, *values)
            page.wait_for_url("**/unsent")
            time.sleep(1.1)  # of one second they would be one
        page.get_by_text("2 readings not sent").wait_for()
        page.context.set_offline(False)
        page.get_by_text("2 readings answered").wait_for()
    assert len(on_record(served)) == 2


def test_whoever_takes_the_phone_sees_the_number_alone_and_sends_nothing(browser, served, address):
    with phone(browser, address) as page:
        opened_job(page)
        page.context.set_offline(True)
        type_reading(page, "3.10", "3.12")
        page.wait_for_url("**/unsent")
        served.credentials.end_sessions("Tom")
        page.context.set_offline(False)
        told(page, "Sign in, and they are sent")
        signed_in(page, "/jobs/J-1", "Ed")
        page.get_by_text("1 reading of another person not sent").wait_for()
        page.goto("/unsent")
        told(page, "No reading of yours waits")
        assert "3.10" not in page.inner_text("body")
        assert on_record(served) == []
        page.get_by_role("button", name="Sign out").click()
        page.get_by_label("Password").wait_for()
        signed_in(page, "/unsent", "Tom")
        told(page, "On record")
    assert len(on_record(served)) == 1


def test_signing_out_with_readings_that_are_not_sent_warns(browser, address):
    with phone(browser, address) as page:
        asked = []
        page.on("dialog", lambda dialog: (asked.append(dialog.message), dialog.dismiss()))
        opened_job(page)
        page.context.set_offline(True)
        type_reading(page, "3.10", "3.12")
        page.wait_for_url("**/unsent")
        page.get_by_role("button", name="Sign out").click()
        page.get_by_text("1 reading not sent").wait_for()
        wait_until = time.monotonic() + 30
        while not asked and time.monotonic() < wait_until:
            page.wait_for_timeout(100)
        assert "1 reading not sent" in asked[0]
        assert page.url.endswith("/unsent")
        assert page.evaluate(PAGES_KEPT) != []


def test_a_file_rescues_what_was_not_sent(browser, served, address, tmp_path):
    with phone(browser, address) as page:
        opened_job(page)
        page.context.set_offline(True)
        type_reading(page, "3.10", "3.12")
        page.wait_for_url("**/unsent")
        with page.expect_download() as download:
            page.get_by_role("button", name="Save them as a file").click()
        download.value.save_as(tmp_path / "not-sent.json")
    (entry,) = json.loads((tmp_path / "not-sent.json").read_text())["entries"]
    assert (entry["person"], entry["outlet"], entry["fields"]["pass_2"]) == ("Tom", "S-2", "3.12")
    with phone(browser, address) as page:  # another device
        signed_in(page, "/unsent")
        page.locator("summary", has_text="Readings from a file").click()
        page.get_by_label("File").set_input_files(tmp_path / "not-sent.json")
        page.get_by_role("button", name="Send what is in it").click()
        told(page, "On record")
        usable(page)
    assert len(on_record(served)) == 1


def test_what_was_asked_back_is_changed_on_the_phone_and_is_one_reading(browser, served, address):
    with phone(browser, address) as page:
        asked_back(page)
        page.context.set_offline(True)
        change(page, "6.50", "6.60")
        page.wait_for_url("**/unsent")
        told(page, "3.10; 6.60 m/s")
        page.get_by_text("1 reading not sent").wait_for()
        page.context.set_offline(False)
        told(page, "is that right?")
        (entry,) = page.evaluate("() => queue.entries()")
        change(page, "6.60", "3.12")
        page.wait_for_url(re.compile(r"reading=\d"))
        assert page.evaluate("() => queue.entries()") == []
    (sent,) = on_record(served)
    assert sent["client_key"] == entry["client_key"]
    reading = on_record(served, Reading)[-1]
    assert reading["observations"] == "3.10;3.12"
    observed = datetime.fromisoformat(reading["observed_at"]) + timedelta(seconds=int(sent["clock_offset_s"]))
    assert observed == datetime.fromisoformat(entry["fields"]["observed_at"])


def change(page, before, after):
    """Change the second pass of the reading that was asked back, in its form."""
    page.get_by_role("link", name="Change it").click()
    told(page, "is that right?")
    second = page.get_by_label("Pass 2")
    assert (page.get_by_label("Pass 1").input_value(), second.input_value()) == ("3.10", before)
    usable(page)
    second.fill(after)
    page.get_by_role("button", name="Keep the reading").click()


def test_a_reading_typed_when_the_session_has_ended_is_kept_and_sent_after_signing_in(browser, served, address):
    with phone(browser, address) as page:
        opened_job(page)
        page.goto(S_2)
        served.credentials.end_sessions("Tom")
        fill_in(page, "3.10", "3.12")
        page.wait_for_url("**/sign-in*")
        page.get_by_text("1 reading not sent: sign in").wait_for()
        give_password(page, "Tom")
        told(page, "On record")
    assert [each["observations"] for each in on_record(served, Reading)][-1] == "3.10;3.12"


def test_a_reading_that_a_stranger_answers_is_kept(browser, served):
    served.enrol("Tom")
    with ExitStack() as opened:
        with serving(served.engine, served.credentials) as address:
            page = opened.enter_context(phone(browser, address))
            opened_job(page)
            page.goto(S_2)
        port = int(address.rpartition(":")[2])
        with answering(b"Welcome to our network", port):
            fill_in(page, "3.10", "3.12")
            page.wait_for_url("**/unsent")
        with serving(served.engine, served.credentials, port=port):
            page.goto("/unsent")
            told(page, "On record")
    assert len(on_record(served)) == 1


def test_what_another_site_sends_is_no_reading(browser, served, address):
    with phone(browser, address) as page, answering(b"<p>Another site") as elsewhere:
        opened_job(page)
        page.goto(elsewhere)
        fields = {"instrument": "VA-1", "pass_1": "9", "person": "Tom", "known": "[]", "client_key": "k"}
        page.evaluate(
            """([address, fields]) => {
              const form = Object.assign(document.createElement("form"), {method: "post", action: address});
              for (const [name, value] of Object.entries(fields))
                form.append(Object.assign(document.createElement("input"), {name, value}));
              document.body.append(form);
              form.submit();
            }""",
            [f"{address}{S_2}", fields],
        )
        page.wait_for_url(f"{address}/**")
        page.goto(f"{address}/unsent")
        told(page, "No reading of yours waits")
    assert on_record(served) == []


def test_a_remark_in_the_phone_is_text(browser, address):
    with phone(browser, address) as page:
        opened_job(page)
        page.context.set_offline(True)
        page.goto(S_2)
        page.get_by_label("Pass 1").fill("<img src=x onerror=alert(1)>")
        page.get_by_role("button", name="Keep the reading").click()
        told(page, "<img src=x onerror=alert(1)>")
        assert page.locator("#page img").count() == 0


def test_a_reading_stays_in_the_phone_while_the_records_do_not_answer(browser, served, address, monkeypatch):
    def gone(*_):
        raise UnreachableError("postgresql://host/records: the connection was lost; nothing was written")

    with phone(browser, address) as page:
        opened_job(page)
        page.goto(S_2)
        with monkeypatch.context() as patched:
            patched.setattr(database, "reading", gone)
            type_reading(page, "3.10", "3.12")
            page.wait_for_url("**/unsent")
            page.get_by_text(re.compile(r"As of \d\d:\d\d, while the records do not answer")).wait_for()
            page.get_by_text("1 reading not sent").wait_for()
            page.goto("/jobs/J-1/outlets/S-2?reading=1")  # never kept
            told(page, "the records do not answer just now: nothing was written; try again in a minute")
            usable(page)
        page.get_by_role("link", name="Try again").click()
        page.goto("/unsent")
        told(page, "On record")
        assert len(on_record(served)) == 1


# --- a server that is killed -----------------------------------------------------------------------------------------------------


def test_a_reading_that_was_written_when_the_server_died_is_sent_again_and_is_one(browser, served, tmp_path):
    served.enrol("Tom")
    path = tmp_path / "credentials"
    with mortal(served.location, path, tmp_path) as server, phone(browser, server.address) as page:
        opened_job(page)
        server.dies_before_the_next_answer()
        type_reading(page, "3.10", "3.12")
        server.await_death()
        page.wait_for_url("**/unsent")
        page.get_by_text("1 reading not sent").wait_for()
        assert len(on_record(served)) == 1
        server.start()
        page.get_by_role("button", name="Send them now").click()
        told(page, "On record")
        (sent,) = on_record(served)
        told(page, f"reading {sent['record_id']}, S-2:")
    with database.reading(served.records) as session:
        outlets = Counter(session.get(Outlet, row.outlet_id).outlet for row in all_of(session, Reading))
    assert outlets["S-2"] == 2  # the one of the job, and this one
