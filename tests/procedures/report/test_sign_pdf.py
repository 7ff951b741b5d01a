"""A PDF is signed over all of it, and every later change is found: by this program, by pyhanko and by pdfsig of Poppler."""

import io
from datetime import UTC, datetime, timedelta

import pikepdf
import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.validation import validate_pdf_signature
from pyhanko_certvalidator import ValidationContext

from calib.errors import CalibError
from calib.faces.report.typeset_signs import typefaces
from calib.faces.report.typesetter import typeset_files
from calib.procedures.report.check_pdf_signature import pdf_signatures
from calib.procedures.report.sign_pdf import sign_pdf
from calib.procedures.report.signing_key import PLACE, Signing, read_signing_key
from tests import signing

AT = datetime(2026, 3, 6, 9, 30, tzinfo=UTC)
PAGE = f"""
#set document(title: "Flows", author: "calib", date: auto)
#set text(lang: "en")
= Flows
at #link("https://calib.invalid/")[another place]
#pagebreak()
= Signatures
#block(width: 200pt, height: 34pt, place(link("{PLACE}", box(width: 100%, height: 34pt))))
"""


def key_of(**of_file):
    return read_signing_key("ed.p12", signing.p12(**of_file), signing.PASSWORD)


@pytest.fixture(scope="module")
def unsigned():
    return typeset_files({"main.typ": PAGE.encode()}, str(typefaces()), AT)


@pytest.fixture(scope="module")
def signed(unsigned):
    return sign_pdf(unsigned, Signing(key_of(), AT))


def by_pyhanko(content):
    """What pyhanko's own validator says of the one signature, its certificate trusted."""
    (embedded,) = PdfFileReader(io.BytesIO(content)).embedded_regular_signatures
    trusting = ValidationContext(trust_roots=[embedded.signer_cert], allow_fetching=False, moment=AT)
    return validate_pdf_signature(embedded, trusting)


def by_poppler(folder, content):
    file = folder / "looked-at.pdf"
    file.write_bytes(content)
    return signing.pdfsig(file)


def with_catalogue(content, change):
    """The file with its catalogue changed, written behind what was signed."""
    writer = IncrementalPdfFileWriter(io.BytesIO(content))
    change(writer.root)
    writer.update_root()
    out = io.BytesIO()
    writer.write(out)
    return out.getvalue()


def flipped(content, place):
    changed = bytearray(content)
    changed[place] ^= 1
    return bytes(changed)


def test_what_was_there_before_stands_unchanged_at_the_beginning(unsigned, signed):
    assert signed.startswith(unsigned)


@pytest.mark.parametrize("kind", ["EC", "RSA"])
def test_the_signature_is_sound_to_another_validator_and_covers_the_whole_file(unsigned, tmp_path, kind):
    made = sign_pdf(unsigned, Signing(key_of(kind=kind), AT))
    (said,) = by_poppler(tmp_path, made)
    assert said["Signature Validation"] == "Signature is Valid."
    assert (said["Signer Certificate Common Name"], said["whole"]) == ("Ed", True)
    assert (said["Signature Type"], said["Signing Hash Algorithm"]) == ("ETSI.CAdES.detached", "SHA-256")


def test_the_signature_is_sound_to_the_library_itself(signed):
    status = by_pyhanko(signed)
    assert status.bottom_line, status.pretty_print_details()


def test_the_signature_is_one_of_pades(signed):
    """ETSI EN 319 142-1, 6.3: the signing certificate is signed too, and the time stands in the dictionary alone."""
    (embedded,) = PdfFileReader(io.BytesIO(signed)).embedded_regular_signatures
    attributes = {each["type"].native for each in embedded.signer_info["signed_attrs"]}
    assert attributes == {"content_type", "message_digest", "signing_certificate_v2"}
    assert embedded.self_reported_timestamp == AT


def test_what_is_found_says_who_and_when_and_over_which_bytes(signed):
    (found,) = pdf_signatures(signed)
    assert (found.holds, found.name, found.issuer, found.at) == (True, "Ed", "Ed", AT)
    assert (found.covered, found.stamped_at) == (len(signed), None)


def test_the_certificates_above_go_with_the_signature(unsigned):
    of_house = signing.private_key("another EC")
    basic = x509.BasicConstraints(ca=True, path_length=None)
    above = signing.certificate("House CA", key=of_house, extensions=[basic])
    key = key_of(issuer="House CA", signed_with=of_house, above=[above])
    made = sign_pdf(unsigned, Signing(key, AT))
    (embedded,) = PdfFileReader(io.BytesIO(made)).embedded_regular_signatures
    assert [each.dump() for each in embedded.other_embedded_certs] == [above.public_bytes(Encoding.DER)]
    assert pdf_signatures(made)[0].issuer == "House CA"


# --- where it is seen ------------------------------------------------------------------------------------------------------------


def test_the_field_lies_where_the_link_was_and_the_other_link_is_as_it_was(unsigned, signed):
    with pikepdf.open(io.BytesIO(unsigned)) as before, pikepdf.open(io.BytesIO(signed)) as after:
        (place,), (field,) = before.pages[1].Annots, after.pages[1].Annots
        assert [float(side) for side in field.Rect] == [float(side) for side in place.Rect]
        assert (field.Subtype, field.FT, str(field.TU)) == ("/Widget", "/Sig", "Signature of Ed")
        assert "/A" not in field
        assert after.Root.AcroForm.Fields[0].objgen == field.objgen
        assert after.pages[0].Annots[0].A.URI == "https://calib.invalid/"


def test_a_pdf_without_a_place_is_not_signed():
    made = typeset_files({"main.typ": PAGE.replace(PLACE, "https://calib.invalid/").encode()}, str(typefaces()), AT)
    with pytest.raises(ValueError, match="without a link"):
        sign_pdf(made, Signing(key_of(), AT))


# --- altered afterwards ----------------------------------------------------------------------------------------------------------


def signed_places(content):
    """Places within the range that the signature covers: near its ends and around the signature itself."""
    (embedded,) = PdfFileReader(io.BytesIO(content)).embedded_regular_signatures
    _, before, after, rest = embedded.byte_range
    return {"early": 100, "before it": before - 400, "behind it": after + 20, "late": after + rest - 300}


@pytest.mark.parametrize("where", ["early", "before it", "behind it", "late"])
def test_a_bit_that_was_turned_over_is_found(signed, where):
    (found,) = pdf_signatures(flipped(signed, signed_places(signed)[where]))
    assert not found.holds


def test_a_tampered_byte_is_found_by_all_three(signed, tmp_path):
    changed = flipped(signed, signed.index(b"stream") + 40)
    assert pdf_signatures(changed)[0].fault == "bytes that it covers were changed after they were signed"
    assert not by_pyhanko(changed).intact
    assert by_poppler(tmp_path, changed)[0]["Signature Validation"] == "Digest Mismatch."


def test_what_was_added_later_is_told_by_how_far_the_signature_goes(signed, tmp_path):
    changed = with_catalogue(signed, lambda catalogue: catalogue.pop("/Lang"))
    (found,) = pdf_signatures(changed)
    assert (found.holds, found.covered) == (True, len(signed))
    assert len(changed) > len(signed)
    assert by_poppler(tmp_path, changed)[0]["whole"] is False


def test_a_signature_whose_field_was_taken_away_does_not_pass_for_no_signature(signed):
    changed = with_catalogue(signed, lambda catalogue: catalogue.pop("/AcroForm"))
    assert [found.fault for found in pdf_signatures(changed)] == ["no field of the file leads to it any more"]


def test_a_signature_that_leaves_bytes_out_does_not_hold(signed):
    """Its range is made shorter, and so the last bytes are nobody's; the digest is another then too."""
    (embedded,) = PdfFileReader(io.BytesIO(signed)).embedded_regular_signatures
    _, _, after, rest = embedded.byte_range
    written = f"{after} {rest}]".encode()
    assert signed.count(written) == 1
    changed = signed.replace(written, f"{after + 9} {rest - 9}]".encode().ljust(len(written)))
    assert not pdf_signatures(changed)[0].holds


def test_a_signature_of_a_time_when_its_certificate_was_not_valid_does_not_hold(unsigned):
    (found,) = pdf_signatures(sign_pdf(unsigned, Signing(key_of(), signing.UNTIL + timedelta(days=1))))
    assert found.fault == "its certificate was not valid at the time it states"


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 0.99])
def test_a_file_that_was_cut_is_no_sound_one(signed, share):
    assert not any(found.holds for found in pdf_signatures(signed[: int(share * len(signed))]))


def test_what_is_not_signed_has_no_signatures(unsigned):
    assert [pdf_signatures(content) for content in (unsigned, b"", b"outlet,flow\n", b"%PDF-1.7\n/ByteRang")] == [
        ()
    ] * 4


# --- time stamps -----------------------------------------------------------------------------------------------------------------

STAMPED = AT + timedelta(seconds=40)


def test_an_authority_stamps_the_time(unsigned, tmp_path):
    with signing.time_stamp_authority(STAMPED) as address:
        how = Signing(key_of(), AT, address)
        made = sign_pdf(unsigned, how)
    assert how.level == "PAdES B-T"
    (found,) = pdf_signatures(made)
    assert (found.holds, found.at, found.stamped_at) == (True, AT, STAMPED)
    assert found.stamped_by == "Common Name: Stamp Office"
    status = by_pyhanko(made)
    assert (status.timestamp_validity.intact, status.timestamp_validity.valid) == (True, True)
    assert by_poppler(tmp_path, made)[0]["Signature Validation"] == "Signature is Valid."


def test_without_an_authority_no_time_is_stamped():
    assert Signing(key_of(), AT).level == "PAdES B-B"


@pytest.mark.parametrize("answer", [b"", b"no", b"0\x03\x02\x01\x02"])
def test_an_answer_that_is_no_time_stamp_is_told_in_one_line(unsigned, answer):
    with (
        signing.time_stamp_authority(STAMPED, answer=answer) as address,
        pytest.raises(
            CalibError, match=r"^the time stamp authority gave no time stamp, so nothing was signed: [^\n]+$"
        ),
    ):
        sign_pdf(unsigned, Signing(key_of(), AT, address))


def test_a_time_stamp_of_something_else_is_not_given_out(unsigned):
    with (
        signing.time_stamp_authority(STAMPED, of_something_else=True) as address,
        pytest.raises(CalibError, match=r"so nothing was signed: [^\n]+$"),
    ):
        sign_pdf(unsigned, Signing(key_of(), AT, address))


@pytest.mark.parametrize("address", ["http://127.0.0.1:9/", "no address", "ftp://127.0.0.1/"])
def test_an_authority_that_does_not_answer_is_told_in_one_line(unsigned, address):
    with pytest.raises(
        CalibError, match=r"^the time stamp authority gave no time stamp, so nothing was signed: [^\n]+$"
    ):
        sign_pdf(unsigned, Signing(key_of(), AT, address))
