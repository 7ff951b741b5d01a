"""Served pages in Debian's browser, driven as a person drives it: a phone's width, by day and in the dark.

Tests that need the browser are skipped where there is none, but never in CI.
"""

import threading
import time
from contextlib import contextmanager

import uvicorn

from calib.faces.pages.frame.application import application
from calib.faces.pages.frame.serve import THIS_MACHINE, bound
from calib.faces.pages.frame.served import Served
from tests.browser import NARROW, program
from tests.missing import missing
from tests.served import PASSWORD

HEIGHT = 844  # CSS pixels: of the same telephone
START = 60  # [s] at the longest


@contextmanager
def serving(engine, credentials, port=0, **settings):
    """The pages on a port of this machine, any that is free or a given one, served as `calib serve` does: their address."""
    listening = bound(THIS_MACHINE, port)
    address = f"http://localhost:{listening.getsockname()[1]}"
    app = application(Served(engine, credentials, address), **settings)
    server = uvicorn.Server(uvicorn.Config(app, lifespan="off", access_log=False, log_level="warning", ws="none"))
    thread = threading.Thread(target=server.run, kwargs={"sockets": [listening]}, daemon=True)
    thread.start()
    until = time.monotonic() + START
    while not server.started and time.monotonic() < until:
        time.sleep(0.02)
    try:
        yield address
    finally:
        server.should_exit = True
        thread.join(START)
        listening.close()


@contextmanager
def chromium(*words, env=None):
    """The browser, without a screen; further words of its command, and another environment than this one's."""
    try:
        from playwright.sync_api import sync_playwright
    except ImportError:
        missing("needs playwright, which drives a browser")
    path = program()
    with sync_playwright() as play:
        browser = play.chromium.launch(
            executable_path=path, args=["--no-sandbox", "--disable-dev-shm-usage", *words], env=env
        )
        try:
            yield browser
        finally:
            browser.close()


@contextmanager
def lasting_phone(browser, folder, address):
    """A page of a phone whose browser is closed in the end; a later one goes on with what stands in its folder."""
    context = browser.browser_type.launch_persistent_context(
        folder, executable_path=program(), args=["--no-sandbox", "--disable-dev-shm-usage"], base_url=address,
        viewport={"width": NARROW, "height": HEIGHT}, has_touch=True,
    )  # fmt: skip
    context.set_default_timeout(START * 1000)
    try:
        yield context.pages[0]
    finally:
        context.close()


@contextmanager
def phone(browser, address, light="light", width=NARROW, **settings):
    """A page of a phone; what it wrote to its console is held by `page.said`, and must be nothing in the end."""
    context = browser.new_context(
        base_url=address, viewport={"width": width, "height": HEIGHT}, color_scheme=light, has_touch=True, **settings
    )
    context.set_default_timeout(START * 1000)
    page = context.new_page()
    page.said = []
    page.on("console", lambda message: page.said.append(message.text))
    page.on("pageerror", lambda error: page.said.append(str(error)))
    try:
        yield page
    finally:
        context.close()


def sign_in(page, name="Tom", to="/sign-in"):
    """Sign in by the password, at an address that asks for it."""
    page.goto(to)
    give_password(page, name)


def give_password(page, name):
    """Sign in where it is asked for."""
    page.get_by_label("Name").fill(name)
    page.get_by_label("Password").fill(PASSWORD)
    page.get_by_role("button", name="Sign in", exact=True).click()


def scrolls_sideways(page):
    """Whether a page is wider than its window."""
    return page.evaluate("document.documentElement.scrollWidth > document.documentElement.clientWidth")


_SMALL = """
[...document.querySelectorAll('a, button, input:not([type=hidden]), select, textarea, summary')]
  .filter(each => each.checkVisibility() && !each.matches('p a, li p a, .skip, .tick input, .whole'))
  .map(each => ({box: each.getBoundingClientRect(), what: each.outerHTML.slice(0, 80)}))
  .filter(each => each.box.height < 44 || each.box.width < 44).map(each => each.what)
"""


def small_targets(page):
    """What is to be touched and is smaller than 44 CSS pixels, links within sentences left out (WCAG 2.2, 2.5.5)."""
    return page.evaluate(_SMALL)


def with_passkeys(page):
    """A device that makes passkeys and says that its owner is there (Chrome DevTools Protocol, WebAuthn); its number."""
    protocol = page.context.new_cdp_session(page)
    protocol.send("WebAuthn.enable")
    options = {
        "protocol": "ctap2", "transport": "internal", "hasResidentKey": True, "hasUserVerification": True,
        "isUserVerified": True, "automaticPresenceSimulation": True,
    }  # fmt: skip
    device = protocol.send("WebAuthn.addVirtualAuthenticator", {"options": options})["authenticatorId"]
    return protocol, device
