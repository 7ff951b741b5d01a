"""The page of a laid-out report: what is typed is text, places lead to places, and nothing turns the direction of a line.

Common practice, no source; Unicode Standard Annex 9, 6.5, for the isolation of typed text.
"""

import re

import pytest

from calib.faces.report.anchors import Anchors
from calib.faces.report.blocks import Cell, Layout, Mark, Notice, Run, Table, TableColumn, TableRow, Title, runs
from calib.faces.report.layout import lay_out
from calib.faces.report.page import as_html
from tests.hostile import HOSTILE, hostile_report
from tests.report_forms import Page, outside

TURNED = "\u202etfel\u202c"


def page_of(*blocks):
    return as_html(
        Layout("J-1", "Flows", 2, is_draft=False, issued="2026-03-06", ledger_digest="0f" * 32, blocks=blocks)
    )


@pytest.mark.parametrize("name", HOSTILE)
def test_hostile_text_is_shown_as_typed_and_runs_nowhere(tmp_path, name):
    content, used = hostile_report(tmp_path, HOSTILE[name])
    page = Page.of(as_html(lay_out(content, used)))
    assert outside(page) == []
    typed = " ".join(HOSTILE[name].split())
    for told in (
        "Flows of a small hall",
        "Site",
        "Client",
        "AH-1",
        "M1",
        "North Laboratory",
        "sweep",
        "measured again",
    ):
        assert f"{typed} {told}" in page.text or f"{typed}{told}" in page.text


@pytest.mark.parametrize("name", ["right to left", "html"])
def test_every_link_leads_to_one_place(tmp_path, name):
    content, used = hostile_report(tmp_path, HOSTILE[name])
    page = Page.of(as_html(lay_out(content, used)))
    places = [value for _, key, value in page.attributes if key == "id"]
    assert len(places) == len(set(places))
    links = {value for tag, key, value in page.attributes if tag == "a" and key == "href"}
    assert {one.removeprefix("#") for one in links} <= set(places)
    assert all(re.fullmatch("#[A-Za-z0-9-]+", one) for one in links)
    assert {f"#budget-{one['reading']}" for one in content["readings"]} <= links


@pytest.mark.parametrize(
    "blocks",
    [
        (Title(TURNED, "below"),),
        (Notice("lead", runs("before ", TURNED, " after")),),
        (Table("one", (TableColumn("A"),), (TableRow((Cell(runs(TURNED, Run(" later", Mark.SOFT))),)),)),),
    ],
)
def test_text_that_turns_is_set_apart(blocks):
    assert page_of(*blocks).count(f"<bdi>{TURNED}</bdi>") == 1


def test_no_sign_turns_a_label_or_the_title_of_the_window():
    html = page_of(Table(TURNED, (TableColumn("A"), TableColumn(TURNED)), (TableRow((Cell(), Cell())),)))
    assert f'data-label="\u2068{TURNED}\u2069"' in html
    assert f'aria-label="\u2068{TURNED}\u2069"' in html


def test_a_statement_has_its_sign_as_text():
    html = page_of(Notice("lead", (Run("conditional fail", Mark.STATEMENT),)))
    assert '<span class="word conditional-fail">◔ conditional fail</span>' in html


def test_a_table_has_its_headings_in_its_head_and_names_its_rows():
    html = page_of(
        Table(
            "one",
            (TableColumn("A"), TableColumn("B")),
            (TableRow((Cell(runs("a")), Cell(runs("b"))), anchor="reading-1"),),
        )
    )
    assert '<thead><tr><th scope="col">A</th><th scope="col">B</th></tr></thead>' in html
    assert '<tr id="reading-1"><th scope="row">a</th><td data-label="B">b</td></tr>' in html


def test_each_printed_page_has_the_revision_and_the_ledger_s_digest():
    assert '@bottom-left { content: "revision 2, ledger 0f0f0f0f0f0f0f0f"' in page_of()


@pytest.mark.parametrize("tag", ["VA-11", "a b", "../x", "\u202e", "測", "", "<b>", "x" * 300])
def test_an_anchor_is_plain_ascii(tag):
    assert re.fullmatch("instrument(-[A-Za-z0-9-]+)?", Anchors().of("instrument", tag, "C-1"))


def test_the_same_place_has_one_anchor_and_two_places_have_two():
    anchors = Anchors()
    first, again, other, like = (
        anchors.of("instrument", *one) for one in (("VA 1", "a"), ("VA 1", "a"), ("VA 1", "b"), ("VA-1", "a"))
    )
    assert (first, again) == ("instrument-VA-1", "instrument-VA-1")
    assert len({first, other, like}) == 3
