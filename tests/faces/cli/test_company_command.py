"""What the company is called, from the command to the report's head. The company is invented."""

import io
import json

import pytest
from PIL import Image

from tests.command import calib

SAID = ("company", "set", "Brook & Vane Ltd", "--address", "3 Weir Road, Alder", "--contact", "desk@brook.example")


def picture(kind="PNG", size=(40, 20)):
    out = io.BytesIO()
    Image.new("RGB", size, "#336655").save(out, kind)
    return out.getvalue()


def test_the_company_is_named_as_it_was_said_last(empty_records):
    calib("company", "set", "An Older Name", "--address", "Elsewhere", records=empty_records)

    assert calib(*SAID, records=empty_records).status == 0

    assert calib("company", "show", records=empty_records).out == (
        "Brook & Vane Ltd\n3 Weir Road, Alder\ndesk@brook.example\n"
    )


def test_where_nobody_named_the_company_that_is_said(empty_records):
    ran = calib("company", "show", records=empty_records)

    assert (ran.status, ran.out) == (0, "nobody has said what the company is called: its reports name none\n")


def company_shown(records):
    return json.loads(calib("company", "show", "--json", records=records).out)["company"]


def test_only_what_is_to_change_has_to_be_said_and_the_rest_stays(empty_records, tmp_path):
    (tmp_path / "mark").write_bytes(picture())
    calib(*SAID, "--mark", tmp_path / "mark", records=empty_records)
    before = company_shown(empty_records)

    assert calib("company", "set", "--base-address", "https://calib.example", records=empty_records).status == 0
    assert calib("company", "set", "--address", "4 Weir Road", records=empty_records).status == 0

    changes = {"base_address": "https://calib.example", "address": "4 Weir Road"}
    assert company_shown(empty_records) == before | changes


def test_a_contact_is_taken_out_by_a_blank_one(empty_records):
    calib(*SAID, records=empty_records)

    assert calib("company", "set", "--contact", "", records=empty_records).status == 0

    assert company_shown(empty_records)["contact"] is None


def test_of_a_company_that_nobody_named_name_and_address_are_asked_for_at_once(empty_records):
    ran = calib("company", "set", "--base-address", "https://calib.example", records=empty_records)

    assert ran.status == 2
    assert "NAME: expected a text that is not blank" in ran.err
    assert "--address: expected a text that is not blank" in ran.err
    assert company_shown(empty_records) is None


def test_where_nothing_is_said_nothing_is_written(empty_records):
    calib(*SAID, records=empty_records)

    ran = calib("company", "set", records=empty_records)

    assert ran.status == 2
    assert "expected what is to change" in ran.err


@pytest.mark.parametrize("kind", ["PNG", "JPEG"])
def test_a_mark_is_kept_once_with_its_digest(empty_records, tmp_path, kind):
    mark = tmp_path / "mark"
    mark.write_bytes(picture(kind))

    calib(*SAID, "--mark", mark, records=empty_records)
    calib(*SAID, "--mark", mark, records=empty_records)

    told = json.loads(calib("company", "show", "--json", records=empty_records).out)["company"]["mark"]
    assert told["media_type"] == f"image/{kind.lower()}"
    assert calib("file", told["sha256"][:12], "--into", tmp_path / "again", records=empty_records).status == 0
    assert (tmp_path / "again").read_bytes() == picture(kind)
    assert calib("verify", records=empty_records).status == 0


def test_a_mark_is_taken_away_and_all_else_stays(empty_records, tmp_path):
    (tmp_path / "mark").write_bytes(picture())
    calib(*SAID, "--mark", tmp_path / "mark", records=empty_records)
    before = company_shown(empty_records)

    assert calib("company", "set", "--without-mark", records=empty_records).status == 0

    assert company_shown(empty_records) == before | {"mark": None}
    again = calib("company", "set", "--without-mark", records=empty_records)
    assert (again.status, again.err) == (
        2,
        "error: command line, --without-mark: expected nothing: no mark is on record\n",
    )
    both = calib("company", "set", "--without-mark", "--mark", tmp_path / "mark", records=empty_records)
    assert "--without-mark: expected nothing beside a mark" in both.err


def test_everything_wrong_is_named_at_once_and_nothing_is_written(empty_records, tmp_path):
    mark = tmp_path / "mark.png"
    mark.write_bytes(picture()[:40] + b"\0" * 8 + picture()[48:])

    ran = calib("company", "set", " ", "--address", " ", "--mark", mark, records=empty_records)

    assert ran.status == 2
    assert "NAME: ' '; expected a text that is not blank" in ran.err
    assert "--address: ' '; expected a text that is not blank" in ran.err
    assert "--mark: 'mark.png'; expected a picture that can be drawn" in ran.err
    assert json.loads(calib("company", "show", "--json", records=empty_records).out) == {"company": None}


def test_a_mark_that_would_fill_the_memory_is_refused(empty_records, tmp_path):
    mark, out = tmp_path / "mark.png", io.BytesIO()
    Image.new("1", (10_000, 8_000)).save(out, "PNG")
    mark.write_bytes(out.getvalue())

    ran = calib(*SAID, "--mark", mark, records=empty_records)

    assert (ran.status, "expected a picture that can be drawn, of at most 50,000,000 pixels" in ran.err) == (2, True)


def test_a_picture_of_another_kind_is_told_what_a_mark_may_be(empty_records, tmp_path):
    mark = tmp_path / "mark.gif"
    mark.write_bytes(picture("GIF"))

    ran = calib(*SAID, "--mark", mark, records=empty_records)

    assert (ran.status, ran.err) == (2, f"error: {mark}: expected a picture, PNG or JPEG, of at most 1 MB\n")


def test_a_certificate_as_pdf_is_no_mark(empty_records, tmp_path):
    mark = tmp_path / "mark.pdf"
    mark.write_bytes(b"%PDF-1.7\n%%EOF\n")

    ran = calib(*SAID, "--mark", mark, records=empty_records)

    assert ran.status == 2
    assert "--mark: 'mark.pdf'; expected a picture, PNG or JPEG, of at most 1 MB" in ran.err


def test_a_mark_in_the_colours_of_a_printer_is_refused_since_no_report_could_show_it(empty_records, tmp_path):
    mark = tmp_path / "mark.jpg"
    out = io.BytesIO()
    Image.new("CMYK", (40, 20)).save(out, "JPEG")
    mark.write_bytes(out.getvalue())

    ran = calib(*SAID, "--mark", mark, records=empty_records)

    assert ran.status == 2
    assert "--mark: 'mark.jpg'; expected a picture in RGB or grey" in ran.err


@pytest.mark.parametrize(
    ("words", "expected"),
    [
        (("--contact", "x" * 201), "one line of at most 200 signs"),
        (("--contact", "a bell \x07"), "one line of at most 200 signs"),
        (("--base-address", "javascript:alert(1)"), "an address that begins with https:// or http://"),
    ],
)
def test_what_no_head_of_a_report_could_show_is_refused(empty_records, words, expected):
    ran = calib("company", "set", "Brook & Vane Ltd", "--address", "3 Weir Road", *words, records=empty_records)

    assert ran.status == 2
    assert f"expected {expected}" in ran.err
