"""Labels. Sources: ISO/IEC 17025:2017, 6.4.8 (what a label shows its user); ISO/IEC 18004 by another library's reader."""

import re
from datetime import date
from html.parser import HTMLParser

import numpy as np
import pytest
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st

from calib.errors import CalibError
from calib.faces.handouts.label_sheet import LABELS_BEGIN, as_sheet
from calib.procedures.fleet.labels import Label
from tests import browser
from tests.command import calib

ON = date(2026, 10, 14)
DAY = ("--on", "2026-10-14")
DAYS = ("calibrated_on", "due_on", "due_on")  # of a label: the last is that of the calibration


def label(tag="VA-11", certificate="C-1"):
    return Label(tag, certificate, date(2026, 3, 18), date(2027, 3, 18), date(2027, 3, 18), None)


def drawn(svg):
    """A QR code as its SVG draws it: horizontal strokes of one unit, from which the picture is made here."""
    side = int(re.search(r'viewBox="0 0 (\d+) ', svg)[1])
    picture = np.full((side, side), 255, dtype=np.uint8)
    strokes = re.search(r'class="qrline"|stroke="#000" d="([^"]+)"|d="([^"]+)"', svg)
    x = y = 0.0
    for command, numbers in re.findall(r"([Mmh])([^Mmh]*)", next(one for one in strokes.groups() if one)):
        values = [float(one) for one in re.findall(r"-?\d*\.?\d+", numbers)]
        if command == "h":
            picture[int(y), int(x) : int(x + values[0])] = 0
            x += values[0]
        else:
            x, y = (values[0], values[1]) if command == "M" else (x + values[0], y + values[1])
    return np.kron(picture, np.ones((4, 4), dtype=np.uint8))


def codes(page):
    """What a reader of QR codes sees on the page."""
    return [
        zxingcpp.read_barcode(drawn(svg)).text for svg in re.findall(r"<svg.*?</svg>", page.decode("utf-8"), re.DOTALL)
    ]


class Words(HTMLParser):
    """The words on a page, and the tags that they stand in."""

    def __init__(self, page):
        super().__init__()
        self.words, self.tags = [], set()
        self.feed(page.decode("utf-8"))

    def handle_starttag(self, tag, _attributes):
        self.tags.add(tag)

    def handle_data(self, text):
        self.words.append(text)


def test_a_label_says_tag_calibrated_due_and_certificate():
    words = Words(as_sheet([label()], ON)).words
    assert {"VA-11", "2026-03-18", "2027-03-18", "C-1"} <= set(words)


def test_its_code_holds_tag_certificate_and_due_date_as_plain_text():
    assert codes(as_sheet([label()], ON)) == ["VA-11\ncertificate C-1\ndue 2027-03-18"]


@pytest.mark.parametrize("tag", ["Prüf-Nr. 5 – α", "測定器 7", "a&b<c>", "1234567890", "UPPER CASE 12"])
def test_a_code_is_read_in_any_script(tag):
    assert codes(as_sheet([label(tag)], ON)) == [f"{tag}\ncertificate C-1\ndue 2027-03-18"]


@pytest.mark.parametrize(
    ("tag", "named"),
    [("VA-11", "VA-11"), ("VA 11/2", "VA%2011%2F2"), ("Ø?&#", "%C3%98%3F%26%23"), ("../VA", "..%2FVA")],
)
def test_where_the_company_has_pages_a_code_holds_the_address_of_the_instruments_page(tag, named):
    page = as_sheet([label(tag)], ON, "https://calib.example/")
    assert codes(page) == [f"https://calib.example/instruments/{named}"]


@given(st.text(max_size=40), st.text(max_size=40))
@settings(max_examples=30)
def test_no_text_breaks_out_of_its_label(tag, certificate):
    found = Words(as_sheet([label(tag, certificate)], ON))
    assert found.tags <= {
        "html", "head", "meta", "title", "style", "body", "main", "article", "div", "h1", "dl", "dt", "dd", "svg", "path",
    }  # fmt: skip
    shown = "".join(sign if sign.isprintable() else "\N{REPLACEMENT CHARACTER}" for sign in tag)
    assert shown in "".join(found.words)


def test_nothing_is_loaded_from_elsewhere():
    page = as_sheet([label(), label("VA-12")], ON).decode("utf-8")
    assert "http" not in page.replace("http://www.w3.org/2000/svg", "")
    assert not re.search(r"\b(src|href|url|import)\b", page)


def test_the_same_labels_make_the_same_page():
    assert as_sheet([label()], ON) == as_sheet([label()], ON)


def test_a_text_too_long_for_a_code_is_named():
    with pytest.raises(CalibError, match="its tag and certificate make no QR code"):
        as_sheet([label("x" * 5000)], ON)


def test_every_instrument_that_may_be_used_gets_a_label(demo_records, tmp_path):
    page = tmp_path / "labels.html"
    ran = calib("label", "--all", "--into", page, *DAY, "--json", records=demo_records)
    assert ran.status == 0
    told = [one["code"] for one in ran.document["labels"]]
    assert codes(page.read_bytes()) == told
    assert len(told) > 8
    assert {one["tag"] for one in ran.document["refused"]} == {"VA-13", "VA-14"}
    assert not any("VA-13" in one or "VA-14" in one for one in told)


def test_an_instrument_out_of_calibration_gets_none(demo_records, tmp_path):
    ran = calib("label", "VA-11", "VA-13", "--into", tmp_path / "labels.html", *DAY, records=demo_records)
    assert ran.status == 3
    assert "no label: VA-13: calibration TH-25-0931 of 2025-08-20 was due on 2026-08-20" in ran.err
    assert [one.partition("\n")[0] for one in codes((tmp_path / "labels.html").read_bytes())] == ["VA-11"]


def test_where_nothing_may_be_used_there_is_no_page(demo_records, tmp_path):
    ran = calib("label", "VA-13", "--into", tmp_path / "labels.html", *DAY, records=demo_records)
    assert ran.status == 3
    assert not (tmp_path / "labels.html").exists()


@pytest.mark.parametrize("words", [(), ("VA-11", "--all")])
def test_tags_or_all_are_wanted(demo_records, tmp_path, words):
    ran = calib("label", *words, "--into", tmp_path / "labels.html", records=demo_records)
    assert ran.status == 2
    assert "tags of instruments, or --all" in ran.err


def test_an_unknown_tag_is_named(demo_records, tmp_path):
    ran = calib("label", "XX-1", "--into", tmp_path / "labels.html", records=demo_records)
    assert ran.status == 2
    assert "no instrument 'XX-1' in the records" in ran.err


def test_another_kind_of_file_is_left_alone(demo_records, tmp_path):
    (tmp_path / "labels.html").write_text("<!doctype html><p>mine", encoding="utf-8")
    ran = calib("label", "VA-11", "--into", tmp_path / "labels.html", *DAY, records=demo_records)
    assert ran.status == 2
    assert "is no page of labels" in ran.err


def test_a_page_takes_the_place_of_an_earlier_one(demo_records, tmp_path):
    for tag in ("VA-11", "VA-12"):
        assert calib("label", tag, "--into", tmp_path / "labels.html", *DAY, records=demo_records).status == 0
    content = (tmp_path / "labels.html").read_bytes()
    assert content.startswith(LABELS_BEGIN)
    assert codes(content)[0].startswith("VA-12")


# Common practice, no source: long names with words, with none, and in a script whose signs are as wide as they are high.
WORDS = "balancing room, second cupboard on the left, vane anemometer of the north crew " * 2
CERTIFICATE = "LAB-2026/0000123456-REV.B/789012345678901234567890123456-ABC"
HOSTILE_LABELS = [
    label("VA-1234567890", "ACME-LAB/2026/000123-REV.B"),
    label("VA-11", CERTIFICATE),
    label("VA-11", "W" * 60),
    Label("VA-15", CERTIFICATE, date(2026, 3, 18), date(2026, 11, 18), date(2027, 3, 18), None),
    label("M" * 40, "W" * 40),
    label(WORDS, WORDS),
    label("W" * 200, "M" * 200),
    label("測定器" * 12, "校正証明書" * 12),
]


FONTS = pytest.mark.parametrize(
    ("family", "package"), [("DejaVu Sans", "fonts-dejavu-core"), ("Liberation Sans", "fonts-liberation")]
)


@pytest.fixture(scope="module")
def labels_page(demo_folder, tmp_path_factory):
    """A page with the demo's labels and hostile ones, all once more as in a still wider font; and how many they are."""
    page = tmp_path_factory.mktemp("demo") / "labels.html"
    records = demo_folder / "demo.sqlite"
    told = calib("label", "--all", "--into", page, *DAY, "--json", records=records).document["labels"]
    own = [Label(one["tag"], one["certificate"], *(date.fromisoformat(one[day]) for day in DAYS), None) for one in told]
    page = as_sheet([*own, *HOSTILE_LABELS], ON).decode("utf-8")
    labels = page[page.index("<main>") : page.index("</body>")]
    wider = labels.replace("<main>", "<main style='letter-spacing: 0.3em'>")
    return page.replace(labels, labels + wider), 2 * (len(own) + len(HOSTILE_LABELS))


@FONTS
def test_no_text_of_a_label_is_cut_in_a_wide_or_a_narrow_font(tmp_path, labels_page, family, package):
    page, count = labels_page
    browser.program()
    assert (
        browser.faults_of_texts(tmp_path, page, "article", browser.only_font(tmp_path, family, package)) == [[]] * count
    )


@FONTS
@pytest.mark.parametrize("paper", ["A4", "letter"])
def test_no_label_is_parted_by_the_end_of_a_page(tmp_path, paper, family, package):
    browser.program()
    many = [label(f"T{n:02}{'-wide' * (n % 7)}", f"C{n:02}/{CERTIFICATE}") for n in range(40)]
    page = tmp_path / "labels.html"
    page.write_text(as_sheet(many, ON).decode("utf-8").replace("@page {", f"@page {{ size: {paper};"), encoding="utf-8")
    pages = browser.printed(tmp_path, page, browser.only_font(tmp_path, family, package))
    assert len(pages) > 1
    assert [tag for text in pages for tag in re.findall(r"T(\d\d)", text)] == [f"{n:02}" for n in range(40)]
    assert [re.findall(r"T(\d\d)", text) for text in pages] == [re.findall(r"C(\d\d)/", text) for text in pages]
    assert sum(text.count("2027-03-18") for text in pages) == 40


def test_a_text_that_is_cut_parted_or_small_would_be_seen(tmp_path):
    browser.program()
    cell = "<article style='width: 60px; {}'><p style='font-size: 9pt; {}'>{}</p></article>"
    date_and_word = "due 2027-03-18"
    page = "<!DOCTYPE html><title>none</title>" + "".join(
        cell.format(*cells)
        for cells in (
            ("", "overflow: hidden; text-overflow: ellipsis; white-space: nowrap", date_and_word),
            ("", "white-space: nowrap", date_and_word),
            ("height: 20px; overflow: hidden", "", date_and_word),
            ("", "width: 50px", "2027-03-18"),
            ("", "font-size: 8pt", date_and_word),
            ("", "width: 20px; overflow-wrap: anywhere", "certificate"),
            ("", "", date_and_word),
        )
    )
    faults = browser.faults_of_texts(tmp_path, page, "article")
    assert [bool(found) for found in faults] == [True, True, True, True, True, True, False]
    assert faults[3] == ["a date or time on two lines: 2027-03-18"]
    assert faults[5] == ["a word on two lines: certificate"]
    assert faults[4] == ["in letters of 8.0 pt: due 2027-03-18"]
