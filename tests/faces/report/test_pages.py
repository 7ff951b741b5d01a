"""How long a report is on paper, how small its letters are, and what stands on its first two pages.

The bounds are those that the paper was laid out for: the demo job at most 14 pages from the typesetter and from a browser, 300
readings at most 35; no letters below 8.5 pt in a table or a picture, none below 9 pt in running text, but subscripts. Sizes are
those that PDFium tells of each sign, by the matrix it is drawn with.
"""

import ctypes
import itertools
import re
import unicodedata

import pypdfium2
import pytest
from pypdfium2 import raw

from tests import browser
from tests.benchmarks.report_forms import job_of
from tests.command import calib
from tests.folders import records_of

MOST_OF_THE_DEMO, MOST_OF_300 = 14, 35
IN_A_TABLE, IN_TEXT, ROUNDING = 8.5, 9.0, 0.05  # [pt]
SUBSCRIPTS = {
    "i", "j", "k", "jk", "n", "e", "V", "P", "0", "1", "2", "res", "cal", "ref", "stab", "dec", "com", "own", "ρ", "eff",
}  # fmt: skip
WITHIN_FRACTIONS = {"1q22", "rq12", "rq21", "−1/2", "−12"}  # of the hood's formula, a fraction of fractions
FAILING = (3, 40, 77, 114, 151, 188, 225, 262, 299)  # of 300 outlets
UNSURE = (11, 98, 185, 272)
AWAY = {**dict.fromkeys(FAILING, 0.6), **dict.fromkeys(UNSURE, 0.75)}  # share of its design that an outlet has about


def test_what_answers_a_client_stands_on_the_first_page_and_the_flows_begin_on_the_second(demo_folder):
    with pypdfium2.PdfDocument(demo_folder / "LM-27-r2.pdf") as document:
        first, second = (" ".join(document[page].get_textpage().get_text_range().split()) for page in (0, 1))
    assert "Of 21 design flows" in first
    assert "the first is due on" in first  # its last sentence
    assert re.search(r"Revision 2 Measured flows", second)


def signs_of(pdf):
    """Every sign that is seen, with its page and its size [pt]."""
    with pypdfium2.PdfDocument(pdf) as document:
        for number, page in enumerate(document, 1):
            text, matrix = page.get_textpage(), raw.FS_MATRIX()
            for place in range(text.count_chars()):
                sign = chr(raw.FPDFText_GetUnicode(text, place))
                if sign.strip() and sign not in "\N{SOFT HYPHEN}\ufffe":
                    raw.FPDFText_GetMatrix(text, place, ctypes.byref(matrix))
                    yield sign, number, raw.FPDFText_GetFontSize(text, place) * (matrix.c**2 + matrix.d**2) ** 0.5


def small_texts(pdf, smallest):
    """Runs of signs below a size; letters of formulas as plain ones."""
    grouped = itertools.groupby(signs_of(pdf), key=lambda each: (each[2] < smallest - ROUNDING, each[1]))
    runs = ["".join(sign for sign, *_ in run) for (is_small, _), run in grouped if is_small]
    whole = (run.encode("utf-16", "surrogatepass").decode("utf-16") for run in runs)  # PDFium tells halves of pairs
    return {unicodedata.normalize("NFKC", run.strip("¯")) for run in whole} - {""}


def sizes_of(pdf, said):
    """Sizes of the signs of a text, wherever it stands."""
    every = list(signs_of(pdf))
    text, said = "".join(sign for sign, *_ in every), re.sub(r"\s", "", said)
    return {
        round(size, 1)
        for start in re.finditer(re.escape(said), text)
        for *_, size in every[start.start() : start.end()]
    }


def page_texts(pdf):
    with pypdfium2.PdfDocument(pdf) as document:
        return [
            " ".join(page.get_textpage().get_text_range().replace("\N{NO-BREAK SPACE}", " ").split())
            for page in document
        ]


@pytest.fixture(scope="module")
def demo_pdf(demo_folder):
    return demo_folder / "LM-27-r2.pdf"


@pytest.fixture(scope="module")
def printed(demo_folder, tmp_path_factory):
    """The demo's page as a browser prints it."""
    folder = tmp_path_factory.mktemp("printed")
    browser.printed(folder, demo_folder / "LM-27-r2.html")
    return folder / "printed.pdf"


@pytest.fixture(scope="module")
def of_300(tmp_path_factory):
    """A report on 300 outlets, each near its design but those that are not."""
    folder = tmp_path_factory.mktemp("of-300")
    sheets = job_of(300)
    near = ("1017", "411", "548", "38.6")  # m3/h, and L/s: about what each of the four readings gives
    for number, outlet in enumerate(sheets["outlets.csv"]):
        outlet["design_flow"] = f"{float(near[number % 4]) / AWAY.get(number, 1.0):.4g}"
        outlet["tolerance_percent"] = "20"
    records = records_of(folder, sheets)
    assert calib("report", "J-1", "--format", "pdf,json", "--into", folder, records=records).status == 0
    return next(folder.glob("*.pdf"))


def test_the_demo_s_report_is_short(demo_pdf):
    assert len(page_texts(demo_pdf)) <= MOST_OF_THE_DEMO


def test_the_demo_s_page_is_as_short_when_a_browser_prints_it(printed):
    assert len(page_texts(printed)) <= MOST_OF_THE_DEMO


def test_a_report_on_300_readings_is_short(of_300):
    assert len(page_texts(of_300)) <= MOST_OF_300


def test_every_outlet_of_300_that_fails_or_may_fail_stands_on_the_first_two_pages(of_300):
    first, second, *others = page_texts(of_300)
    told = dict(re.findall(r"(?<!\S)(\d+) \(AH-\d+, \w+\) .{0,50}?(conditional fail|fail)(?!\S)", f"{first} {second}"))
    assert {int(number) for number, word in told.items() if word == "fail"} == set(FAILING)
    assert {int(number) for number, word in told.items() if word == "conditional fail"} == set(UNSURE)
    fails = re.findall("(?:✘ fail|◔ conditional fail)", " ".join([first, second, *others]))
    assert len(fails) == 2 * len(AWAY)  # once more in the tables of flows


@pytest.mark.parametrize("name", ["demo_pdf", "of_300", "printed"])
def test_no_letters_are_smaller_than_those_of_tables_but_subscripts(request, name):
    small = small_texts(request.getfixturevalue(name), IN_A_TABLE)
    assert small <= SUBSCRIPTS | WITHIN_FRACTIONS


@pytest.mark.parametrize(
    "said",
    [
        "Beside the percentage a bar shows the flow",
        "The sign of the net flow says which way air leaks",  # said beside
        "Certifying engineer, who issued it",
        "Job LM-27 · Larkmoor Seed Library",  # at the head of each page
        "Page 2 of",
    ],
)
def test_running_text_is_no_smaller_than_nine_points(demo_pdf, said):
    assert min(sizes_of(demo_pdf, said)) >= IN_TEXT - ROUNDING


def test_units_and_powers_of_ten_are_typeset(demo_pdf):
    text = " ".join(page_texts(demo_pdf))
    assert re.findall(r"\bm3\b|degC|ft2|\de-\d|\b[A-Za-zδρν]_[a-z]|\w\.csv", text) == []
    assert "× 10⁻⁷" in text


def test_a_coefficient_that_a_curve_lacks_is_not_printed_as_a_number(demo_pdf):
    """VA-12 has a curve of the second degree, whose scatter is that of candidates of the third degree too."""
    text = " ".join(page_texts(demo_pdf))
    assert re.search(r"a₃ \(of x³\) not in the curve, u = \d", text)
    assert "3.44 degrees of freedom" in text


def test_readings_that_a_later_one_replaced_are_not_among_the_flows(demo_pdf):
    text = " ".join(page_texts(demo_pdf))
    flows = text.partition("Measured flows")[2].partition("Balance All systems")[0]
    assert flows.count("S1-6 corridor supply") == 1
    assert "a later reading counts" not in flows
    assert "a later reading counts" in text
