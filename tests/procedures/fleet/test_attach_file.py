"""Files kept with instruments and calibrations: once, by the digest of their content; what kind they are, the content says.

Source: signatures of PDF (ISO 32000-1, 7.5), PNG (W3C, 5.2), JPEG (ITU-T T.81, B.1), from memory; SHA-256 by hashlib.
"""

import hashlib
import os
import sqlite3
import zlib
from contextlib import closing
from pathlib import Path

import pytest

from calib.errors import BadInputError, NotInRecordsError, RecordsError
from calib.faces.files import LARGEST_FILE, file_content, write_new
from calib.procedures.fleet.attach_file import (
    attach_to_calibration,
    attach_to_instrument,
    attachable,
    kept_file,
    media_type,
)
from calib.procedures.on_record.attached_files import files_of
from calib.records import database, ledger
from calib.records.tables.files import Attached, Attachment
from tests.folders import SIGNED, all_of, ledger_head, records_of, small_job

PDF = b"%PDF-1.7\n1 0 obj\n<<>>\nendobj\ntrailer\n<<>>\n%%EOF\n"
XML = b'<?xml version="1.0" encoding="UTF-8"?><certificate><U>0.02</U></certificate>'
JPEG = b"\xff\xd8\xff\xe0\0\x10JFIF\0\x01\x01\0\0\x01\0\x01\0\0\xff\xd9"


def chunk(kind, content):
    return len(content).to_bytes(4, "big") + kind + content + zlib.crc32(kind + content).to_bytes(4, "big")


PNG = b"\x89PNG\r\n\x1a\n" + chunk(b"IHDR", b"\0\0\0\1\0\0\0\1\x08\0\0\0\0") + chunk(b"IDAT", zlib.compress(b"\0\0"))
PNG += chunk(b"IEND", b"")
SWELLING = b'<!DOCTYPE a [<!ENTITY b "bbbb"><!ENTITY c "&b;&b;&b;">]><a>&c;</a>'


def file(folder, name="certificate.pdf", content=PDF):
    (folder / name).write_bytes(content)
    return attachable(file_content(folder / name, LARGEST_FILE))


def to_instrument(records, read, tag="VA-1", remarks=None):
    with database.writing(str(records)) as session:
        return attach_to_instrument(session, tag, read, remarks, SIGNED)


def to_calibration(records, read, tag="VA-1", certificate="C-101"):
    with database.writing(str(records)) as session:
        return attach_to_calibration(session, tag, certificate, read, None, SIGNED)


def rows(records, table):
    with database.reading(str(records)) as session:
        return all_of(session, table)


@pytest.mark.parametrize(
    ("content", "kind"),
    [
        (PDF, "application/pdf"),
        (PNG, "image/png"),
        (JPEG, "image/jpeg"),
        (XML, "application/xml"),
        (b"\xef\xbb\xbf" + XML, "application/xml"),
        ("<?xml version='1.0' encoding='UTF-16'?><a>é</a>".encode("utf-16"), "application/xml"),
    ],
)
def test_the_kind_of_a_file_is_that_of_its_content(content, kind):
    assert media_type(content) == kind


@pytest.mark.parametrize(
    "content",
    [
        b"",
        b"plain text",
        b"MZ\x90\0" + PDF,  # something else in front
        PDF[:-7],  # cut short
        PNG[:-8],
        JPEG[:-2],
        b"<certificate><U>0.02</certificate>",  # not well formed
        SWELLING,
        b"PK\x03\x04 a workbook",
        b"GIF89a",
    ],
)
def test_another_kind_and_a_file_cut_short_are_no_file_to_keep(content):
    assert media_type(content) is None


def test_the_name_makes_no_difference(tmp_path):
    assert file(tmp_path, "photo.exe", JPEG).media_type == "image/jpeg"
    with pytest.raises(BadInputError, match=r"honest\.pdf: expected a whole PDF, PNG, JPEG or XML file"):
        file(tmp_path, "honest.pdf", b"MZ\x90\0")


def test_a_file_of_25_megabytes_is_kept_and_one_byte_more_is_not(tmp_path):
    at_limit = PDF[:9] + b" " * (25_000_000 - len(PDF)) + PDF[9:]
    assert len(file(tmp_path, content=at_limit).content) == 25_000_000
    with pytest.raises(BadInputError, match=r"at most 25 MB, 25,000,000 bytes \(it has 25,000,001\)"):
        file(tmp_path, content=at_limit + b"\n")


def test_a_file_that_is_not_there_is_told(tmp_path):
    with pytest.raises(BadInputError, match="a file that can be read"):
        attachable(file_content(tmp_path / "nowhere.pdf", LARGEST_FILE))


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name are POSIX")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.pdf")
    for one in (tmp_path / "pipe.pdf", Path(os.devnull)):
        with pytest.raises(BadInputError, match=r"a file that can be read \(this is a pipe or a device\)"):
            attachable(file_content(one, LARGEST_FILE))


def test_the_bytes_come_back_as_they_were(small_records, tmp_path):
    kept = to_instrument(small_records, file(tmp_path, "photo.jpg", JPEG), remarks="after the fall")
    assert kept.sha256 == hashlib.sha256(JPEG).hexdigest()
    with database.reading(str(small_records)) as session:
        write_new(tmp_path / "again.jpg", kept_file(session, kept.sha256[:10].upper()).content)
        (listed,) = files_of(session, Attached.instrument_id, [1])[1]
    assert (tmp_path / "again.jpg").read_bytes() == JPEG
    assert listed == {
        "name": "photo.jpg",
        "media_type": "image/jpeg",
        "sha256": kept.sha256,
        "remarks": "after the fall",
    }


def test_the_same_bytes_attached_twice_are_one_record(small_records, tmp_path):
    to_instrument(small_records, file(tmp_path))
    before = ledger_head(small_records)
    again = to_instrument(small_records, file(tmp_path, "another name.pdf"))
    assert not again.attached
    assert ledger_head(small_records) == before


def test_the_same_bytes_with_two_owners_are_kept_once(small_records, tmp_path):
    to_instrument(small_records, file(tmp_path))
    assert to_calibration(small_records, file(tmp_path)).attached
    assert len(rows(small_records, Attachment)) == 1
    assert [(one.instrument_id, one.calibration_id) for one in rows(small_records, Attached)] == [(1, None), (None, 1)]


def test_the_ledger_covers_the_bytes(tmp_path):
    records = records_of(tmp_path / "on file", small_job())
    to_instrument(records, file(tmp_path))
    with database.reading(str(records)) as session:
        assert ledger.verify(session.connection()) == ()
    with closing(sqlite3.connect(records)) as tampered, tampered:
        tampered.execute("DROP TRIGGER attachment_no_update")
        tampered.execute("UPDATE attachment SET content = ?", (PDF.replace(b"1.7", b"1.4"),))
    with database.reading(str(records)) as session:
        assert "attachment 1" in [one.record for one in ledger.verify(session.connection())]
        with pytest.raises(RecordsError, match="no longer what it was"):
            kept_file(session, hashlib.sha256(PDF).hexdigest())


@pytest.mark.parametrize("digest", ["", "12", "zz" * 32])
def test_a_digest_that_names_no_file_is_told(small_records, tmp_path, digest):
    to_instrument(small_records, file(tmp_path))
    with database.reading(str(small_records)) as session, pytest.raises(NotInRecordsError, match="no file"):
        kept_file(session, digest)


def test_a_file_that_is_there_is_not_overwritten(small_records, tmp_path):
    to_instrument(small_records, file(tmp_path))
    with database.reading(str(small_records)) as session:
        found = kept_file(session, hashlib.sha256(PDF).hexdigest())
        with pytest.raises(RecordsError, match="is there already"):
            write_new(tmp_path / "certificate.pdf", found.content)
        with pytest.raises(RecordsError, match="cannot be written there"):
            write_new(tmp_path / "nowhere" / "certificate.pdf", found.content)


def test_an_owner_that_is_not_there_is_named(small_records, tmp_path):
    with pytest.raises(NotInRecordsError, match="no instrument 'VA-9'"):
        to_instrument(small_records, file(tmp_path), "VA-9")
    with pytest.raises(NotInRecordsError, match="no certificate 'C-9' of VA-1"):
        to_calibration(small_records, file(tmp_path), certificate="C-9")
    assert rows(small_records, Attachment) == []
