"""Signing in on a phone, in Debian's browser: by a link, a password, a passkey; by day and in the dark."""

from datetime import UTC, datetime

import pytest

from tests.accessible import violations_on
from tests.pages_browser import phone, scrolls_sideways, serving, small_targets, with_passkeys
from tests.served import PASSWORD, company

LIGHTS = ("light", "dark")


@pytest.fixture
def served(small_records, tmp_path):
    with company(small_records, tmp_path) as made, serving(made.engine, made.credentials) as address:
        yield made, address


def looked_at(page):
    """Every page fits on a phone and under a thumb, shuts nobody out, and its console says nothing."""
    assert violations_on(page) == []
    assert not scrolls_sideways(page)
    assert small_targets(page) == []
    assert lines_of_the_menu(page) <= 1
    assert page.said == []


def lines_of_the_menu(page):
    return page.evaluate("new Set([...document.querySelectorAll('nav a')].map(each => each.offsetTop)).size")


@pytest.mark.parametrize("light", LIGHTS)
def test_a_person_begins_by_a_link_signs_out_and_in_again(browser, served, light):
    made, address = served
    made.credentials.enrol("Tom", None, "abc", datetime.now(UTC))
    with phone(browser, address, light) as page:
        page.goto("/enrol/abc")
        looked_at(page)
        page.get_by_label("Password", exact=True).fill(PASSWORD)
        page.get_by_label("The same once more").fill(PASSWORD)
        page.get_by_role("button", name="Begin", exact=True).click()
        page.get_by_role("heading", name="Jobs").wait_for()
        looked_at(page)
        page.get_by_role("button", name="Sign out").click()
        page.get_by_label("Name").wait_for()
        looked_at(page)
        page.get_by_label("Name").fill("Tom")
        page.get_by_label("Password").fill("something else")
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.get_by_text("expected a name and a password that belong together").first.wait_for()
        assert page.get_by_label("Name").input_value() == "Tom"
        assert violations_on(page) == []
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.get_by_role("heading", name="Jobs").wait_for()


@pytest.mark.parametrize("light", LIGHTS)
def test_a_passkey_is_added_lets_in_without_a_name_and_is_removed(browser, served, light):
    made, address = served
    made.enrol("Tom")
    with phone(browser, address, light) as page:
        with_passkeys(page)
        page.goto("/account")
        page.get_by_label("Name").fill("Tom")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.get_by_label("Name of this device").fill("Tom's phone")
        page.get_by_role("button", name="Add a passkey").click()
        page.get_by_role("heading", name="Tom's phone").wait_for()
        looked_at(page)
        page.get_by_role("button", name="Sign out").click()
        page.get_by_role("button", name="Sign in with a passkey").click()
        page.get_by_role("heading", name="Jobs").wait_for()
        page.goto("/account")
        page.get_by_role("button", name="Remove Tom's phone").click()
        page.get_by_text("the passkey counts no longer").wait_for()
        page.get_by_role("button", name="Sign out").click()
        page.get_by_role("button", name="Sign in with a passkey").click()
        page.get_by_text("this passkey is not known here").wait_for()


def test_a_person_begins_by_a_passkey_alone(browser, served):
    made, address = served
    made.credentials.enrol("Tom", None, "abc", datetime.now(UTC))
    with phone(browser, address) as page:
        with_passkeys(page)
        page.goto("/enrol/abc")
        page.get_by_role("button", name="Begin with a passkey").click()
        page.get_by_role("heading", name="Jobs").wait_for()
    assert made.credentials.enrolled("Tom").password is None


def test_a_passkey_of_another_site_lets_nobody_in(browser, served):
    """A device whose key was made for another name than the one that is served shows nothing."""
    made, address = served
    made.enrol("Tom")
    with phone(browser, address.replace("localhost", "127.0.0.1")) as page:
        page.goto("/sign-in")
        with_passkeys(page)
        page.get_by_role("button", name="Sign in with a passkey").click()
        page.locator(".passkey [role=status]").filter(has_text=".").wait_for()
        assert page.url.endswith("/sign-in")


@pytest.mark.parametrize("width", [768, 1280])
def test_the_pages_shut_nobody_out_on_wider_screens(browser, served, width):
    made, address = served
    made.enrol("Tom")
    with phone(browser, address, width=width) as page:
        page.goto("/sign-in")
        assert violations_on(page) == []
        page.get_by_label("Name").fill("Tom")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in", exact=True).click()
        for place in ("/", "/account", "/nothing"):
            page.goto(place)
            assert violations_on(page) == []
            assert not scrolls_sideways(page)


def test_a_keyboard_alone_is_enough(browser, served):
    """From the address to the account and out again, by Tab, letters and Enter; what is touched is seen to be."""
    made, address = served
    made.enrol("Tom")
    with phone(browser, address) as page:
        page.goto("/account")

        def reach(name):
            for _ in range(20):
                page.keyboard.press("Tab")
                seen = page.evaluate(
                    "(() => { const at = document.activeElement, style = getComputedStyle(at);"
                    " return [at.innerText || (at.labels && at.labels[0].innerText) || '', style.outlineStyle]; })()"
                )
                if seen[0].startswith(name):
                    assert seen[1] != "none"
                    return
            raise AssertionError(name)

        reach("Name")
        page.keyboard.type("Tom")
        reach("Password")
        page.keyboard.type(PASSWORD)
        page.keyboard.press("Enter")
        page.get_by_role("heading", name="Tom").wait_for()
        reach("To the page")
        page.keyboard.press("Enter")
        assert page.evaluate("document.activeElement.id") == "page"
        page.goto("/account")
        reach("Sign out")
        page.keyboard.press("Enter")
        page.get_by_role("heading", name="Sign in").wait_for()


def test_without_script_a_person_signs_in_all_the_same(browser, served):
    made, address = served
    made.enrol("Tom")
    with phone(browser, address, java_script_enabled=False) as page:
        page.goto("/")
        assert page.get_by_role("button", name="Sign in with a passkey").is_hidden()
        page.get_by_label("Name").fill("Tom")
        page.get_by_label("Password").fill(PASSWORD)
        page.get_by_role("button", name="Sign in", exact=True).click()
        page.get_by_role("heading", name="Jobs").wait_for()
