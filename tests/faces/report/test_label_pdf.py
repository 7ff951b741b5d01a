"""Labels as PDF. Sources: ISO/IEC 17025:2017, 6.4.8; ISO/IEC 18004 by another library; ISO 19005-3 and ISO 14289-1 by veraPDF."""

import io
from contextlib import closing
from datetime import date

import numpy as np
import pypdfium2
import pytest
import zxingcpp

from calib.errors import CalibError
from calib.faces.report.label_pdf import LABELS_PDF, as_label_pdf
from calib.procedures.fleet.labels import Label
from tests import verapdf
from tests.command import calib
from tests.hostile import HOSTILE
from tests.read_back import pdf_pages

ON, DAY = date(2026, 10, 14), ("--on", "2026-10-14")


def label(tag="VA-11", certificate="C-1", due_on=date(2027, 3, 18)):
    return Label(tag, certificate, date(2026, 3, 18), due_on, date(2027, 3, 18), None)


def codes(content):
    """What a reader of QR codes sees on the paper, at 300 dots to the inch."""
    with closing(pypdfium2.PdfDocument(content)) as document:
        pictures = [np.asarray(page.render(scale=300 / 72).to_pil().convert("L")) for page in document]
    return [code.text for picture in pictures for code in zxingcpp.read_barcodes(picture)]


def test_a_label_says_tag_calibrated_due_and_certificate():
    (page,) = pdf_pages(as_label_pdf([label()], ON))
    assert " ".join(page.split()) == "VA-11 due 2027-03-18 calibrated 2026-03-18 certificate C-1"


def test_a_check_that_is_due_before_the_calibration_is_named():
    (page,) = pdf_pages(as_label_pdf([label(due_on=date(2026, 12, 1))], ON))
    assert "check due 2026-12-01 calibration due 2027-03-18" in " ".join(page.split())


def test_its_code_is_read_from_the_paper():
    of_tags = [label(f"VA-{number}") for number in range(20)]
    assert sorted(codes(as_label_pdf(of_tags, ON, "https://calib.example"))) == sorted(
        f"https://calib.example/instruments/{each.tag}" for each in of_tags
    )


def test_a_sheet_holds_every_label_however_many_pages_that_takes():
    pages = pdf_pages(as_label_pdf([label(f"VA-{number:03}") for number in range(100)], ON))
    assert 1 < len(pages) < 8
    assert sum(page.count("certificate") for page in pages) == 100


@pytest.mark.parametrize("kind", [kind for kind in HOSTILE if not kind.startswith("long")])  # those make no code
def test_no_text_is_run_or_cut(kind):
    text = HOSTILE[kind]
    told = "".join("".join(pdf_pages(as_label_pdf([label(text, text)], ON))).split())
    for word in ("due2027-03-18", "certificate"):
        assert word in told
    plain = "".join(sign for sign in text if sign.isascii() and sign.isalnum())
    assert "".join(sign for sign in told if sign.isascii() and sign.isalnum()).count(plain[:20]) >= 2


def test_long_words_stay_within_their_label():
    content = as_label_pdf([label("T" * 120, "x" * 900), label()], ON)
    with closing(pypdfium2.PdfDocument(content)) as document:
        page = document[0].get_textpage()
        right = [page.get_rect(place)[2] for place in range(page.count_rects())]
    edges = [(10 + 60 * (column + 1) + 4 * column) * 72 / 25.4 for column in range(2)]  # [pt] of the labels
    assert max(right) < edges[1]
    assert sum("".join(pages).count("x") for pages in pdf_pages(content)) == 900


def test_the_same_labels_make_the_same_file():
    assert as_label_pdf([label()], ON) == as_label_pdf([label()], ON)


def test_a_text_too_long_for_a_code_is_named():
    with pytest.raises(CalibError, match="its tag and certificate make no QR code"):
        as_label_pdf([label("x" * 5000)], ON)


def test_verapdf_finds_pdf_a_3a_and_pdf_ua_1_kept(tmp_path):
    file = tmp_path / "labels.pdf"
    file.write_bytes(as_label_pdf([label(), label("測 <b>"), label(HOSTILE["right to left"])], ON))
    (standards,) = verapdf.findings(file).values()
    assert {standard: each["failed"] for standard, each in standards.items()} == {"PDF/A-3A": [], "PDF/UA-1": []}


def test_the_command_writes_it_and_takes_the_place_of_another_sheet_alone(demo_records, tmp_path):
    file = tmp_path / "labels.pdf"
    words = ("label", "VA-11", "--into", file, *DAY)
    assert calib(*words, records=demo_records).status == 0
    first = file.read_bytes()
    assert (first.startswith(LABELS_PDF[0]), "VA-11" in pdf_pages(io.BytesIO(first))[0]) == (True, True)
    assert calib(*words, records=demo_records).status == 0
    assert file.read_bytes() == first
    file.write_bytes(b"%PDF-1.7 a certificate\n%%EOF\n")
    refused = calib(*words, records=demo_records)
    assert (refused.status, "is no sheet of labels" in refused.err) == (2, True)
