"""QA's desk in Debian's browser: each page shuts nobody out, by day and in the dark, and is as wide as its window."""

import re

import pytest

from tests.accessible import violations_on
from tests.faces.pages.test_certificates import type_certificate
from tests.faces.pages.test_look import luminance
from tests.faces.pages.test_report_desk import shuts_nobody_out
from tests.pages_browser import phone, scrolls_sideways, serving, sign_in, small_targets
from tests.served import PASSWORD, company

PLACES = (
    "/fleet",
    "/fleet?kind=vane&sort=due&within=90",
    "/instruments/VA-1/history",
    "/instruments/VA-1/certificates/C-101",
    "/instruments/VA-1/certificate-in",
    "/instruments/VA-1/events",
    "/instruments/VA-1/checks",
)
OF_QA = (
    "/records", "/log?person=Quinn", "/people?role=QA", "/people/Tom", "/grants", "/people/Tom/roles", "/people/Tom/competences",
    "/company", "/audit", "/audit?of=J-1", "/due?within=365", "/round?days=365", "/labels", "/people/Tom/link",
)  # fmt: skip


@pytest.fixture
def address(small_records, tmp_path):
    with company(small_records, tmp_path) as made, serving(made.engine, made.credentials) as served:
        made.enrol("Quinn")
        made.enrol("Tom")
        yield served


def at_the_desk(page, name="Quinn"):
    sign_in(page, name)
    page.get_by_role("heading", name="Jobs").wait_for()


@pytest.mark.parametrize(("width", "light"), [(390, "dark"), (768, "light"), (1280, "dark"), (1280, "light")])
def test_a_page_of_the_desk_shuts_nobody_out(browser, address, width, light):
    with phone(browser, address, light, width) as page:
        at_the_desk(page)
        for place in PLACES:
            page.goto(place)
            shuts_nobody_out(page, place)


def test_the_fleet_is_filtered_and_sorted_without_script_and_a_link_shows_the_same(browser, address):
    with phone(browser, address, width=1280, java_script_enabled=False) as page:
        at_the_desk(page)
        page.get_by_role("link", name="Fleet").click()
        page.get_by_label("Kind").fill("vane")
        page.get_by_role("button", name="Show").click()
        page.get_by_role("link", name="Due on").click()
        shown = page.locator("tbody th").all_inner_texts()
        assert shown == ["VA-1", "VA-2"]
        page.goto(page.url)
        assert page.locator("tbody th").all_inner_texts() == shown
        page.get_by_role("link", name="VA-1").first.click()
        page.get_by_role("heading", name="VA-1").wait_for()


@pytest.mark.parametrize(("width", "light"), [(390, "dark"), (768, "light"), (1280, "dark")])
def test_qa_has_people_records_log_and_rounds_there_and_nobody_is_shut_out(browser, address, width, light):
    """Each page once: what it says has tests of its own, without a browser."""
    with phone(browser, address, light, width) as page:
        at_the_desk(page)
        for place in OF_QA:
            page.goto(place)
            shuts_nobody_out(page, place)
            assert small_targets(page) == [], place
        page.get_by_label("Password of Quinn").fill(PASSWORD)  # on the last of them
        page.get_by_role("button", name="Make the link").click()
        page.get_by_role("img", name="The link as a QR code").wait_for()
        shuts_nobody_out(page)


def test_a_person_is_put_on_record_and_authorised_by_the_keyboard_without_script(browser, address):
    with phone(browser, address, width=1280, java_script_enabled=False) as page:
        at_the_desk(page)
        page.get_by_role("link", name="Records").press("Enter")
        page.get_by_role("link", name="People").press("Enter")
        page.get_by_label("Name", exact=True).fill("Nora")
        page.get_by_role("checkbox", name="technician").press("Space")
        page.get_by_role("button", name="Put on record").press("Enter")
        page.get_by_text("added Nora: technician").wait_for()
        page.get_by_role("link", name="Record a competence").press("Enter")
        page.get_by_label("What the person may do").fill("duct traverses")
        page.get_by_role("button", name="Record it").press("Enter")
        page.get_by_role("rowheader", name="duct traverses").wait_for()


def test_pages_print_without_form_and_menu_in_dark_letters_whatever_the_device_asks_for(browser, address):
    with phone(browser, address, "dark", width=1280) as page:
        at_the_desk(page)
        page.emulate_media(media="print")
        page.goto("/audit?of=J-1")
        assert_printed(page, "job J-1, asked on", "Sign out", "Keep it as PDF", "As of the day", "Answer")
        page.goto("/labels")
        assert_printed(page, "VA-1", "Sign out", "A sheet to print", "Any cell holds")
        assert page.get_by_role("checkbox").count() == 0
        assert luminance_of_letters(page) < 0.1


def assert_printed(page, word, *left_out):
    shown = page.locator("body").inner_text()
    assert word in shown
    assert [each for each in left_out if each in shown] == []


def luminance_of_letters(page):
    """Of the body's text, 0 to 1 (as in tests/faces/pages/test_look.py)."""
    colour = page.evaluate("getComputedStyle(document.body).color")  # like rgb(30, 40, 50)
    return luminance("#" + "".join(f"{int(part):02x}" for part in re.findall(r"\d+", colour)))


@pytest.mark.parametrize(("width", "light"), [(768, "dark"), (1280, "light")])
def test_a_certificate_is_typed_seen_and_accepted_by_another_person_without_script(browser, address, width, light):
    with phone(browser, address, light, width, java_script_enabled=False) as page:
        at_the_desk(page, "Tom")
        page.goto("/instruments/VA-1/history")
        page.get_by_role("link", name="A certificate comes in").click()
        type_certificate(page)
        page.get_by_text("nothing is written yet").wait_for()
        assert not scrolls_sideways(page)
        page.get_by_role("button", name="Record it").click()
        page.get_by_role("heading", name="Certificate C-901").wait_for()
        page.get_by_role("button", name="Sign out").click()
        at_the_desk(page)
        page.goto("/instruments/VA-1/certificates/C-901")
        page.get_by_role("button", name="Accept it").click()
        page.get_by_text("certificate C-901 accepted on").wait_for()


@pytest.mark.parametrize("light", ["light", "dark"])
def test_what_would_be_recorded_shuts_nobody_out(browser, address, light):
    with phone(browser, address, light, 1280) as page:
        at_the_desk(page, "Tom")
        page.goto("/instruments/VA-1/certificate-in")
        type_certificate(page, indication_2="three")
        page.get_by_text("row 2, indication").wait_for()
        assert violations_on(page) == []
        page.locator('[name="indication_2"]').fill("3.02")
        page.get_by_role("button", name="Show what it says").click()
        page.get_by_text("nothing is written yet").wait_for()
        assert violations_on(page) == []


@pytest.mark.parametrize(("width", "light"), [(768, "dark"), (1280, "light")])
def test_a_check_and_damage_are_recorded_and_taken_back_without_script(browser, address, width, light):
    with phone(browser, address, light, width, java_script_enabled=False) as page:
        at_the_desk(page)
        page.goto("/instruments/VA-1/history")
        page.get_by_role("link", name="Intermediate checks").click()
        for name, value in (("Value", "0.05"), ("Low", "-0.02"), ("High", "0.02")):
            page.get_by_label(name.lower(), exact=True).fill(value)
        page.get_by_role("button", name="Record it").click()
        page.get_by_text("zero check failed").wait_for()
        assert page.locator(".check-line .failed").count() == 2
        assert not scrolls_sideways(page)
        page.goto("/instruments/VA-1/events")
        page.get_by_label("What happened").select_option("damage")
        page.get_by_label("Reason").fill("fell from a ladder")
        page.get_by_role("button", name="Record it").click()
        page.get_by_role("cell", name="fell from a ladder").wait_for()
        page.locator("tbody a").first.click()
        page.get_by_label("Why it was recorded wrongly").fill("it was VA-2")
        page.get_by_role("button", name="Take it back").click()
        page.get_by_role("cell", name="it was VA-2").wait_for()


@pytest.mark.parametrize("light", ["light", "dark"])
def test_a_chart_and_what_is_taken_back_shut_nobody_out(browser, address, light):
    with phone(browser, address, light, 1280) as page:
        at_the_desk(page)
        page.goto("/instruments/VA-1/checks")
        for name, value in (("value", "0.05"), ("low", "-0.02"), ("high", "0.02")):
            page.get_by_label(name, exact=True).fill(value)
        page.get_by_role("button", name="Record it").click()
        page.get_by_text("zero check failed").wait_for()
        assert violations_on(page) == []
        page.locator("tbody a").first.click()
        page.get_by_label("Why it was recorded wrongly").wait_for()
        assert violations_on(page) == []
        assert page.said == []
