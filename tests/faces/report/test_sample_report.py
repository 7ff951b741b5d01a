"""The committed sample report in reports/ is that of the demo as it is now; `calib demo --into reports` writes it anew.

Text is compared exactly; numbers to 1e-9 (in drawings, which are drawn to six decimals, to 1e-3), since the last bits of
floats differ between machines, and digests and the names of drawn parts, which are made of those bits, not at all.
Common practice, no source.
"""

import io
import re
from pathlib import Path

import pikepdf
import pytest
from PIL import Image, ImageChops, ImageStat

from calib.faces.manual.pages import source
from tests.page_one import PDF, PICTURE, page_one
from tests.read_back import Mail, Workbook, pdf_pages

REPORTS = Path(__file__).parents[3] / "reports"
DIGEST = re.compile(r"\b[0-9a-f]{64}\b|(?<=ledger )[0-9a-f]{16}\b|(?<=picture-\d\.)[0-9a-f]{24}\b")
# Whole, as the foot of a page has it, and as a mail names its pictures.
DRAWN_NAME = re.compile(r"(?<=[\"#])[a-z][0-9a-f]{10}\b")
DRAWING = re.compile(r"(<svg.*?</svg>)", re.DOTALL)
NUMBER = re.compile(r"(?<![\w.])-?\d+(?:\.\d+)?(?:e[-+]?\d+)?(?![\w.])")


def pieces(text):
    """A report cut into its drawings and what stands between them, digests and names taken out."""
    return DRAWING.split(DRAWN_NAME.sub("name", DIGEST.sub("digest", text)))


def words_and_numbers(text):
    return NUMBER.split(text), [float(one) for one in NUMBER.findall(text)]


def differences(committed, fresh):
    """Where two reports differ by more than the last bits of floats."""
    if len(pieces(committed)) != len(pieces(fresh)):
        yield "another number of drawings"
        return
    for old, new in zip(pieces(committed), pieces(fresh), strict=True):
        (old_words, old_numbers), (new_words, new_numbers) = words_and_numbers(old), words_and_numbers(new)
        if old_words != new_words:
            yield from [f"{a!r} became {b!r}" for a, b in zip(old_words, new_words, strict=False) if a != b][:5] or [
                "other words"
            ]
        else:
            near = {"rel": 1e-3, "abs": 1e-3} if old.startswith("<svg") else {"rel": 1e-9}
            yield from (
                f"{a} became {b}"
                for a, b in zip(old_numbers, new_numbers, strict=True)
                if b != pytest.approx(a, **near)
            )


def body(file):
    """The page within a message, and what is attached to it."""
    message = Mail.of(file)
    return "\n".join([message.html, message.plain, *message.attachments])


def cells(file):
    """Every cell of a workbook, one a line."""
    return "\n".join(f"{one.coordinate} {one.value!r}" for one in Workbook.of(file).cells())


def pdf(file):
    """The text of a PDF, and of what is attached to it; read from its bytes."""
    with pikepdf.open(io.BytesIO(file)) as document:
        attached = [one.get_file().read_bytes().decode() for one in document.attachments.values()]
    return "\n".join([*pdf_pages(file), *attached])


# What is compared of each form: of the binary ones what their readers see.
READ = {"json": bytes.decode, "csv": bytes.decode, "html": bytes.decode, "pdf": pdf, "xlsx": cells, "eml": body}


@pytest.mark.parametrize("form", READ)
def test_the_sample_is_that_of_the_demo(demo_folder, form):
    committed, fresh = ((folder / f"LM-27-r2.{form}").read_bytes() for folder in (REPORTS, demo_folder))
    assert list(differences(READ[form](committed), READ[form](fresh))) == []


@pytest.mark.parametrize("picture", ["outlets", "balance", "VA-11"])
def test_the_picture_that_readme_or_manual_shows_is_that_of_the_demo(demo_folder, picture):
    name = f"LM-27-{picture}.svg"
    committed, fresh = ((folder / name).read_text(encoding="utf-8") for folder in (REPORTS, demo_folder))
    assert list(differences(committed, fresh)) == []
    readme = (REPORTS.parent / "README.md").read_text(encoding="utf-8")
    assert f"(reports/{name})" in readme or f"`reports/{name}`" in source("demo")


def test_the_picture_of_page_one_that_readme_shows_is_that_of_the_sample():
    """Letters may be drawn a little otherwise by another release of the library: by most of the page it is the same."""
    fresh, committed = page_one(PDF).convert("L"), Image.open(PICTURE).convert("L")

    assert fresh.size == committed.size
    apart = ImageChops.difference(fresh, committed).point(lambda grey: 255 if grey > 64 else 0)
    assert ImageStat.Stat(apart).mean[0] / 255 < 0.005
    assert f"(reports/{PICTURE.name})" in (REPORTS.parent / "README.md").read_text(encoding="utf-8")


def test_the_samples_are_one_issue_in_every_form_and_the_pictures(demo_folder):
    kept = {one.name for one in REPORTS.glob("LM-27*")}
    assert kept == {one.name for one in demo_folder.glob("LM-27*")}
    assert {f"LM-27-r2.{form}" for form in READ} < kept


@pytest.mark.parametrize(
    ("committed", "fresh"),
    [
        ("flow 1.0000001 m3/h", "flow 1.0000002 m3/h"),
        ("flow 412 m3/h", "flow 412 L/s"),
        ("pass", "fail"),
        ("<svg>M 1.0 2.0</svg>", "<svg>M 1.0 2.1</svg>"),
        ("<svg></svg>", ""),
        ("12 of 13", "12 of 14"),
        ("S1-1", "S1-2"),
        ('"due_on": "2027-03-18"', '"due_on": "2027-03-19"'),
        ("a" * 64, "a" * 63),
    ],
)
def test_a_difference_would_be_seen(committed, fresh):
    assert list(differences(committed, fresh))


@pytest.mark.parametrize(
    ("committed", "fresh"),
    [
        ("flow 412.00000000000006 m3/h", "flow 412.0000000000001 m3/h"),
        ("digest " + "a" * 64, "digest " + "b" * 64),
        ("<svg>M 1.000001 2.0</svg>", "<svg>M 1.000002 2.0</svg>"),
        ('<svg id="m060324d123"/><use href="#m060324d123"/>', '<svg id="mb1449da67c"/><use href="#mb1449da67c"/>'),
    ],
)
def test_the_last_bits_of_floats_are_no_difference(committed, fresh):
    assert list(differences(committed, fresh)) == []
