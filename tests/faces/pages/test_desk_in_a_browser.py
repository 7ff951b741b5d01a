"""QA's desk in Debian's browser: each page shuts nobody out, by day and in the dark, and is as wide as its window."""

import pytest

from tests.accessible import violations_on
from tests.faces.pages.test_certificates import STATED, grid
from tests.pages_browser import phone, scrolls_sideways, serving, sign_in
from tests.served import company

PLACES = (
    "/fleet",
    "/fleet?kind=vane&sort=due&within=90",
    "/instruments/VA-1/history",
    "/instruments/VA-1/certificates/C-101",
    "/instruments/VA-1/certificate-in",
    "/instruments/VA-1/events",
    "/instruments/VA-1/checks",
)


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
            assert violations_on(page) == [], place
            assert not scrolls_sideways(page), place
        assert page.said == []


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


@pytest.mark.parametrize(("width", "light"), [(768, "dark"), (1280, "light")])
def test_a_certificate_is_typed_seen_and_accepted_by_another_person_without_script(browser, address, width, light):
    with phone(browser, address, light, width, java_script_enabled=False) as page:
        at_the_desk(page, "Tom")
        page.goto("/instruments/VA-1/history")
        page.get_by_role("link", name="A certificate comes in").click()
        for name, value in (STATED | grid()).items():
            field = page.locator(f'[name="{name}"]')
            field.select_option(value) if name.startswith("phase") else field.fill(value)
        page.get_by_role("button", name="Show what it says").click()
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
        for name, value in (STATED | grid() | {"indication_2": "three"}).items():
            field = page.locator(f'[name="{name}"]')
            field.select_option(value) if name.startswith("phase") else field.fill(value)
        page.get_by_role("button", name="Show what it says").click()
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
