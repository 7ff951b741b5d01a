"""A technician's day in Debian's browser, at the width of a phone: from the label to a traverse; by keyboard alone too."""

import re
from urllib.parse import urlsplit

import pytest
from PIL import Image

from tests.accessible import violations_on
from tests.folders import changed, write
from tests.pages_browser import phone, scrolls_sideways, serving, sign_in, small_targets

MAIN_BUTTON_WITHIN = 844 / 2  # CSS pixels from the bottom: the half of the screen that a thumb reaches


@pytest.fixture(autouse=True)
def job(served, tmp_path):
    """Another job: S-1, S-2 and R-1 once more, of which nothing is measured, and a duct."""
    sheets = changed()
    duct = dict.fromkeys(sheets["outlets.csv"][0], "") | {
        "outlet": "D-1", "system": "AH-1", "service": "supply", "shape": "rectangular", "width": "300", "height": "200",
        "dimension_unit": "mm", "dimension_limit": "1", "design_flow": "520", "flow_unit": "m3/h", "tolerance_percent": "10",
    }  # fmt: skip
    outlets = [*(row | {"place": ""} for row in sheets["outlets.csv"][:3]), duct | {"place": "duct"}]
    methods = [
        {
            "method": "traverse",
            "relative_standard_uncertainty_percent": "1.0",
            "basis": "own profiles",
            "pattern": "traverse",
        }
    ]
    jobs = [{"job": "J-2", "title": "A small hall", "decision_rule": "guarded non-binary"}]
    files = {"jobs.csv": jobs, "outlets.csv": [row | {"job": "J-2"} for row in outlets], "methods.csv": methods}
    served.imports(write(tmp_path / "more", files))


@pytest.fixture
def address(served):
    """The address at which it is served to Tom, who has a password."""
    served.enrol("Tom")
    with serving(served.engine, served.credentials) as address:
        yield address


def looked_at(page):
    """Every page fits on a phone and under a thumb, everybody can use it, and there is a way back."""
    page.wait_for_load_state()
    assert not scrolls_sideways(page)
    assert small_targets(page) == []
    assert violations_on(page) == []
    assert page.locator(".back a").count() or urlsplit(page.url).path == "/"
    for button in page.locator(".reach button, .reach a").all():
        box = button.bounding_box()
        assert box["y"] + box["height"] / 2 > page.viewport_size["height"] - MAIN_BUTTON_WITHIN
    # What a browser says of an answer that a form got is no fault of the page.
    assert [line for line in page.said if "the server responded with a status of 4" not in line] == []


def typed(page, *values):
    for count, value in enumerate(values, start=1):
        page.get_by_label(f"Pass {count}").fill(value)


def measure_from_the_label(page):
    sign_in(page, to="/instruments/VA-1")
    page.get_by_text("May be used").wait_for()
    looked_at(page)
    page.get_by_role("link", name="J-2", exact=True).click()
    page.get_by_text("4 of 4 outlets left").wait_for()
    looked_at(page)
    page.get_by_role("link", name="Next: S-1").click()
    page.get_by_role("heading", name="S-1").wait_for()
    page.locator("summary", has_text="VA-1").wait_for()  # as its label said
    page.get_by_label("Method").select_option("sweep")
    looked_at(page)
    typed(page, "4.20", "4,22", "4.19")
    page.get_by_role("button", name="Keep the reading").click()
    page.get_by_role("link", name="Correct, withdraw").wait_for()
    page.get_by_text("would pass").wait_for()
    looked_at(page)


def confirm_what_is_unusual(page):
    page.get_by_role("link", name="Next: S-2").click()
    page.get_by_role("heading", name="S-2").wait_for()
    typed(page, "3.10", "31.2")
    page.get_by_role("button", name="Keep the reading").click()
    page.get_by_text("Is that right?").wait_for()
    looked_at(page)
    typed(page, "3.10", "6.50")
    page.get_by_role("button", name="Send what I changed").click()
    page.get_by_text("the largest pass is 2.1 times the smallest").wait_for()
    page.get_by_role("button", name="It is right: keep it").click()
    page.get_by_role("link", name="Correct, withdraw").wait_for()


def correct_it(page):
    page.get_by_role("link", name="Correct, withdraw").click()
    page.get_by_role("heading", name="Correct it").wait_for()
    looked_at(page)
    page.get_by_label("Pass 2").fill("3.12")
    page.get_by_label("Why it is corrected").fill("read the wrong line")
    page.get_by_role("button", name="Correct it").click()
    page.get_by_text("takes its place").wait_for()
    looked_at(page)


def measure_another(page):
    page.get_by_role("link", name="Next: R-1").click()
    page.get_by_role("heading", name="R-1").wait_for()
    page.get_by_role("link", name="Amend the opening").click()
    page.get_by_role("heading", name="Opening of R-1").wait_for()
    looked_at(page)
    page.get_by_role("link", name="‹ R-1").click()
    page.get_by_role("heading", name="R-1", exact=True).wait_for()
    typed(page, "3.10", "3.13")
    page.get_by_role("button", name="Keep the reading").click()
    page.get_by_text("% of design").wait_for()


def traverse_the_duct(page):
    page.get_by_role("link", name="Next: D-1").click()
    page.get_by_role("heading", name="D-1").wait_for()
    looked_at(page)
    page.get_by_role("link", name="Traverse it with VA-1").click()
    page.locator("summary", has_text="VA-1").click()
    page.get_by_label("Method").select_option("traverse")
    page.get_by_label("Rule").select_option("equal-area")
    for field, count in (("Lines", "2"), ("Points on each line", "2"), ("Passes", "1")):
        page.get_by_label(field).fill(count)
    looked_at(page)
    page.get_by_role("button", name="Begin the traverse").click()
    for count, value in enumerate(("2.40", "2.45", "2.38", "2.44")):
        page.get_by_text(f"{count} of 4 typed").wait_for()
        looked_at(page)
        assert page.locator("#field-value").bounding_box()["y"] < page.locator(".reach").bounding_box()["y"]
        if count == 1:  # left and come back to
            page.reload()
        page.locator("#field-value").fill(value)
        page.get_by_role("button", name="Next point").click()
    page.get_by_text("Every point is typed").wait_for()
    looked_at(page)
    page.get_by_role("button", name="Keep the traverse").click()
    page.get_by_text("% of design").wait_for()
    looked_at(page)


def test_a_day_from_the_label_to_a_traverse(browser, address, light):
    with phone(browser, address, light) as page:
        measure_from_the_label(page)
        confirm_what_is_unusual(page)
        correct_it(page)
        measure_another(page)
        traverse_the_duct(page)
        page.get_by_role("link", name="Every outlet is measured").click()
        page.get_by_text("0 of 4 outlets left").wait_for()
        looked_at(page)


def test_a_reading_by_keyboard_alone(browser, address):
    with phone(browser, address) as page:
        sign_in(page, to="/jobs/J-2/outlets/S-1?instrument=VA-1&method=sweep")
        page.get_by_role("heading", name="S-1").wait_for()

        def to(selector):
            for _ in range(60):
                page.keyboard.press("Tab")
                if page.evaluate("wanted => document.activeElement.matches(wanted)", selector):
                    return
            raise AssertionError(selector)

        to("#field-pass_1")
        page.keyboard.type("4.20")
        page.keyboard.press("Tab")
        page.keyboard.type("4.22")
        to(".reach button")
        page.keyboard.press("Enter")
        page.get_by_text("would pass").wait_for()
        to(".reach a")
        page.keyboard.press("Enter")
        page.get_by_role("heading", name="S-2").wait_for()


def test_a_reading_without_script(browser, address):
    with phone(browser, address, java_script_enabled=False) as page:
        sign_in(page, to="/jobs/J-2/outlets/S-1?instrument=VA-1&method=sweep")
        typed(page, "4.20", "4.22")
        page.get_by_role("button", name="Keep the reading").click()
        assert re.search(r"reading=\d+$", page.url)


def until(page, condition):
    """Wait for a condition; the browser's own waiting would need what the pages forbid."""
    for _ in range(600):
        if page.evaluate(condition):
            return
        page.wait_for_timeout(50)
    raise AssertionError(condition)


def test_a_photograph_is_made_small_on_the_phone(browser, address, tmp_path):
    picture = tmp_path / "large.png"
    Image.effect_noise((3000, 1500), 60).save(picture)
    with phone(browser, address) as page:
        sign_in(page, to="/jobs/J-2/outlets/S-1")
        page.locator("summary", has_text="Photographs").click()
        page.get_by_label("A photograph of S-1").set_input_files(picture)
        until(page, "document.querySelector('[type=file]').files[0].type === 'image/jpeg'")
        page.get_by_role("button", name="Keep the photograph").click()
        page.get_by_text("the photograph is kept with S-1").wait_for()
        page.locator("summary", has_text="Photographs").click()
        shown = page.locator(".photographs img")
        shown.wait_for()
        until(page, "document.querySelector('.photographs img').complete")
        assert shown.evaluate("img => [img.naturalWidth, img.naturalHeight]") == [2000, 1000]
        looked_at(page)
