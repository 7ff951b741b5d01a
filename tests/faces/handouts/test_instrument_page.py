"""An instrument's history as a page: whole on a telephone, on a screen and on paper, in a wide and in a narrow font.

Common practice, no source. The page on paper is measured as a screen shows it with the rules for paper, as wide as the paper is
between its margins.
"""

import io
from datetime import date

import pytest
from PIL import Image

from calib.faces.handouts.instrument_page import save_page
from calib.procedures.on_record.attached_files import Photo
from tests import browser
from tests.command import calib

ON = date(2026, 10, 14)
CERTIFICATE = "LAB-2026/0000123456-REV.B/789012345678901234567890123456-ABC"
LONG = "balancing room, second cupboard on the left, behind the box with the filters of 2019 " * 2
AT = "2026-09-02T16:05:00+01:00"
WITHDRAWN = {"at": AT, "by": "W" * 40, "reason": LONG}
MM_ON_PAPER = 96 / 25.4  # CSS pixels
# CSS pixels of the frame; a page on paper has margins of 14 mm.
PLACES = {"telephone": 390, "screen": 1280, "A4": (210 - 28) * MM_ON_PAPER, "Letter": (215.9 - 28) * MM_ON_PAPER}


def picture(width, height):
    out = io.BytesIO()
    Image.new("RGB", (width, height), "#8899aa").save(out, "PNG")
    return out.getvalue()


PHOTOS = [
    Photo("front.png", "image/png", LONG, picture(1600, 400)),
    Photo("x" * 60 + ".png", "image/png", None, picture(300, 1200)),
]


@pytest.fixture(scope="module")
def history(demo_folder):
    """The history of an instrument of the demo that has a calibration and a check."""
    return calib("instrument", "show", "TA-05", "--on", ON, "--json", records=demo_folder / "demo.sqlite").document


@pytest.fixture(scope="module")
def hostile(history):
    """The same with long texts in every cell that people type, and a row in every table."""
    certificate, check = history["calibrations"][0], history["checks"][0]
    file = {
        "name": "y" * 80 + ".pdf",
        "media_type": "application/pdf",
        "sha256": "0123456789abcdef" * 4,
        "remarks": LONG,
    }
    event = {
        "id": 1,
        "kind": "suspension",
        "at": AT,
        "recorded_at": AT,
        "value": None,
        "reason": LONG,
        "person": "M" * 40,
    }
    pairing = {"at": AT, "recorded_at": AT, "kind": "paired", "probe": "W" * 40, "meter": "TA-05", "reason": LONG}
    review = {
        "review": 1, "instrument": "W" * 40, "certificate": CERTIFICATE, "happened": LONG, "criterion": LONG, "lines": 12,
        "open_lines": 3,
    }  # fmt: skip
    amendment = {
        "revision": 1, "column": "reference_temperature_degC", "before": LONG, "after": "W" * 60, "holds_from": AT, "reason": LONG,
        "person": "A. Person",
    }  # fmt: skip
    reasons = [f"TA-05: suspended since {AT} ({LONG})", "W" * 120]
    return history | {
        "instrument": history["instrument"]
        | {
            "tag": "W" * 40,
            "kind": LONG,
            "location": LONG,
            "serial": "S" * 60,
            "certificate": CERTIFICATE,
            "reasons": reasons,
        },
        "calibrations": [
            certificate,
            certificate
            | {
                "certificate": CERTIFICATE,
                "laboratory": LONG,
                "accepted_by": "W" * 40,
                "withdrawn": WITHDRAWN,
                "files": [file],
            },
        ],
        "events": [event | {"withdrawn": None}, event | {"withdrawn": WITHDRAWN}],
        "checks": [check, check | {"remarks": LONG, "unit": "m3/h", "withdrawn": WITHDRAWN}],
        "pairings": [pairing],
        "files": [file],
        "impact_reviews": [review],
        "amendments": [amendment],
    }


def page_of(answer, folder, photos=()):
    save_page(answer, photos, folder / "page.html", ON)
    return (folder / "page.html").read_text(encoding="utf-8")


def on_paper(page):
    """The page with its rules for paper alone, and without the margins of a screen."""
    page = page.replace("@media screen and", "@media not all and").replace("@media print", "@media all")
    assert page.count("@media all") == page.count("@media not all and") == 1
    return page


@pytest.mark.parametrize(
    ("family", "package"), [("DejaVu Sans", "fonts-dejavu-core"), ("Liberation Sans", "fonts-liberation")]
)
@pytest.mark.parametrize("place", PLACES)
def test_nothing_of_a_page_is_cut_parted_small_or_over_something_else(tmp_path, hostile, place, family, package):
    browser.program()
    page = page_of(hostile, tmp_path, PHOTOS)
    shown = on_paper(page) if place in ("A4", "Letter") else page
    fonts = browser.only_font(tmp_path, family, package)
    assert browser.faults_of_texts(tmp_path, shown, "html", fonts, PLACES[place]) == [[]]


@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_every_row_is_on_a_printed_page(tmp_path, hostile, paper):
    browser.program()
    many = hostile | {"checks": [hostile["checks"][0] | {"id": 1000 + number} for number in range(90)]}
    printed = tmp_path / "printed.html"
    printed.write_text(page_of(many, tmp_path).replace("@page {", f"@page {{ size: {paper};"), encoding="utf-8")
    pages = browser.printed(tmp_path, printed, browser.only_font(tmp_path, "DejaVu Sans", "fonts-dejavu-core"))
    assert len(pages) > 3
    assert all(any(f"{1000 + number} " in text for text in pages) for number in range(90))
    assert sum(text.count("probe capped") for text in pages) == 90


def test_times_are_as_people_write_them_and_units_typeset(tmp_path, hostile):
    page = page_of(hostile, tmp_path)
    assert '<span class="date">2026-09-02</span> <span class="date">16:05+01:00</span>' in page
    assert "2026-09-02T16:05" not in page
    assert "m³/h" in page
    assert "m3/h" not in page
