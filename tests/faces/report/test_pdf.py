"""The report as PDF, from a layout that holds every kind of block, read back with other programs than the one that wrote it.

ISO 19005-3 (PDF/A-3, level A) and ISO 14289-1 (PDF/UA-1) are checked by veraPDF, see `tests/verapdf.py`; pikepdf reads the
structure, qpdf within it checks the file, and PDFium reads the text and draws the pages.
"""

import io
import json
import re
import subprocess
import sys
from dataclasses import replace

import pikepdf
import pypdfium2
import pytest
from matplotlib.figure import Figure

from calib.faces.report.blocks import (
    Bullets,
    Cell,
    Formula,
    Heading,
    Layout,
    Mark,
    Notice,
    Paragraph,
    Picture,
    Run,
    Signatures,
    SignedInPdf,
    Strip,
    Table,
    TableColumn,
    TableRow,
    Title,
    runs,
)
from calib.faces.report.pdf import EmbeddedFile, begin_pdf
from calib.procedures.report.signing_key import PLACE
from tests import verapdf
from tests.hostile import HOSTILE
from tests.read_back import pdf_pages

DIGEST = "8e4d026a5206f77308378376091db77652fd7221d39b554093ef25e6ff7366e7"
ATTACHED = {
    "LM-27.json": EmbeddedFile(json.dumps({"job": "LM-27"}).encode(), "application/json", "Every number unrounded"),
    "LM-27.csv": EmbeddedFile(b"outlet,flow\r\nS1-1,610\r\n*/#x[/*\r\n", "text/csv", "One table"),
}
STATEMENTS = ("pass", "conditional pass", "conditional fail", "fail")
WIDE = tuple(TableColumn(f"Contribution {number}", is_number=True) for number in range(20))


def picture(title="Correction"):
    figure = Figure(figsize=(6.4, 3.0))
    axes = figure.subplots()
    axes.plot([0.0, 1.0], [0.0, 2.5])
    axes.set_title(title, parse_math=False)
    return figure


def flow(number):
    cells = (
        Cell(runs(Run(f"S1-{number} reading room", to="curve-VA-11"))),
        Cell(runs(f"{600 + number} ± {40 + number % 9} m3/h"), 600.0 + number, "m3/h"),
        Cell(runs(f"{90 + number / 10:.1f}")),
        Cell((Run(STATEMENTS[number % 4], Mark.STATEMENT),)),
        Cell(runs("read twice, the door open" if number % 2 else "")),
    )
    return TableRow(cells, anchor=f"flow-{number}")


FLOWS = Table(
    "Flows of AHU-1",
    (
        TableColumn("Outlet"),
        TableColumn("Flow ± U", is_number=True),
        TableColumn("% of design", is_number=True),
        TableColumn("Conformity", is_short=True),
        TableColumn("Remarks", is_wordy=True),
    ),
    (*(flow(number) for number in range(90)), TableRow((Cell(runs("Total")), Cell(runs("54045 m3/h"))), is_total=True)),
    caption=runs("Flows with their expanded uncertainty, and ", Run("nowhere", to="no such place")),
)
BUDGETS = Table(
    "Budgets",
    WIDE,
    tuple(TableRow(tuple(Cell(runs(f"{100 * row + number}.25")) for number in range(20))) for row in range(1, 4)),
)
BLOCKS = (
    Title("Larkmoor Seed Library", "Air flow report on job LM-27"),
    Strip((("Site", "east wing"), ("Readings that stand", "29"), ("Refused", "1"))),
    Notice("One reading was refused. ", runs("The reasons stand under ", Run("Flows", to="flows"), ".")),
    Heading(2, "Measured flows", "flows"),
    Heading(3, "System AHU-1"),
    FLOWS,
    Heading(2, "Uncertainty budgets"),
    Paragraph(runs("What each contributes, ", Run("in words", Mark.SOFT), " and ", Run("in short", Mark.STRONG), ".")),
    BUDGETS,
    Heading(2, "Curves"),
    Formula("u_c^2(y) = sum_(i=1)^N c_i^2 u^2(x_i)", "", "u_c²(y) = Σ c_i² u²(x_i)"),
    Picture("VA-11", picture(), "Correction of VA-11 over its indication", runs("Curve of VA-11"), "curve-VA-11"),
    Bullets((runs("first caution"), runs("second caution"))),
    Paragraph(runs(Run(DIGEST, Mark.CODE)), soft=True, anchor="digest"),
    Signatures((("Certifying engineer", ""), ("Issued by", "R. Sorrel"))),
)
LAYOUT = Layout("LM-27", "Larkmoor Seed Library", 3, True, "2026-10-15T09:00:00+01:00", DIGEST, blocks=BLOCKS)


class Made:
    """A report as PDF in a file, and what other programs read in it."""

    def __init__(self, file, made):
        self.file, self.bytes = file, made
        file.write_bytes(made)
        self.pdf = pikepdf.open(file)

    def pages(self):
        """Text of each page, on one line."""
        return pdf_pages(self.bytes)

    def text(self):
        return " ".join(self.pages())

    def unbroken(self):
        """All text without a space, so that a break within a word does not matter."""
        return "".join(self.text().split())

    def elements(self, kind):
        """Elements of the structure tree of one kind."""
        found, rising = [], [self.pdf.Root.StructTreeRoot]
        while rising:
            element = rising.pop()
            if element.get("/S") == kind:
                found.append(element)
            below = element.get("/K", [])
            below = below if isinstance(below, pikepdf.Array) else [below]
            rising += [one for one in below if isinstance(one, pikepdf.Dictionary)]
        return found


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    return tmp_path_factory.mktemp("pdf")


@pytest.fixture(scope="module")
def report(folder):
    return Made(folder / "report.pdf", begin_pdf(LAYOUT, ATTACHED).result())


@pytest.fixture(scope="module")
def letter(folder):
    return Made(folder / "letter.pdf", begin_pdf(replace(LAYOUT, is_draft=False), ATTACHED, paper="us-letter").result())


@pytest.fixture(scope="module")
def hostile(folder):
    """A report with each hostile text wherever typed text may stand."""
    texts = tuple(HOSTILE.values())
    columns = (
        TableColumn("Outlet"),
        TableColumn("Flow", is_number=True),
        TableColumn("Kind", is_short=True),
        TableColumn("Remarks", is_wordy=True),
    )
    rows = tuple(
        TableRow(tuple(Cell(runs(one)) for one in (text[:100], text[:100], text[:100], text)), anchor=text)
        for text in texts
    )
    blocks = [
        Table("All", columns, rows, caption=runs(*(text[:500] for text in texts))),
        Strip(tuple((text[:100], text[:100]) for text in texts)),
    ]
    for number, text in enumerate(texts):
        some = text[:110]
        blocks += [
            Title(some, some),
            Heading(2, some, f"{number}{some}"),
            Notice(some, runs(Run(some, to=text))),
            Paragraph(runs(*(Run(some, mark) for mark in Mark))),
            Bullets((runs(some),)),
            Picture(some, picture(some[:40]), text, runs(some)),
            Signatures(((some, some),)),
        ]
    whole = "".join(texts)
    layout = Layout(whole, whole, 1, True, "2026-10-15T09:00:00+01:00", DIGEST, blocks=tuple(blocks))
    return Made(
        folder / "hostile.pdf",
        begin_pdf(layout, {"測 (1)=+.json": EmbeddedFile(b"\x00\xff", "application/json", whole)}).result(),
    )


@pytest.fixture(scope="module")
def validated(folder, report, letter, hostile):
    """Findings of veraPDF on each file, and on one that lost the alternative text of its picture and its mark as PDF/A."""
    with pikepdf.open(report.file) as spoiled:
        made = Made(report.file, report.bytes)
        made.pdf = spoiled
        for figure in made.elements("/Figure"):
            del figure["/Alt"]
        metadata = spoiled.Root.Metadata.read_bytes()
        spoiled.Root.Metadata.write(metadata.replace(b"<pdfaid:part>3", b"<pdfaid:part>1"))
        spoiled.save(folder / "spoiled.pdf")
    files = (report.file, letter.file, hostile.file, folder / "spoiled.pdf")
    return {file.stem: found for file, found in zip(files, verapdf.findings(*files).values(), strict=True)}


@pytest.mark.parametrize("name", ["report", "letter", "hostile"])
def test_verapdf_finds_pdf_a_3a_and_pdf_ua_1_kept(validated, name):
    assert {standard: found["failed"] for standard, found in validated[name].items()} == {
        "PDF/A-3A": [],
        "PDF/UA-1": [],
    }


def test_verapdf_made_every_kind_of_check(validated):
    found = validated["report"]
    assert found["PDF/A-3A"]["rules"] > 150
    assert found["PDF/UA-1"]["rules"] > 100
    assert all(one["checks"] > 10_000 for one in found.values())


def test_verapdf_sees_a_missing_alternative_text_and_a_false_part(validated):
    assert any(one.startswith("7.3-1") for one in validated["spoiled"]["PDF/UA-1"]["failed"])
    assert any(one.startswith("6.6.4") for one in validated["spoiled"]["PDF/A-3A"]["failed"])


@pytest.mark.parametrize("issuer", ["A CA", "W" * 60, "測" * 60])
def test_what_is_read_where_it_is_signed_lies_within_the_field(issuer):
    signed = SignedInPdf(
        f"Signed electronically. Certificate issued by {issuer}, SHA-256 0123456789abcdef.", "2026-10-15", PLACE
    )
    block = Signatures((("Certifying engineer", "R. Sorrel"), ("Issued by", "R. Sorrel")), signed)
    made = begin_pdf(replace(LAYOUT, blocks=(*BLOCKS[:1], Heading(2, "Signatures"), block)), {}).result()
    with pikepdf.open(io.BytesIO(made)) as pdf:
        (left, bottom, right, top) = (float(side) for side in pdf.pages[0].Annots[0].Rect)
    page = pypdfium2.PdfDocument(made)[0]
    text = page.get_textpage()
    begin = text.get_text_range().index("Signed electronically")
    end = text.get_text_range().index("abcdef.") + len("abcdef.")
    boxes = [text.get_charbox(place) for place in range(begin, end) if text.get_text_range(place, 1).strip()]
    assert min(box[0] for box in boxes) >= left
    assert max(box[2] for box in boxes) <= right
    assert min(box[1] for box in boxes) >= bottom
    assert max(box[3] for box in boxes) <= top


def test_qpdf_finds_nothing_wrong_in_a_file(report, hostile):
    for made in (report, hostile):
        assert made.pdf.check_pdf_syntax() == []


def test_pdfium_draws_every_page(report, hostile):
    for made in (report, hostile):
        drawn = [page.render(grayscale=True).to_numpy() for page in pypdfium2.PdfDocument(made.bytes)]
        assert len(drawn) == len(made.pdf.pages)
        assert all(page.min() < 128 < page.max() for page in drawn)  # ink on paper


def test_every_text_of_the_layout_can_be_read(report):
    text = report.text()
    for table in (FLOWS, BUDGETS):
        for row in table.rows:
            for cell in row.cells:
                assert all(run.text in text for run in cell.text)
    for said in ("Larkmoor Seed Library", "Air flow report on job LM-27", "Readings that stand", "One reading was refused.",
                 "first caution", "What each contributes, in words and in short.", "Curve of VA-11", "R. Sorrel",
                 DIGEST):  # fmt: skip
        assert said in text


def test_statements_carry_their_signs(report):
    text = report.text()
    assert [text.count(sign) for sign in "●◐◔✘"] == [23, 23, 22, 22]
    assert "● pass" in text.replace("\N{NO-BREAK SPACE}", " ")


def test_text_signs_digests_and_pictures_are_of_one_typeface_family_and_formulas_of_its_mathematics(report):
    fonts = {
        str(each.FontName)
        for each in report.pdf.objects
        if isinstance(each, pikepdf.Dictionary) and "/FontName" in each
    }
    assert {re.split(r"[+-]", name)[1] for name in fonts} == {"LibertinusSerif", "NewCMMath"}


def test_each_page_says_what_it_belongs_to(report):
    pages = report.pages()
    assert len(pages) == len(report.pdf.pages) > 2
    for number, page in enumerate(pages, 1):
        assert f"Page {number} of {len(pages)}" in page
        for said in ("Job LM-27", "Revision 3", "draft, not issued", DIGEST):
            assert said in page


def test_an_issued_report_is_not_called_a_draft(letter):
    assert "draft" not in letter.text()


def test_a_table_s_head_is_repeated_on_each_page(report):
    pages = [page for page in report.pages() if "reading room" in page]
    assert len(pages) > 1
    assert all(re.search(r"Outlet .*Conformity Remarks", page) for page in pages)


def test_what_may_be_taken_for_bookmarks_are_the_headings(report):
    with report.pdf.open_outline() as outline:

        def titles(items, level):
            for item in items:
                yield level, item.title
                yield from titles(item.children, level + 1)

        found = list(titles(outline.root, 2))
    assert found == [(block.level, block.text) for block in BLOCKS if isinstance(block, Heading)]


def test_title_language_author_and_time_of_issue_are_told(report):
    with report.pdf.open_metadata() as metadata:
        assert metadata["pdfaid:part"] == "3"
        assert metadata["pdfaid:conformance"] == "A"
        assert metadata["pdfuaid:part"] == "1"
        assert metadata["dc:title"] == "Larkmoor Seed Library"
    assert str(report.pdf.Root.Lang) == "en"
    assert report.pdf.Root.MarkInfo.Marked == True  # noqa: E712  an object of PDF
    assert str(report.pdf.docinfo["/CreationDate"]) == "D:20261015080000+00'00"  # in UTC
    assert str(report.pdf.docinfo["/Author"]) == "calib"


def test_attachments_come_back_to_the_last_byte(report, hostile):
    for name, one in ATTACHED.items():
        assert report.pdf.attachments[name].get_file().read_bytes() == one.content
        assert report.pdf.attachments[name].get_file().mime_type == one.media_type
    assert [str(one.AFRelationship) for one in report.pdf.Root.AF] == ["/Data", "/Data"]
    (attached,) = hostile.pdf.Root.AF
    assert (str(attached.UF), attached.EF.F.read_bytes()) == ("測 (1)=+.json", b"\x00\xff")


def test_what_is_attached_is_not_parsed_by_the_typesetter():
    """Parsed as its own language, ten million bytes took it 60 MB more than the process that starts it, which counts at least."""
    program = f"""
import json, resource
from calib.faces.report.blocks import Layout
from calib.faces.report.pdf import EmbeddedFile, begin_pdf
numbers = json.dumps([{{"name": "repeatability", "u": at / 7}} for at in range(200_000)]).encode()
layout = Layout("LM-27", "Seeds", 1, False, "2026-10-15T09:00:00+01:00", "{DIGEST}")
taken = []
for attached in ({{}}, {{"LM-27.json": EmbeddedFile(numbers, "application/json", "Numbers")}}):
    begin_pdf(layout, attached).result()
    taken.append(1024 * resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss)
print((taken[1] - taken[0]) / len(numbers))
"""
    ran = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
    assert float(ran.stdout) < 3


def test_pictures_and_formulas_have_a_text_that_stands_for_them(report):
    assert [str(one.Alt) for one in report.elements("/Figure")] == ["Correction of VA-11 over its indication"]
    assert [str(one.Alt) for one in report.elements("/Formula")] == ["u_c²(y) = Σ c_i² u²(x_i)"]


def test_tables_have_cells_of_a_head(report):
    assert len(report.elements("/Table")) == 2
    assert len(report.elements("/TH")) == len(FLOWS.columns) + len(BUDGETS.columns)


def test_text_in_a_picture_stays_text(report):
    assert "Correction" in report.pages()[-1]


def test_links_lead_to_places_that_are_there_and_to_no_other(report):
    links = [one for page in report.pdf.pages for one in page.get("/Annots", []) if one.get("/Subtype") == "/Link"]
    assert len(links) == 1 + 90  # in the notice, and one of each flow
    assert not any("/URI" in one.get("/A", {}) for one in links)
    text = report.text()
    assert "and nowhere" in text


def test_a_table_that_is_too_wide_lies_on_its_side_with_its_heading(report):
    sides = [page.mediabox[2] > page.mediabox[3] for page in report.pdf.pages]
    assert sides.count(True) == 1
    assert "Uncertainty budgets" in report.pages()[sides.index(True)]


def test_the_same_layout_gives_the_same_bytes(report):
    fresh = replace(
        LAYOUT, blocks=tuple(replace(one, figure=picture()) if isinstance(one, Picture) else one for one in BLOCKS)
    )
    assert begin_pdf(fresh, ATTACHED).result() == report.bytes


def test_other_paper_is_filled_as_well(letter, report):
    assert {tuple(map(float, page.mediabox)) for page in letter.pdf.pages} == {(0, 0, 612, 792), (0, 0, 792, 612)}
    assert {tuple(round(float(side)) for side in page.mediabox) for page in report.pdf.pages} == {
        (0, 0, 595, 842),
        (0, 0, 842, 595),
    }


def test_hostile_text_appears_as_text(hostile):
    text = hostile.text()
    for said in ('#import "x.typ": * #read("/etc/hosts") $x^2$ *bold* _slanted_ @ref <label> `raw` = Heading',
                 "<script>alert(1)</script>", '=HYPERLINK("http://x";"y")', "+1+cmd|' /C calc'!A0", "@SUM(A1)",
                 "$\\frac{1}{0}$ %s %(x)d \\x41 '; DROP TABLE job; -- tab"):  # fmt: skip
        assert said.replace(" ", "") in hostile.unbroken()
    assert "127.0.0.1" not in text


def test_nothing_in_a_hostile_report_acts(hostile):
    root = hostile.pdf.Root
    assert not {"/OpenAction", "/AA", "/AcroForm"} & set(root.keys())
    assert "/JavaScript" not in root.get("/Names", {})
    actions = [one.get("/A") for page in hostile.pdf.pages for one in page.get("/Annots", [])]
    assert all(action is None or action.get("/S") == "/GoTo" for action in actions)


def test_marks_that_turn_a_line_are_shown_by_their_number_and_the_page_says_so(hostile, report):
    text = hostile.text()
    assert "⟨U+202E⟩" in text
    assert "⟨U+6E2C⟩" in text
    assert not re.search("[\u202e\u200f\u2067]", text)
    example = "shown by their number in Unicode, such as ⟨U+6E2C⟩."
    told = [page for page in hostile.pages() if example in page]
    assert told == [page for page in hostile.pages() if "⟨U+" in page.replace(example, "")] != []
    assert "Unicode" not in report.text()


def test_ten_thousand_signs_without_a_space_stay_on_the_page(hostile):
    pages = list(pypdfium2.PdfDocument(hostile.bytes))
    assert len(pages) == len(hostile.pdf.pages)
    for page in pages:
        (width, height), text = page.get_size(), page.get_textpage()
        boxes = [text.get_rect(number) for number in range(text.count_rects())]
        assert len(boxes) > 10
        # The margins are 42.5 pt; a blank at the end of a line of the title hangs out.
        assert all(left > 40 and right < width - 37 for left, _, right, _ in boxes)
        assert all(bottom > 17 and top < height - 17 for _, bottom, _, top in boxes)  # 6 mm, which printers reach
    assert hostile.unbroken().count("x") > 10_000


@pytest.mark.parametrize(
    "blocks", [(), (Table("None", FLOWS.columns, ()),), (Heading(3, ""), Paragraph(()), Bullets(()))]
)
def test_an_empty_report_is_one_page(blocks):
    made = begin_pdf(Layout("", "", 1, False, "2026-10-15", "", blocks=blocks), {}).result()
    assert len(pikepdf.open(io.BytesIO(made)).pages) == 1


def pages_of(*blocks):
    """The text of each page of a report of these blocks."""
    made = begin_pdf(Layout("J-1", "Title", 1, False, "2026-10-15", "", blocks=blocks), {}).result()
    return pdf_pages(made)


LONG = TableRow((Cell(runs("S1-0")), *[Cell(runs(" ".join(["2.51;"] * 60) + " end"))] * (len(FLOWS.columns) - 1)))


@pytest.mark.parametrize("lines", [8, 60], ids=["which ends there", "which runs over"])
def test_what_begins_a_page_stands_on_the_second_behind_a_first_page(lines):
    """A few lines that the first one has no room for have no page to themselves."""
    said = (Paragraph(runs(f"line {number}")) for number in range(lines))
    pages = pages_of(*said, Heading(2, "Measured flows", begins_page=True), Paragraph(runs("One flow.")))
    assert ["Measured flows One flow." in page for page in pages] == [False, True]


@pytest.mark.parametrize("lines", range(30, 46, 3))
def test_a_row_is_not_parted_by_the_end_of_a_page(lines):
    """Whatever room the lines above leave on the page."""
    table = Table("Readings", FLOWS.columns, (LONG,))
    (page,) = [each for each in pages_of(*[Paragraph(runs("line"))] * lines, table) if "2.51" in each]
    assert "S1-0" in page
    assert "end" in page


SMALL = Table("Totals", FLOWS.columns, tuple(flow(number) for number in range(3)), is_compact=True)


@pytest.mark.parametrize("lines", range(36, 46))
def test_a_small_table_is_not_parted(lines):
    """Whatever room the lines above leave on the page."""
    (page,) = [one for one in pages_of(*[Paragraph(runs("line"))] * lines, SMALL) if "S1-0" in one]
    assert "S1-2" in page


@pytest.mark.parametrize("lines", range(34, 46))
def test_a_formula_stands_with_what_it_is_of_and_with_the_table_below(lines):
    part = (Heading(3, "B1"), Paragraph(runs("reading 1")), Formula("q = 1", "<mi>q</mi>", "q"), SMALL)
    (page,) = [one for one in pages_of(*[Paragraph(runs("line"))] * lines, *part) if "B1" in one]
    assert "reading 1" in page
    assert "S1-0" in page
