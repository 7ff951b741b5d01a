"""The report's page in a browser: silent, alone, no wider than a telephone, with its headings on each printed page.

Common practice, no source. The browser starts four times in all.
"""

import pytest

from calib.faces.report.layout import lay_out
from calib.faces.report.page import as_html
from tests import browser
from tests.hostile import HOSTILE, hostile_report

POLICY = (
    "http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; style-src 'unsafe-inline'; img-src data:\""
)

SHOWN = (
    "html",
    "right to left",
    "typesetter",
    "long",
    "long words",
    "lines",
)  # what may make a page wider, or run in it

TABLETS = (768, 912, 960, 1090)  # CSS pixels: upright, and about the widths at which the tables are set otherwise


@pytest.fixture(scope="module", autouse=True)
def _browser():
    """Every test here needs one; asked for first, before any page is made."""
    browser.program()


@pytest.fixture(scope="session")
def demo_page(demo_folder):
    """The demo's page: that of its latest revision."""
    return max(demo_folder.glob("*.html"))


@pytest.fixture(scope="session")
def hostile_pages(tmp_path_factory):
    """The page of a job for each hostile text."""
    return {
        name: as_html(lay_out(*hostile_report(tmp_path_factory.mktemp("hostile"), HOSTILE[name]))) for name in SHOWN
    }


@pytest.fixture(scope="session")
def seen(tmp_path_factory, demo_page, hostile_pages):
    """Widths of the demo's and the hostile pages on a telephone, with the console."""
    names = ["demo", *hostile_pages, "wide"]
    wide = "<!DOCTYPE html><div style='width: 500px'>wide</div>"
    demo = demo_page.read_text(encoding="utf-8")
    pages = [demo, *hostile_pages.values(), wide, *[demo] * len(TABLETS)]
    of_width = [browser.NARROW] * len(names) + list(TABLETS)
    found, console = browser.widths(tmp_path_factory.mktemp("narrow"), pages, of_width)
    return dict(zip([*names, *TABLETS], found, strict=True)), console


def test_the_page_says_nothing_and_asks_for_nothing(tmp_path, demo_page):
    console, requests = browser.opened(tmp_path, demo_page)
    assert console == []
    assert requests == set()
    assert POLICY in demo_page.read_text(encoding="utf-8")


def test_what_a_page_says_and_asks_for_would_be_seen(tmp_path):
    page = tmp_path / "loud.html"
    page.write_text("<script>console.log('loud')</script><img src='http://127.0.0.1:9/x.png'>", encoding="utf-8")
    console, requests = browser.opened(tmp_path, page)
    assert any("loud" in line for line in console)
    assert requests == {"http://127.0.0.1:9/x.png"}


@pytest.mark.parametrize("name", ["demo", *SHOWN])
def test_no_page_scrolls_sideways_on_a_telephone(seen, name):
    widths, _ = seen
    assert widths[name] <= browser.NARROW


@pytest.mark.parametrize("width", TABLETS)
def test_the_page_does_not_scroll_sideways_on_a_tablet_or_in_half_a_window(seen, width):
    assert seen[0][width] <= width


def test_a_page_that_is_wider_than_a_telephone_would_be_seen(seen):
    assert seen[0]["wide"] > browser.NARROW


def test_no_hostile_text_runs_or_is_fetched(seen):
    """A script that ran, or one that the policy stopped, would stand on the console."""
    assert seen[1] == []


HEADINGS = {"Reading", "Outlet", "Observed", "Indications", "Remarks"}


def test_headings_are_repeated_on_each_printed_page(tmp_path, demo_page):
    pages = browser.printed(tmp_path, demo_page)
    first = next(number for number, text in enumerate(pages) if "2.50; 2.55; 2.51" in text)
    end = next(number for number, text in enumerate(pages) if "throttled 377" in text)
    assert end > first
    for text in pages[first : end + 1]:
        assert set(text.split()) >= HEADINGS
    for number, text in enumerate(pages, start=1):
        assert f"{number} of {len(pages)}" in text
