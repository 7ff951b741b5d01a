"""Photographs in a report: printed small where they are asked for, and named by what is kept; nothing of them where they are not.

ISO 19005-3 and ISO 14289-1 by veraPDF; Pillow and pikepdf read the pictures back.
"""

import hashlib
import json
import re
import sqlite3
from base64 import b64decode
from contextlib import closing
from io import BytesIO

import openpyxl
import pikepdf
import pytest
from PIL import Image

from tests import verapdf
from tests.command import calib
from tests.folders import records_of, small_job
from tests.report_forms import report_of, table

FORMS = ("html", "pdf", "json", "csv", "xlsx", "eml")
RED, BLUE = (200, 20, 20), (20, 20, 200)


def halves(orientation):
    """A picture that is red above and blue below once it is turned as its file says (Exif 2.3: 6 is a quarter to the right)."""
    picture = Image.new("RGB", (800, 1000), BLUE)
    picture.paste(RED, (0, 0, 800, 500))
    if orientation == 6:
        picture = picture.transpose(Image.Transpose.ROTATE_90)
    exif = Image.Exif()
    exif[0x0112] = orientation
    out = BytesIO()
    picture.save(out, "JPEG", exif=exif)
    return out.getvalue()


@pytest.fixture(scope="module")
def folder(tmp_path_factory):
    folder = tmp_path_factory.mktemp("photographs")
    records = records_of(folder, small_job())
    (folder / "turned.jpg").write_bytes(halves(6))
    (folder / "glass.png").write_bytes(glass())
    for words in (
        ("reading", "attach", "J-1", "1", folder / "turned.jpg", "--remarks", "the display <third pass>"),
        ("outlet", "attach", "J-1", "R-1", folder / "glass.png"),
        ("report", "J-1", "--photographs", "--format", ",".join(FORMS), "--into", folder / "with"),
        ("report", "J-1", "--format", ",".join(FORMS), "--into", folder / "without"),
    ):
        ran = (
            calib(*words, "--by", "A. Person", records=records) if "attach" in words else calib(*words, records=records)
        )
        assert ran.status == 0, ran.err
    return folder


def glass():
    out = BytesIO()
    Image.new("RGBA", (300, 200), (*BLUE, 0)).save(out, "PNG")
    return out.getvalue()


def form(folder, name, of="with"):
    return (folder / of / f"J-1.{name}").read_bytes()


def shown_in_page(folder):
    return [b64decode(coded) for coded in re.findall(rb'src="data:image/jpeg;base64,([^"]+)"', form(folder, "html"))]


def close_to(picture, place, colour):
    return max(abs(a - b) for a, b in zip(picture.getpixel(place), colour, strict=True)) < 30


def test_a_photograph_is_shown_small_and_the_right_way_up_with_nothing_beside_the_picture(folder):
    first, second = (Image.open(BytesIO(content)) for content in shown_in_page(folder))

    assert (first.size, second.size) == ((384, 480), (300, 200))
    assert close_to(first, (190, 100), RED)
    assert close_to(first, (190, 400), BLUE)
    assert close_to(second, (150, 100), (255, 255, 255))  # glass stands on white
    assert dict(first.getexif()) == {}


def test_the_page_says_in_words_what_each_is(folder):
    page = form(folder, "html").decode()
    assert 'alt="Photograph at S-1, kept with reading 1: the display &lt;third pass&gt;"' in page
    assert 'alt="Photograph at R-1: nothing was remarked"' in page
    assert "turned.jpg, kept by A. Person on " in page


def test_the_pdf_holds_them_and_is_archivable_and_accessible(folder):
    found = verapdf.findings(folder / "with" / "J-1.pdf")
    assert [each["failed"] for profiles in found.values() for each in profiles.values()] == [[], []]
    with pikepdf.open(folder / "with" / "J-1.pdf") as pdf:
        streams = [
            each for each in pdf.objects if isinstance(each, pikepdf.Stream) and each.get("/Subtype") == "/Image"
        ]
        sizes = {(int(each.Width), int(each.Height)) for each in streams}
        spoken = {str(each.get("/Alt", "")) for each in pdf.objects if isinstance(each, pikepdf.Dictionary)}
    assert {(384, 480), (300, 200)} <= sizes
    assert "Photograph at S-1, kept with reading 1: the display <third pass>" in spoken


def test_json_csv_and_workbook_name_them_by_the_digest_of_what_is_kept(folder):
    document = json.loads(form(folder, "json"))
    digests = {each["outlet"]: each["sha256"] for each in document["photographs"]}
    kept = {
        digest: calib("file", digest, "--into", folder / f"{digest}.out", records=folder / "records.sqlite")
        for digest in digests.values()
    }
    assert {ran.status for ran in kept.values()} == {0}
    assert all(hashlib.sha256((folder / f"{digest}.out").read_bytes()).hexdigest() == digest for digest in kept)

    rows = [row for row in table(form(folder, "csv").decode()) if row["record"] == "photograph"]
    assert [(row["outlet"], row["reading"], row["file"], row["sha256"]) for row in rows] == [
        ("S-1", "1", "turned.jpg", digests["S-1"]),
        ("R-1", "", "glass.png", digests["R-1"]),
    ]
    sheet = openpyxl.load_workbook(BytesIO(form(folder, "xlsx")))["Photographs"]
    assert [row[0] for row in sheet.iter_rows(values_only=True)] == ["Outlet", "S-1", "R-1"]
    assert [row[-1] for row in sheet.iter_rows(min_row=2, values_only=True)] == [digests["S-1"], digests["R-1"]]


def test_where_they_are_not_asked_for_a_report_says_nothing_of_them(folder):
    document = json.loads(form(folder, "json", "without"))
    assert "photographs" not in document
    assert form(folder, "csv", "without").split(b"\n", 1)[0].endswith(b"method_basis,pair")
    assert b"hotograph" not in form(folder, "html", "without").split(b"</style>")[1]


def with_bytes(records, content, digest):
    """The one kept file with other bytes, put there past the program."""
    with closing(sqlite3.connect(records)) as tampered, tampered:
        tampered.execute("DROP TRIGGER attachment_no_update")
        tampered.execute("UPDATE attachment SET content = ?, sha256 = ?", (content, digest))


def with_one(folder):
    records = records_of(folder, small_job())
    (folder / "a.jpg").write_bytes(halves(1))
    assert calib("outlet", "attach", "J-1", "S-1", folder / "a.jpg", "--by", "A. Person", records=records).status == 0
    return records


def test_one_that_was_taken_back_is_in_no_report_any_more(tmp_path):
    records = with_one(tmp_path)
    (kept,) = calib("outlet", "show", "J-1", "S-1", "--json", records=records).document["photographs"]
    words = ("outlet", "detach", "J-1", "S-1", kept["sha256"][:8], "--reason", "of S-2", "--by", "A. Person")

    assert calib(*words, records=records).out.startswith("withdrawn: file a.jpg with outlet S-1")

    assert json.loads(report_of(records, tmp_path, "json", "J-1", "--photographs")["json"])["photographs"] == []
    assert calib("outlet", "show", "J-1", "S-1", "--json", records=records).document["photographs"] == []


def test_with_other_bytes_than_were_kept_no_report_is_written(tmp_path):
    records = with_one(tmp_path)
    with_bytes(records, halves(6), hashlib.sha256(halves(1)).hexdigest())
    ran = calib("report", "J-1", "--photographs", "--into", tmp_path / "out", records=records)
    assert ran.status == 2
    assert "the content of file a.jpg is no longer what it was" in ran.err
    assert not (tmp_path / "out").exists()


def test_one_that_cannot_be_drawn_is_named_in_the_place_of_the_picture(tmp_path):
    records = with_one(tmp_path)
    with_bytes(records, b"no picture", hashlib.sha256(b"no picture").hexdigest())
    page = report_of(records, tmp_path, "html", "J-1", "--photographs")["html"]
    assert "Cannot be drawn: <strong>S-1</strong>. a.jpg, kept by A. Person" in page
    assert "<img" not in page


def test_a_reading_shows_its_photographs(folder):
    said = calib("reading", "show", "1", records=folder / "records.sqlite").out
    assert re.search(r"^photograph turned\.jpg: the display <third pass> \(SHA-256 [0-9a-f]{64}\)$", said, re.MULTILINE)
