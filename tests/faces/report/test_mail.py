"""A report as a message: what a mail program reads of it, and that no typed text changes how it is read.

Sources: RFC 5322, 2.1.1 (lines), 2.3 (CR LF), 3.6 (fields of a message); RFC 2045, 6.8 (base64) and 2046, 5.1 (boundaries);
RFC 2047 (encoded words); RFC 2387, 3.1 (type of a related part); RFC 2392 (cid); RFC 2606, 2 (.invalid).
What a message does against them Python's reader names as its defects.
"""

import io
import re
from dataclasses import replace
from datetime import datetime, timedelta, timezone

import pytest
from matplotlib.figure import Figure
from PIL import Image

from calib.faces.report.blocks import (
    Cell,
    Formula,
    Heading,
    Layout,
    Letterhead,
    Picture,
    Run,
    Table,
    TableColumn,
    TableRow,
    Title,
    runs,
)
from calib.faces.report.layout import lay_out
from calib.faces.report.mail import as_eml
from tests.hostile import HOSTILE, hostile_report
from tests.read_back import Mail, one_spaced, page_text
from tests.report_forms import Page, outside

PDF = b"%PDF-1.7\n" + bytes(range(256)) * 9 + b"\r\n--=_0_boundary\r\n%%EOF\n"
LATE = timezone(timedelta(hours=-3, minutes=-30))


def drawing():
    figure = Figure(figsize=(2, 1), layout="constrained")
    figure.subplots().plot([1, 2], [3, 4])
    return figure


def rows(*outlets, why="far off"):
    return tuple(TableRow((Cell((Run(each, to="flows"),)), Cell(runs(why)))) for each in outlets)


ROWS = rows(*(f"S-{number}" for number in range(20)))
LAYOUT = Layout(
    job="J-1",
    title="Flows of a small hall",
    revision=2,
    is_draft=False,
    issued=datetime(2026, 3, 6, 9, 0, tzinfo=LATE).isoformat(),
    ledger_digest="ab" * 32,
    blocks=(
        Title("Flows of a small hall", "Air flow report on job J-1"),
        Picture("curve", drawing(), 'a "curve" & <points>', runs("The curve.")),
        Heading(2, "Verdict", "verdict"),
        Table("Attention", (TableColumn("Outlet"), TableColumn("Why")), ROWS),
        Picture("budget", drawing(), "a budget"),
        Heading(2, "Measured flows", "flows"),
        Picture("flows", drawing(), "the flows"),
        Formula("q_v = v A", "<mi>q</mi>", "q_v = v A"),
    ),
)


@pytest.fixture(scope="module")
def message():
    return Mail.of(as_eml(LAYOUT, PDF))


def parts_of(mail):
    return list(mail.message.walk())


# --- as a mail program reads it --------------------------------------------------------------------------------------------------


def test_it_is_a_message_without_defects(message):
    assert [(part.get_content_type(), part.defects) for part in parts_of(message) if part.defects] == []
    assert [defect for field in message.message.values() for defect in field.defects] == []


def test_its_parts_stand_as_mail_programs_expect_them(message):
    assert [part.get_content_type() for part in parts_of(message)] == [
        "multipart/mixed", "multipart/alternative", "text/plain", "multipart/related", "text/html", "image/png", "image/png",
        "application/pdf",
    ]  # fmt: skip
    assert parts_of(message)[3].get_param("type") == "text/html"


def test_its_head_names_job_revision_and_moment(message):
    head = message.message
    assert head["Subject"] == "Air flow report J-1, revision 2: Flows of a small hall"
    assert head["Date"].datetime == datetime(2026, 3, 6, 9, 0, tzinfo=LATE)
    assert (head["From"].addresses[0].domain, head["To"], head["X-Unsent"]) == ("calib.invalid", None, "1")
    assert re.fullmatch(r"<[0-9a-f]{40}@calib\.invalid>", head["Message-ID"])


def test_a_draft_says_so_in_its_subject():
    head = Mail.of(as_eml(replace(LAYOUT, is_draft=True), PDF)).message
    assert head["Subject"] == "Air flow report J-1, draft of revision 2: Flows of a small hall"


def test_the_pdf_comes_back_to_the_last_byte(message):
    assert message.attachments == {"J-1-r2.pdf": PDF}


def test_its_lines_end_with_cr_lf_and_are_short():
    file = as_eml(LAYOUT, PDF)
    lines = file.split(b"\r\n")
    assert not [line for line in lines if b"\n" in line or b"\r" in line]
    assert max(map(len, lines)) <= 78
    assert file.isascii()


def test_the_page_shows_each_picture_that_came_with_it(message):
    page = Page.of(message.html)
    sources = [value.removeprefix("cid:") for tag, name, value in page.attributes if (tag, name) == ("img", "src")]
    pictures = {part["Content-ID"].strip("<>"): part for part in parts_of(message) if part["Content-ID"]}
    assert len(sources) == 2
    assert sources == list(pictures)
    assert all(part.get_payload(decode=True).startswith(b"\x89PNG") for part in pictures.values())
    assert {part.get_content_disposition() for part in pictures.values()} == {"inline"}
    assert [value for tag, name, value in page.attributes if (tag, name) == ("img", "alt")] == [
        'a "curve" & <points>',
        "a budget",
    ]


def outside_a_mail(html):
    """What the page would fetch or run; pictures that come with it are neither."""
    return [
        one for one in outside(Page.of(html)) if one != "img" and not (one[0] == "img" and one[2].startswith("cid:"))
    ]


def test_the_page_has_nothing_that_mail_programs_do_not_show(message):
    assert outside_a_mail(message.html) == []
    assert not {"svg", "math", "script"} & set(Page.of(message.html).elements)
    assert "var(" not in message.html
    assert "details" not in Page.of(message.html).elements


def test_both_bodies_are_the_first_page_and_name_what_is_attached(message):
    for body in (page_text(message.html), message.plain):
        assert "Verdict" in body
        assert "S-19" in body
        assert "Measured flows" not in body
        assert "q_v" not in body
        assert "The whole report is attached: J-1-r2.pdf." in one_spaced(body)


def test_no_link_leads_to_what_is_not_in_the_message(message):
    page = Page.of(message.html)
    assert "a" not in page.elements
    assert [row for row in page.rows if row[0] == "S-7"] == [["S-7", "far off"]]


def test_the_company_s_mark_comes_as_a_small_picture_beside_the_page():
    out = io.BytesIO()
    Image.effect_noise((3000, 900), 90).save(out, "PNG")
    blocks = (Letterhead("Company", ("there",), out.getvalue(), "image/png"), *LAYOUT.blocks)
    mail = Mail.of(as_eml(replace(LAYOUT, blocks=blocks), PDF))
    first, *others = [part for part in parts_of(mail) if part["Content-ID"]]
    source = next(value for tag, name, value in Page.of(mail.html).attributes if (tag, name) == ("img", "src"))
    assert first["Content-ID"] == f"<{source.removeprefix('cid:')}>"
    assert len(others) == 2
    with Image.open(io.BytesIO(first.get_payload(decode=True))) as shown:
        assert shown.size == (360, 108)


# --- size ------------------------------------------------------------------------------------------------------------------------


def without_pdf(file):
    """Bytes of a message beside the attached PDF, which base64 makes a third longer (RFC 2045, 6.8: lines of 76 and CR LF)."""
    (attached,) = Mail.of(file).attachments.values()
    signs = (len(attached) + 2) // 3 * 4
    return len(file) - signs - signs // 76 * 2


@pytest.mark.parametrize(
    "more",
    [
        rows(*(f"S-{number}" for number in range(2000)), why="far off, and so on " * 5),
        rows(*("S-" + "x" * 200 for _ in range(500)), why="y" * 400),
        rows("x" * 10_000, "y" * 9_000),
    ],
    ids=["2000 outlets", "long names", "two very long names"],
)
def test_a_message_is_small_beside_its_pdf_and_says_what_it_leaves_out(more):
    blocks = tuple(replace(one, rows=more) if isinstance(one, Table) else one for one in LAYOUT.blocks)
    file = as_eml(replace(LAYOUT, blocks=blocks), PDF)
    assert without_pdf(file) <= 300_000
    mail = Mail.of(file)
    shown = [
        row
        for row in Page.of(mail.html).rows
        if row[1:] == ["".join(each.text for each in more[0].cells[1].text).strip()]
    ]
    assert len(shown) >= min(len(more), 100)
    if len(shown) < len(more):
        for body in (page_text(mail.html), mail.plain):
            assert f"Attention: {len(more) - len(shown)} more in the attached report." in one_spaced(body)


def test_the_demo_s_message_is_small_beside_its_pdf(demo_folder):
    for file in demo_folder.glob("*.eml"):
        assert without_pdf(file.read_bytes()) <= 100_000


# --- the plain body --------------------------------------------------------------------------------------------------------------


def test_the_plain_body_is_read_without_the_page(demo_folder):
    mail = Mail.of(max(demo_folder.glob("*.eml")).read_bytes())
    assert max(map(len, mail.plain.splitlines())) <= 76
    assert len(mail.plain.splitlines()) < 120
    sentence = re.search(r"Of \d+ design flows .*?\.", one_spaced(mail.plain))[0]
    assert sentence in page_text(mail.html)


def test_each_cell_of_the_plain_body_stands_behind_its_label_and_what_a_notice_leads_to_is_placed(demo_folder):
    mail = Mail.of(max(demo_folder.glob("*.eml")).read_bytes())

    assert "other measurements: set the damper" in one_spaced(mail.plain)
    for body in (one_spaced(mail.plain), page_text(mail.html)):
        assert "Changes, in the attached report." in body


def test_no_line_of_the_plain_body_parts_a_value_from_its_unit(demo_folder):
    lines = Mail.of(max(demo_folder.glob("*.eml")).read_bytes()).plain.splitlines()

    assert [line for line in lines if re.match(r"\s*(m³/h|°C|%|± )", line) or line.endswith("±")] == []


def test_the_plain_body_tells_what_the_pictures_show(message):
    assert '[Picture: a "curve" & <points>]' in message.plain
    assert "Air flow report on job J-1" in message.plain


# --- bytes -----------------------------------------------------------------------------------------------------------------------


def test_the_same_report_is_the_same_bytes():
    other = replace(
        LAYOUT,
        blocks=tuple(replace(one, figure=drawing()) if isinstance(one, Picture) else one for one in LAYOUT.blocks),
    )
    assert as_eml(LAYOUT, PDF) == as_eml(LAYOUT, PDF) == as_eml(other, PDF)


def test_another_report_has_another_name():
    names = {Mail.of(as_eml(replace(LAYOUT, revision=number), PDF)).message["Message-ID"] for number in range(3)}
    assert len(names) == 3


# --- hostile text ----------------------------------------------------------------------------------------------------------------

INJECTED = "x\r\nBcc: everybody@calib.invalid\r\n\r\n<b>body</b>\r\n--=_0_"
TITLES = HOSTILE | {
    "injected": INJECTED,
    "encoded": "=?utf-8?q?=0D=0ABcc:_a?=",
    "control": "a\x00b\x1bc\u2028d\udc80",
    "empty": "",
}


@pytest.mark.parametrize("text", TITLES.values(), ids=TITLES)
def test_a_hostile_title_stays_in_the_subject(text):
    file = as_eml(replace(LAYOUT, job=f"{text}J-9", title=text, blocks=(Title(text, text),)), PDF)
    read = Mail.of(file).message
    assert list(read.keys()) == ["Subject", "From", "Date", "Message-ID", "X-Unsent", "MIME-Version", "Content-Type"]
    assert [part.defects for part in read.walk() if part.defects] == []
    assert read["Subject"].startswith("Air flow report ")
    assert str(read["Subject"]).isprintable()
    if text.isprintable() and len(text) < 50:
        assert read["Subject"] == f"Air flow report {text}J-9, revision 2: {text}"
    assert len(read["Subject"]) <= 160
    assert max(map(len, file.split(b"\r\n"))) <= 998
    assert len(list(read.iter_attachments())) == 1
    assert all(re.fullmatch(r"[\w.-]+", one.get_filename()) for one in read.iter_attachments())


def test_a_sign_that_is_not_shown_stands_in_the_subject_by_its_number():
    read = Mail.of(as_eml(replace(LAYOUT, title="a\u202eb\x00c"), PDF)).message
    assert read["Subject"].endswith(": a⟨U+202E⟩b⟨U+0000⟩c")


def test_a_title_in_another_script_is_read_back():
    assert Mail.of(as_eml(replace(LAYOUT, title="測風口 größe Ω"), PDF)).message["Subject"].endswith(": 測風口 größe Ω")


@pytest.fixture(scope="module")
def attacked(tmp_path_factory):
    """The message on a job that holds every hostile text but the long ones in every free cell."""
    text = " ".join(one for name, one in HOSTILE.items() if "long" not in name)
    content, used = hostile_report(tmp_path_factory.mktemp("mail"), text)
    return text, Mail.of(as_eml(lay_out(content, used), PDF))


def test_hostile_text_runs_nowhere_in_the_body(attacked):
    _, mail = attacked
    assert outside_a_mail(mail.html) == []
    assert [part.defects for part in mail.message.walk() if part.defects] == []


def test_hostile_text_is_whole_in_both_bodies(attacked):
    text, mail = attacked
    for body in (page_text(mail.html), mail.plain):
        for typed in ("Flows of a small hall", "Site", "Client"):
            assert squeezed(f"{text}{typed}") in squeezed(body)


def squeezed(text):
    return re.sub(r"\s", "", text)
