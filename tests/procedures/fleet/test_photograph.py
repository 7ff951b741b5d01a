"""Photographs kept with a reading or an outlet: pictures that can be drawn, without what else a camera writes into its file.

Files are written here with Pillow and by hand; source of their form: JPEG, ITU-T T.81 Annex B; PNG, W3C clause 5; Exif 2.3.
"""

import hashlib
import struct
import zlib
from io import BytesIO

import pytest
from PIL import Image

from calib.errors import BadInputError, NotInRecordsError
from calib.procedures.enter.correct_reading import correct_reading
from calib.procedures.enter.withdraw_reading import withdraw_reading
from calib.procedures.fleet.attach_file import attach_to_outlet, attach_to_reading
from calib.procedures.fleet.photograph import photograph
from calib.procedures.impact.withdraw_record import withdraw_record
from calib.procedures.on_record.photographs import photographs_of_job
from calib.procedures.typed.sheets import FileContent
from calib.records import database
from calib.records.tables.files import Attachment
from tests.folders import NOW, SIGNED, all_of, ledger_head

PLACE = b"4711 Larkmoor"
LATITUDE = 0x8825


def noise(size=(40, 30), mode="RGB"):
    return Image.effect_noise(size, 60).convert(mode)


def exif(orientation=6, taken="2026:03:05 09:10:11"):
    written = Image.Exif()
    written[0x0112], written[0x010F] = orientation, PLACE.decode()
    written.get_ifd(0x8769).update({0x9003: taken, 0x927C: PLACE})
    written.get_ifd(LATITUDE).update({1: "N", 2: (52.0, 4.0, 7.0), 3: "E", 4: (11.0, 3.0, 5.0)})
    return written


def coded(form, picture=None, **told):
    out = BytesIO()
    (picture or noise()).save(out, form, **told)
    return out.getvalue()


def from_a_phone(form):
    if form == "PNG":
        content = coded(form, exif=exif())
        return content[:33] + chunk(b"tEXt", b"Comment\0" + PLACE) + content[33:]
    content = coded(form, exif=exif(), comment=PLACE, icc_profile=b"colours" * 9)
    xmp = b"http://ns.adobe.com/xap/1.0/\0" + PLACE
    return (
        content[:2] + b"\xff\xe1" + struct.pack(">H", len(xmp) + 2) + xmp + content[2:] + content
    )  # a second picture behind


def chunk(kind, content):
    return struct.pack(">I", len(content)) + kind + content + struct.pack(">I", zlib.crc32(kind + content))


def as_typed(content, name="site/IMG_1.jpg"):
    return FileContent(name, content)


@pytest.mark.parametrize("form", ["JPEG", "PNG"])
def test_what_a_camera_writes_beside_the_picture_is_not_kept(form):
    came = from_a_phone(form)
    assert came.count(PLACE) >= 2

    kept = photograph(as_typed(came))

    assert PLACE not in kept.content
    with Image.open(BytesIO(kept.content)) as again, Image.open(BytesIO(came)) as before:
        assert again.getexif().get_ifd(LATITUDE) == {}
        assert again.getexif()[0x0112] == 6
        assert again.getexif().get_ifd(0x8769) == {0x9003: "2026:03:05 09:10:11"}
        assert again.info.get("icc_profile") == before.info.get("icc_profile")
        assert again.tobytes() == before.tobytes()  # as it was coded, every pixel


@pytest.mark.parametrize("form", ["JPEG", "PNG"])
@pytest.mark.parametrize("told", [{}, {"exif": exif(orientation=8, taken="soon")}, {"exif": exif(orientation=1)}])
def test_what_is_kept_given_once_more_is_the_same(form, told):
    kept = photograph(as_typed(coded(form, **told)))

    assert photograph(as_typed(kept.content)).content == kept.content
    assert kept.sha256 == hashlib.sha256(kept.content).hexdigest()
    assert (kept.name, kept.media_type) == ("IMG_1.jpg", f"image/{form.lower()}")


@pytest.mark.parametrize("told", [{"progressive": True}, {"restart_marker_rows": 1}, {"optimize": True, "quality": 95}])
def test_a_jpeg_of_each_kind_is_drawn_as_before(told):
    came = coded("JPEG", noise((120, 90)), **told)
    with Image.open(BytesIO(photograph(as_typed(came)).content)) as kept, Image.open(BytesIO(came)) as before:
        assert kept.tobytes() == before.tobytes()


@pytest.mark.parametrize("mode", ["1", "L", "LA", "P", "RGBA"])
def test_a_png_with_few_colours_or_glass_is_a_photograph(mode):
    assert photograph(as_typed(coded("PNG", noise(mode=mode)))).media_type == "image/png"


def bomb(width, height):
    head = struct.pack(">IIBBBBB", width, height, 8, 2, 0, 0, 0)
    return (
        b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", head) + chunk(b"IDAT", zlib.compress(b"\0" * 999)) + chunk(b"IEND", b"")
    )


def with_size(content, width, height):
    at = content.index(b"\xff\xc0") + 5
    return content[:at] + struct.pack(">HH", height, width) + content[at + 4 :]


def twice(content):
    at = content.index(b"\xff\xc0")
    frame = content[at : at + 19]
    return with_size(content[:at] + frame + content[at:], 60_000, 60_000)  # the first of the two


JPEG = coded("JPEG")
PNG = coded("PNG")


@pytest.mark.parametrize(
    ("content", "expected"),
    [
        (b"", "a whole photograph, JPEG or PNG, judged by its content"),
        (b"%PDF-1.7\n%%EOF\n", "a whole photograph, JPEG or PNG"),
        (b"<svg/>", "a whole photograph, JPEG or PNG"),
        (coded("GIF"), "a whole photograph, JPEG or PNG"),
        (JPEG[:-2], "a whole photograph, JPEG or PNG"),
        (JPEG[:400] + b"\xff\xd9", "a photograph that can be drawn to its end"),
        (b"\xff\xd8\xff\xd9", "a photograph that can be drawn to its end"),
        (PNG[:200] + PNG[-12:], "a photograph that can be drawn to its end"),
        (PNG[:99] + b"!" + PNG[100:], "a photograph that can be drawn to its end"),  # a check sum that does not fit
        (bomb(30_000, 4), "sides of 1 to 20,000 pixels (it has 30,000 × 4)"),
        (bomb(19_000, 19_000), "at most 50,000,000 pixels (it has 19,000 × 19,000)"),
        (bomb(0, 9), "sides of 1 to 20,000 pixels"),
        (bomb(700, 700), "a photograph that can be drawn to its end"),
        (with_size(JPEG, 19_999, 19_999), "at most 50,000,000 pixels"),
        (twice(JPEG), "a photograph that can be drawn to its end"),
        (coded("JPEG", noise(mode="CMYK")), "a photograph in RGB or grey"),
        (b"\xff\xd8\xff" + bytes(15_000_000) + b"\xff\xd9", "at most 15,000,000 bytes (it has 15,000,005)"),
    ],
)  # fmt: skip
def test_what_is_no_photograph_is_refused_in_one_line_that_names_the_file(content, expected):
    with pytest.raises(BadInputError) as refused:
        photograph(as_typed(content))
    (finding,) = refused.value.findings
    assert str(finding).startswith("site/IMG_1.jpg: expected ")
    assert expected in str(finding)


def test_a_picture_that_grows_clearer_without_end_is_refused():
    came = coded("JPEG", progressive=True)
    last = came.rindex(b"\xff\xda")
    with pytest.raises(BadInputError, match=r"coded in at most 50 scans \(it has \d+\)"):
        photograph(as_typed(came[:-2] + came[last:-2] * 60 + came[-2:]))


# --- with the records ------------------------------------------------------------------------------------------------------------


def to_reading(records, content, reading=1, remarks=None):
    with database.writing(str(records)) as session:
        return attach_to_reading(session, "J-1", reading, photograph(as_typed(content)), remarks, SIGNED)


def to_outlet(records, content, outlet="S-2", job="J-1"):
    with database.writing(str(records)) as session:
        return attach_to_outlet(session, job, outlet, photograph(as_typed(content)), None, SIGNED)


def pictures(records):
    with database.reading(str(records)) as session:
        return [(each.outlet, each.reading, each.sha256) for each in photographs_of_job(session, 1)]


def test_a_photograph_is_kept_with_a_reading_and_with_an_outlet(small_records):
    of_outlet, of_reading = to_outlet(small_records, PNG), to_reading(small_records, JPEG, remarks="the display")

    with database.reading(str(small_records)) as session:
        first, second = photographs_of_job(session, 1)
    assert (first.outlet, first.reading, first.sha256, first.remarks) == ("S-1", 1, of_reading.sha256, "the display")
    assert (second.outlet, second.reading, second.sha256, second.remarks) == ("S-2", None, of_outlet.sha256, None)
    assert (first.attached_by, first.media_type) == ("A. Person", "image/jpeg")


def test_the_same_photograph_twice_writes_nothing(small_records):
    to_reading(small_records, JPEG)
    before = ledger_head(small_records)
    assert not to_reading(small_records, JPEG).attached
    assert ledger_head(small_records) == before


def test_a_wrong_reading_or_outlet_is_named_and_nothing_is_kept(small_records):
    with pytest.raises(NotInRecordsError, match="no reading 99 in job J-1"):
        to_reading(small_records, JPEG, 99)
    with pytest.raises(NotInRecordsError, match="no outlet 'S-9' in job J-1"):
        to_outlet(small_records, JPEG, "S-9")
    with pytest.raises(NotInRecordsError, match="no job 'J-9'"):
        to_outlet(small_records, JPEG, "S-1", "J-9")
    with database.reading(str(small_records)) as session:
        assert all_of(session, Attachment) == []


def test_a_photograph_goes_with_a_reading_that_is_withdrawn_and_none_is_kept_with_one(small_records):
    to_reading(small_records, JPEG)
    with database.writing(str(small_records)) as session:
        withdraw_reading(session, "J-1", 1, "of another job", SIGNED)

    assert pictures(small_records) == []
    with pytest.raises(BadInputError, match="expected one that counts; it was withdrawn"):
        to_reading(small_records, PNG)


def test_a_corrected_reading_keeps_its_photographs(small_records):
    kept = to_reading(small_records, JPEG)
    with database.writing(str(small_records)) as session:
        changes = {"indication": "4.21"}
        corrected = correct_reading(session, "J-1", 1, changes, None, {}, "a digit", SIGNED, NOW, sure=True).corrected

    assert corrected is not None
    assert pictures(small_records) == [("S-1", corrected, kept.sha256)]


@pytest.mark.parametrize(("kind", "named"), [("file of a reading", "1"), ("file of an outlet", "S-1")])
def test_a_photograph_that_is_taken_back_is_the_jobs_no_more(small_records, kind, named):
    kept = to_reading(small_records, JPEG) if named == "1" else to_outlet(small_records, JPEG, "S-1")
    with database.writing(str(small_records)) as session:
        taken = withdraw_record(session, kind, ("J-1", named, kept.sha256[:8]), "of another room", SIGNED)

    assert taken.what.startswith("file IMG_1.jpg with ")
    assert pictures(small_records) == []
