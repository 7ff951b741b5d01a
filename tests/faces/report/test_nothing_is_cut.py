"""A report is read whole, whatever its job is like: nothing is cut, parted, too small, over something else, or ends in an ellipsis.

Common practice, no source. Boxes of text are measured against their cells as a browser lays out the page, in a wide font and in a
narrow one, on a telephone, a tablet, in a window and on paper; and in the PDF as PDFium reads it, on A4 and Letter.
"""

import pytest
from pypdfium2 import PdfDocument

from calib.faces.report.content import content
from calib.faces.report.layout import lay_out
from calib.faces.report.page import as_html
from calib.faces.report.pdf import begin_pdf
from calib.procedures.report.collect import report
from calib.records import database
from tests import browser
from tests.benchmarks.report_forms import job_of
from tests.folders import NOW, records_of, small_job
from tests.hostile import hostile_job

FONTS = {"DejaVu Sans": "fonts-dejavu-core", "Liberation Sans": "fonts-liberation"}
CELLS = "td, th, p:not(.formula), li, dt, dd, h1, h2, h3, summary, caption, figcaption"
MM = 96 / 25.4  # CSS pixels
PAPERS = {"A4": (210 - 24) * MM, "Letter": (215.9 - 24) * MM}  # between margins of 12 mm
WITHOUT_BLANKS = ("Lecturehallventilation" * 10)[:200]
WITH_BLANKS = ("the large lecture hall on the upper floor " * 5)[:199] + " "


def failing(sheets):
    """Every fourth reading far below its design, with a remark."""
    for reading in sheets["readings.csv"][::4]:
        reading |= {"indication": "2.00", "observations": "2.00;2.00;2.00", "remarks": "damper stuck"}
    return sheets


def of_readings(count):
    sheets = small_job()
    sheets["readings.csv"] = sheets["readings.csv"][:count]
    if not count:
        del sheets["readings.csv"]
    return sheets


JOBS = {
    "300 readings": lambda: failing(job_of(300)),
    "nothing measured": lambda: of_readings(0),
    "one reading": lambda: of_readings(1),
    "names without blanks": lambda: failing(hostile_job(WITHOUT_BLANKS)),
    "names with blanks": lambda: failing(hostile_job(WITH_BLANKS)),
}


@pytest.fixture(scope="module", params=JOBS)
def layout(request, tmp_path_factory):
    records = records_of(tmp_path_factory.mktemp("job"), JOBS[request.param]())
    with database.reading(str(records)) as session:
        found = report(session, "J-1", NOW)
        return lay_out(content(found, NOW), found.every_calibration)


# --- the page --------------------------------------------------------------------------------------------------------------------


def on_paper(page):
    """The page with its rules for paper alone."""
    return page.replace("@media screen and", "@media not all and").replace("@media print", "@media all")


@pytest.mark.parametrize("family", FONTS)
def test_nothing_of_the_page_is_cut_parted_small_or_over_something_else(layout, tmp_path, family):
    browser.program()
    page = as_html(layout).replace("<details", "<details open")
    places = dict.fromkeys(browser.WIDTHS, page) | dict.fromkeys(PAPERS, on_paper(page))
    widths = [PAPERS.get(place, place) for place in places]
    fonts = browser.only_font(tmp_path, family, FONTS[family])
    found = browser.faults_in_frames(tmp_path, places.values(), CELLS, widths, fonts)
    faults = {place: [fault for cell in cells for fault in cell] for place, cells in zip(places, found, strict=True)}
    assert {place: own[:5] for place, own in faults.items() if own} == {}


def test_no_page_is_wider_than_its_window(layout, tmp_path):
    browser.program()
    page = as_html(layout).replace("<details", "<details open")
    windows = (*browser.WIDTHS, 1000)
    wide, _ = browser.widths(tmp_path, [page] * len(windows), windows)

    assert [(window, width) for window, width in zip(windows, wide, strict=True) if width > window] == []


# --- the PDF ---------------------------------------------------------------------------------------------------------------------

MARGIN = 42.5  # [pt] beside the text of a page: 15 mm
BESIDE = 1.0  # [pt] that the boxes of two letters may overlap
KERNED = 2.0  # [pt] of two letters on one line, as V and A
BLANK = 6.0  # [pt] at the end of a line in the largest letters, which nobody sees
POINTS = {"a4": (595.3, 841.9), "us-letter": (612.0, 792.0)}


def boxes(page):
    """Lines of text of a page: the text, and left, lower, right, upper end [pt]; none of formulas, whose parts may overlap."""
    text = page.get_textpage()
    rectangles = [text.get_rect(place) for place in range(text.count_rects(0, -1))]
    told = [(text.get_text_bounded(*rectangle), rectangle) for rectangle in rectangles]
    return [(said, box) for said, box in told if not any("\U0001d400" <= sign <= "\U0001d7ff" for sign in said)]


def meet(one, other):
    wide, high = (min(one[end], other[end]) - max(one[end - 2], other[end - 2]) for end in (2, 3))
    return high > BESIDE and wide > (KERNED if abs(one[1] - other[1]) < BESIDE else BESIDE)


def over_one_another(texts):
    """Pairs of texts whose boxes overlap; sorted by their upper end, so that few are compared."""
    texts = sorted(texts, key=lambda each: -each[1][3])
    for place, (said, box) in enumerate(texts):
        for beneath, other in texts[place + 1 :]:
            if other[3] < box[1]:
                break
            if meet(box, other):
                yield said, beneath


@pytest.fixture(scope="module", params=POINTS)
def typeset(layout, request):
    """The PDF's pages on a paper: width and height, and the texts of each with their boxes."""
    made = begin_pdf(layout, {}, paper=request.param).result()
    with PdfDocument(made) as document:
        pages = [(page.get_size(), boxes(page)) for page in document]
    assert pages[0][0] == pytest.approx(POINTS[request.param], abs=0.1)
    return pages


def test_every_text_of_the_pdf_lies_between_its_margins(typeset):
    for number, ((width, height), texts) in enumerate(typeset, start=1):
        beyond = [said for said, (left, low, right, high) in texts if left < MARGIN - BESIDE or right > width - MARGIN + BLANK
                  or low < 0 or high > height]  # fmt: skip
        assert (number, beyond) == (number, [])


def test_no_text_of_the_pdf_lies_over_another(typeset):
    assert [
        (number, pair) for number, (_, texts) in enumerate(typeset, start=1) for pair in over_one_another(texts)
    ] == []


def test_no_text_of_the_pdf_ends_in_an_ellipsis(typeset):
    assert [
        (number, said) for number, (_, texts) in enumerate(typeset, start=1) for said, _ in texts if "…" in said
    ] == []


def test_texts_over_one_another_would_be_seen():
    box = (100.0, 700.0, 150.0, 707.0)
    assert list(over_one_another([("a", box), ("b", (140.0, 703.0, 190.0, 710.0))])) == [("b", "a")]
    assert (
        list(over_one_another([("a", box), ("b", (150.5, 703.0, 190.0, 710.0)), ("c", (100.0, 707.2, 150.0, 714.0))]))
        == []
    )
