"""The report's page opens as its first page: what is long is folded, and a link, a reader and a printer open it without a script.

Common practice, no source; HTML Living Standard, 4.11.1 (details) and 7.4.6.3 (a fragment reveals what holds its target).
"""

import re

import pytest

from calib.faces.report.blocks import (
    Cell,
    Heading,
    Layout,
    Paragraph,
    Table,
    TableColumn,
    TableRow,
    Title,
    paragraph,
    runs,
)
from calib.faces.report.content import content
from calib.faces.report.layout import lay_out
from calib.faces.report.page import as_html
from calib.procedures.report.collect import report
from calib.records import database
from tests import browser
from tests.benchmarks.report_forms import job_of
from tests.folders import NOW, records_of
from tests.read_back import Mail

SCREEN = 844  # CSS pixels, of a telephone upright
MOST_SCREENS = {"demo": 5, "300 readings": 8}


# How high and wide it is, and where its verdict ends.
OF_PAGE = """[document.documentElement.scrollHeight, document.documentElement.scrollWidth,
document.querySelector('#verdict + p').getBoundingClientRect().bottom]"""


def unfolded(page):
    return page.replace("<details>", "<details open>")


@pytest.fixture(scope="module")
def pages(demo_folder, tmp_path_factory):
    """The demo's page, and that of a job of 300 readings in which every fourth fails."""
    sheets = job_of(300)
    for reading in sheets["readings.csv"][::4]:
        reading |= {"indication": "2.00", "observations": "2.00;2.00;2.00", "remarks": "damper stuck"}
    with database.reading(str(records_of(tmp_path_factory.mktemp("many"), sheets))) as session:
        found = report(session, "J-1", NOW)
        many = as_html(lay_out(content(found, NOW), found.every_calibration))
    return {"demo": max(demo_folder.glob("*.html")).read_text(encoding="utf-8"), "300 readings": many}


@pytest.fixture(scope="module")
def measured(pages):
    """Each page at each width, as it opens and unfolded: how high and how wide it is, and where its verdict ends."""
    with browser.tabs() as tab:
        return {
            (name, width, is_unfolded): tab(unfolded(page) if is_unfolded else page, width).evaluate(OF_PAGE)
            for name, page in pages.items()
            for width in browser.WIDTHS
            for is_unfolded in (False, True)
        }


@pytest.mark.parametrize("name", MOST_SCREENS)
def test_a_telephone_shows_some_screens_and_the_rest_is_folded(measured, name):
    high, unfolded_high = (measured[name, browser.NARROW, is_unfolded][0] for is_unfolded in (False, True))
    assert high <= MOST_SCREENS[name] * SCREEN
    assert unfolded_high > 10 * high


@pytest.mark.parametrize("name", MOST_SCREENS)
def test_the_verdict_stands_on_the_first_screen_of_a_telephone(measured, name):
    assert measured[name, browser.NARROW, False][2] <= SCREEN


@pytest.mark.parametrize("is_unfolded", [False, True], ids=["as it opens", "unfolded"])
@pytest.mark.parametrize("width", browser.WIDTHS)
@pytest.mark.parametrize("name", MOST_SCREENS)
def test_nothing_scrolls_sideways(measured, name, width, is_unfolded):
    assert measured[name, width, is_unfolded][1] <= width


@pytest.mark.parametrize("width", browser.WIDTHS)
def test_the_page_of_a_mail_is_some_screens_high_and_scrolls_nowhere_sideways(demo_folder, width):
    body = Mail.of(max(demo_folder.glob("*.eml")).read_bytes()).html
    with browser.tabs() as tab:
        shown = tab(body, width)
        high, wide, verdict = shown.evaluate(OF_PAGE)
    assert wide <= width
    assert high <= MOST_SCREENS["demo"] * SCREEN
    assert verdict <= SCREEN


def test_every_outlet_that_needs_attention_is_on_the_first_page_and_the_first_ones_are_seen(pages):
    first = pages["300 readings"].partition('id="flows"')[0]
    assert len(re.findall("damper stuck", first)) == 75
    assert re.search(r"<summary>\d+ more: What needs attention</summary>", first)
    assert 0 < len(re.findall("damper stuck", first.partition("<details>")[0])) < 75


# --- opened ----------------------------------------------------------------------------------------------------------------------

SEEN = """at => {
  const place = document.getElementById(at).getBoundingClientRect();
  return place.height > 0 && place.top < innerHeight;
}"""


def test_a_link_opens_what_holds_the_place_it_leads_to(tmp_path, pages):
    page = tmp_path / "page.html"
    page.write_text(pages["demo"], encoding="utf-8")
    with browser.tabs() as tab:
        shown = tab(page.as_uri())
        link = shown.locator("a[href^='#']").first
        place = link.get_attribute("href").removeprefix("#")
        assert not shown.evaluate(SEEN, place)
        link.click()
        assert shown.evaluate(SEEN, place)
        assert tab(f"{page.as_uri()}#evidence").evaluate(SEEN, "evidence")


def test_a_heading_opens_its_section_by_a_click_and_by_a_key(pages):
    with browser.tabs() as tab:
        shown = tab(pages["demo"])
        summary = shown.locator("summary", has_text="Measured flows")
        summary.click()
        assert shown.evaluate(SEEN, "flows")
        summary.press("Enter")
        assert shown.locator("details[open]").count() == 0


def test_a_printer_prints_what_is_folded(tmp_path, pages):
    page = tmp_path / "page.html"
    page.write_text(pages["demo"], encoding="utf-8")
    printed = "".join(" ".join(browser.printed(tmp_path, page)).split())
    headings = re.findall(r"<h[23]\b[^>]*>(.*?)</h[23]>", pages["demo"])
    assert len(headings) > 20
    assert [each for each in headings if re.sub(r"<[^>]+>|\s", "", each) not in printed] == []


# --- what is folded --------------------------------------------------------------------------------------------------------------


def page_of(*blocks, **how):
    return as_html(
        Layout("J-1", "Flows", 1, is_draft=False, issued="2026-03-06", ledger_digest="", blocks=blocks), **how
    )


BLOCKS = (
    Title("Flows", "below"),
    Heading(2, "Verdict", "verdict"),
    paragraph("good"),
    Heading(2, "Flows", "flows"),
    Heading(3, "System"),
    paragraph("all"),
    Paragraph(runs("End of the report."), is_end=True),
)


def test_the_first_page_and_the_end_are_open_and_each_section_between_is_folded():
    html = page_of(*BLOCKS)
    opening, _, rest = html.partition("<details>")
    folded, _, end = rest.partition("</details>")
    assert "good" in opening
    assert folded.split() == (
        ["<summary><h2>Flows</h2></summary>", "<div", 'id="flows">', "<h3>System</h3>", "<p>all</p>", "</div>"]
    )
    assert "End of the report." in end


def test_a_page_may_be_asked_for_with_nothing_folded():
    assert "<details>" not in page_of(*BLOCKS, is_folded=False)


@pytest.mark.parametrize(("rows", "shown"), [(8, 8), (9, 8)])
def test_a_long_table_of_the_first_page_shows_its_first_rows(rows, shown):
    table = Table("Outlets", (TableColumn("A"),), tuple(TableRow((Cell(runs(f"row {row}")),)) for row in range(rows)))
    html = page_of(Title("Flows", "below"), table)
    assert html.count("row ") == rows
    assert html.partition("<details>")[0].count("row ") == shown
    assert ("1 more: Outlets" in html) == (rows > shown)


# --- letters ---------------------------------------------------------------------------------------------------------------------

FAMILIES = """() => [...new Set([...document.querySelectorAll('body *')]
  .filter(each => !each.closest('math') && [...each.childNodes].some(node => node.nodeType === 3 && node.data.trim()))
  .map(each => getComputedStyle(each).fontFamily.replaceAll('"', "'")))]"""


def test_text_tables_and_pictures_are_in_one_typeface(pages):
    """Formulas are in one for mathematics, which has the signs that others lack."""
    with browser.tabs() as tab:
        assert len(tab(unfolded(pages["demo"])).evaluate(FAMILIES)) == 1


BROKEN = r"""() => [...document.querySelectorAll('main *')].flatMap(each => [...each.childNodes])
  .filter(node => node.nodeType === 3)
  .flatMap(node => [...node.data.matchAll(/\d{4}-\d\d-\d\d|\d\d:\d\d[+-]\d\d:\d\d/g)].map(found => {
    const range = document.createRange();
    range.setStart(node, found.index); range.setEnd(node, found.index + found[0].length);
    return [found[0], new Set([...range.getClientRects()].map(line => line.top)).size];
  }))"""


@pytest.mark.parametrize("width", [200, *browser.WIDTHS])
def test_a_date_and_a_time_with_its_zone_stand_on_one_line_each(pages, width):
    with browser.tabs() as tab:
        moments = tab(unfolded(pages["demo"]), width).evaluate(BROKEN)
    assert {len(moment) for moment, _ in moments} == {10, 11}
    assert [moment for moment, lines in moments if lines > 1] == []
