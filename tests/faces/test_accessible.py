"""Pages that everybody can use: axe-core finds nothing on any of them, on a telephone, a tablet and in a window.

WCAG 2.2 at levels A and AA, and what axe-core holds for best practice; a page that has a dark dress too is tried in both.
"""

import pytest

from calib.faces.handouts.instrument_page import save_page
from tests.accessible import SCHEMES, violations
from tests.browser import WIDTHS
from tests.command import calib, done

ON = "2026-10-14"


@pytest.fixture(scope="module")
def pages(demo_folder, tmp_path_factory):
    """Pages of the demo: its report's latest revision, an instrument's history, the labels of all."""
    folder, records = tmp_path_factory.mktemp("pages"), demo_folder / "demo.sqlite"
    history = calib("instrument", "show", "TA-05", "--on", ON, "--json", records=records).document
    save_page(history, (), folder / "instrument", ON)
    done(records, "label", "--all", "--into", folder / "labels.html", "--on", ON)
    return {
        "report": max(demo_folder.glob("*.html")),
        "instrument": folder / "instrument",
        "labels": folder / "labels.html",
    }


@pytest.mark.parametrize("name", ["report", "instrument", "labels"])
def test_no_rule_of_accessibility_is_broken(pages, name):
    page = pages[name].read_text(encoding="utf-8")
    schemes = SCHEMES if "prefers-color-scheme" in page else SCHEMES[:1]
    assert violations(page, WIDTHS, schemes) == []


BAD = """<!DOCTYPE html><html lang="en"><title>bad</title><main><h1>bad</h1><img src="data:,">
<style>@media (prefers-color-scheme: dark) { h1 { color: #222; background: #333; } }
@media (max-width: 400px) { a { color: #ddd; } }</style>
<details><summary>more</summary><p style="color: #aaa; background: #fff">pale</p></details><a href="#">there</a></main></html>"""


@pytest.mark.parametrize(
    ("rule", "place", "width", "scheme"),
    [
        ("image-alt", "img", 1280, "light"),
        ("color-contrast", "p", 1280, "light"),  # within what is folded
        ("color-contrast", "h1", 1280, "dark"),
        ("color-contrast", "a", 390, "light"),
    ],
)
def test_what_shuts_somebody_out_would_be_seen(rule, place, width, scheme):
    found = violations(BAD, [width], [scheme])
    assert [line for line in found if line.startswith(f"{width} px, {scheme}: {rule}: {place}: ")]


def test_what_shuts_nobody_out_is_not_named():
    assert not [line for line in violations(BAD, [1280], ["light"]) if ": h1: " in line or ": a: " in line]
