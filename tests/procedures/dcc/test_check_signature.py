"""A signature is worth what it covers and who made it; every way around it is refused.

Signatures are made by signxml with keys made for the test, and changed by hand; the sample is that of dcclib, checked by dcclib
too. Attacks: W3C XML Signature Best Practices, and signature wrapping (McIntosh and Austel 2005), from memory.
"""

import re
from datetime import UTC, datetime
from functools import partial
from pathlib import Path

import pytest
from signxml import DigestAlgorithm, SignatureMethod
from signxml.verifier import SignatureConfiguration

from calib.procedures.dcc.check_signature import TrustedCertificate, as_der, read_signature, x509_of
from calib.procedures.dcc.document import read_document
from calib.procedures.dcc.read_certificate import CertificateWanted, read_certificate
from calib.records.words import NOT_VERIFIED, UNSIGNED, VERIFIED
from tests.dcc.invented import LABORATORY, certificate, pem, signed, signing

SAMPLES = Path(__file__).parents[2] / "dcc" / "samples"


def trusted(signer=None, *, still=True):
    return [TrustedCertificate(7, LABORATORY, as_der((signer or signing())[1]), still)]


def checked(content, by=None):
    root, wrong = read_document("c.xml", content)
    assert root is not None, wrong
    return read_signature("c.xml", content, root, trusted() if by is None else by)


def refused(content, by=None):
    """What is said of a signature that is refused."""
    read, wrong = checked(content, by)
    assert wrong
    assert read.covered is None
    return "; ".join(map(str, wrong))


# --- what it is worth ------------------------------------------------------------------------------------------------------------


def test_an_unsigned_file_is_said_to_be_one():
    read, wrong = checked(certificate().encode())
    assert (read.verdict, read.covered, wrong) == (UNSIGNED, None, [])


def test_a_trusted_signature_is_verified():
    read, wrong = checked(signed(certificate()))
    assert wrong == []
    assert (read.verdict, read.laboratory, read.record_id) == (VERIFIED, LABORATORY, 7)


@pytest.mark.parametrize("method", ["RSA_SHA384", "RSA_SHA512", "SHA256_RSA_MGF1"])
def test_longer_digests_and_the_newer_padding_are_taken(method):
    read, wrong = checked(signed(certificate(), signature_algorithm=SignatureMethod[method]))
    assert (read.verdict, wrong) == (VERIFIED, [])


def test_an_elliptic_curve_is_taken():
    from cryptography import x509
    from cryptography.hazmat.primitives import hashes
    from cryptography.hazmat.primitives.asymmetric import ec

    key = ec.generate_private_key(ec.SECP256R1())
    old = signing()[1]
    builder = x509.CertificateBuilder().subject_name(old.subject).issuer_name(old.issuer).public_key(key.public_key())
    builder = (
        builder.serial_number(5).not_valid_before(old.not_valid_before_utc).not_valid_after(old.not_valid_after_utc)
    )
    own = (key, builder.sign(key, hashes.SHA256()))
    read, wrong = checked(signed(certificate(), own, signature_algorithm=SignatureMethod.ECDSA_SHA256), trusted(own))
    assert (read.verdict, wrong) == (VERIFIED, [])


def test_without_trust_it_fits_and_is_not_verified():
    read, wrong = checked(signed(certificate()), [])
    assert (read.verdict, wrong) == (NOT_VERIFIED, [])
    assert read.notice is not None
    assert "no laboratory certificate on record" in read.notice
    assert read.covered is not None


def test_a_certificate_of_the_same_name_is_another():
    other = signing(days=731)
    read, wrong = checked(signed(certificate(), other))
    assert (read.verdict, wrong) == (NOT_VERIFIED, [])


def test_the_sample_fits_as_dcclib_finds_too():
    from dcclib.signature import DCCVerifier

    path, verifier = SAMPLES / "valid_signature.xml", DCCVerifier(str(SAMPLES / "ca.pem"))
    in_time = SignatureConfiguration(
        verification_time=datetime(2026, 6, 1, tzinfo=UTC)
    )  # while its certificate is valid
    verifier.verifier.verify = partial(verifier.verifier.verify, expect_config=in_time)
    by_dcclib = verifier.verify_path(str(path))
    own = x509_of((SAMPLES / "cert.pem").read_bytes())
    assert as_der(by_dcclib.cert) == as_der(own)
    read, wrong = checked(path.read_bytes(), [TrustedCertificate(1, "Kalibrierfirma GmbH", as_der(own), trusted=True)])
    assert wrong == []
    assert (read.verdict, read.signer) == (NOT_VERIFIED, "cert, PTB")  # its certificate is younger than its calibration
    assert read.notice is not None
    assert "valid from 2026-01-06 to 2027-01-06, and the signature is of 1957-08-13" in read.notice


def test_the_sample_that_was_changed_is_refused():
    assert "a signature that fits" in refused((SAMPLES / "invalid_signature.xml").read_bytes())


# --- only what is covered is read ------------------------------------------------------------------------------------------------


def values_read(content):
    read, wrong = checked(content)
    if wrong:
        return None
    root, _ = read_document("c.xml", read.covered or content)
    rows = [row for each in read_certificate(root, "c.xml", VANE).results for row in each.rows]
    return read.verdict, [row["reference"] for row in rows]


VANE = CertificateWanted("air velocity", "air velocity", "m/s", 12)


def test_what_is_read_is_what_is_covered_comments_taken_out():
    own = signed(certificate(number="C<!-- a comment -->-201"))
    read, _ = checked(own)
    assert b"comment" not in (read.covered or b"")
    assert b"Signature" not in (read.covered or b"")


def test_a_signed_copy_moved_aside_does_not_vouch_for_what_stands_in_its_place():
    own = signed(certificate(root=' id="own"'), reference_uri="#own").decode()
    signature = re.search(r"<ds:Signature.*</ds:Signature>", own, re.DOTALL)[0]
    inner = own.partition("?>")[2].replace(signature, "")
    forged = certificate(number="C-666")
    for root_id in ("", ' id="own"', ' id="other"'):
        wrapped = certificate(number="C-666", root=root_id, after=f"<dcc:comment>{inner}</dcc:comment>{signature}")
        assert values_read(wrapped.encode()) is None
    aside = forged.replace(
        "</dcc:digitalCalibrationCertificate>",
        f"<dcc:comment>{own.partition('?>')[2]}</dcc:comment></dcc:digitalCalibrationCertificate>",
    )
    assert "one signature, in the root itself" in refused(aside.encode())


def test_a_signature_that_is_taken_out_leaves_an_unsigned_file():
    own = re.sub(rb"<ds:Signature.*</ds:Signature>", b"", signed(certificate()), flags=re.DOTALL)
    assert checked(own)[0].verdict == UNSIGNED


def test_results_planted_elsewhere_are_not_read():
    planted = "<dcc:measurementResult><dcc:results/></dcc:measurementResult>"
    verdict, references = values_read(signed(certificate(after=f"<dcc:comment>{planted}</dcc:comment>")))
    assert (verdict, len(references)) == (VERIFIED, 7)


# --- what is refused -------------------------------------------------------------------------------------------------------------


def changed(pattern, by, content=None):
    own, count = re.subn(pattern, by, signed(certificate()) if content is None else content, flags=re.DOTALL)
    assert count
    return own


STYLE = b'<ds:Transform Algorithm="http://www.w3.org/TR/1999/REC-xslt-19991116"/>'
BROKEN = {
    "a value changed": (lambda: changed(rb">0\.60 1\.20", b">0.61 1.20"), "a signature that fits"),
    "the serial number changed": (lambda: changed(rb"<dcc:value>001<", b"<dcc:value>002<"), "a signature that fits"),
    "its value changed": (
        lambda: changed(rb"<ds:SignatureValue>....", b"<ds:SignatureValue>AAAA"),
        "a signature that fits",
    ),
    "its digest changed": (lambda: changed(rb"<ds:DigestValue>....", b"<ds:DigestValue>AAAA"), "a signature that fits"),
    "another certificate in it": (
        lambda: changed(
            rb"<ds:X509Certificate>.*</ds:X509Certificate>",
            b"<ds:X509Certificate>" + b"".join(pem(signing(days=731)[1]).splitlines()[1:-1]) + b"</ds:X509Certificate>",
        ),
        "a signature that fits",
    ),
    "a certificate that is none": (
        lambda: changed(
            rb"<ds:X509Certificate>.*</ds:X509Certificate>", b"<ds:X509Certificate>AAAA</ds:X509Certificate>"
        ),
        "a signature that fits",
    ),
    "SHA-1": (lambda: changed(rb"xmldsig-more#rsa-sha256", b"xmldsig-more#rsa-sha1"), "RSA or ECDSA with SHA-256"),
    "a SHA-1 digest": (
        lambda: changed(rb"http://www.w3.org/2001/04/xmlenc#sha256", b"http://www.w3.org/2000/09/xmldsig#sha1"),
        "'http://www.w3.org/2000/09/xmldsig#sha1'; expected SHA-256, SHA-384 or SHA-512",
    ),
    "a shared key": (lambda: changed(rb"xmldsig-more#rsa-sha256", b"xmldsig-more#hmac-sha256"), "RSA or ECDSA"),
    "a style sheet": (
        lambda: changed(rb"(<ds:Transforms>)", rb"\1" + STYLE),
        "xslt-19991116'; expected a transform that takes",
    ),
    "a path": (
        lambda: changed(
            rb"(<ds:Transforms>)", rb'\1<ds:Transform Algorithm="http://www.w3.org/TR/1999/REC-xpath-19991116"/>'
        ),
        "xpath-19991116'",
    ),
    "something from outside": (
        lambda: changed(rb'Reference URI=""', b'Reference URI="http://localhost:1/c.xml"'),
        "'http://localhost:1/c.xml'; expected the whole certificate",
    ),
    "a file of the machine": (
        lambda: changed(rb'Reference URI=""', b'Reference URI="file:///etc/hostname"'),
        "file:///etc",
    ),
    "a part alone": (lambda: changed(rb'Reference URI=""', b'Reference URI="#part"'), "'#part'; expected the whole"),
    "nothing": (lambda: changed(rb"<ds:Reference .*</ds:Reference>", b""), "ds:Signature"),
    "two signatures": (
        lambda: changed(rb"(<ds:Signature .*</ds:Signature>)", rb"\1\1"),
        "one signature, in the root itself",
    ),
    "one within the data": (
        lambda: changed(
            rb"<dcc:administrativeData>(.*)(<ds:Signature .*</ds:Signature>)", rb"<dcc:administrativeData>\2\1"
        ),
        "one signature, in the root itself",
    ),
    "no SignedInfo": (lambda: changed(rb"<ds:SignedInfo>.*</ds:SignedInfo>", b""), "a SignedInfo"),
    "another canonical form": (
        lambda: changed(rb'CanonicalizationMethod Algorithm="[^"]*"', b'CanonicalizationMethod Algorithm="x"'),
        "'x'; expected a canonical form",
    ),
}


@pytest.mark.parametrize("trap", BROKEN)
def test_a_signature_that_is_not_right_is_refused_whoever_is_trusted(trap):
    made, said = BROKEN[trap]
    for by in ([], trusted()):
        assert said in refused(made(), by)


def test_a_signature_made_with_sha_1_is_refused():
    import signxml.signer

    class Lax(signxml.XMLSigner):
        def check_deprecated_methods(self):
            """As an old program does."""

    from lxml import etree

    key, own = signing()
    made = Lax(
        method=signxml.methods.enveloped,
        signature_algorithm=SignatureMethod.RSA_SHA1,
        digest_algorithm=DigestAlgorithm.SHA1,
    ).sign(etree.fromstring(certificate().encode()), key=key, cert=[own])
    assert "RSA or ECDSA with SHA-256" in refused(etree.tostring(made))


def test_a_signature_by_a_shared_key_that_is_the_public_key_is_refused():
    from lxml import etree
    from signxml import XMLSigner, methods

    made = XMLSigner(method=methods.enveloped, signature_algorithm=SignatureMethod.HMAC_SHA256).sign(
        etree.fromstring(certificate().encode()), key=pem(signing()[1])
    )
    assert "RSA or ECDSA with SHA-256" in refused(etree.tostring(made))


def test_a_signature_without_its_certificate_is_that_of_the_trusted_one_or_refused():
    own = changed(rb"<ds:KeyInfo>.*</ds:KeyInfo>", b"")
    assert checked(own)[0].verdict == VERIFIED
    assert "a signature that fits" in refused(own, [])


@pytest.mark.parametrize(("days", "verdict"), [(730, VERIFIED), (100, NOT_VERIFIED)])
def test_a_certificate_must_have_been_valid_on_the_day_of_issue(days, verdict):
    own = signing(days=days)  # from 2025-06-01; the certificate is issued 2026-02-13
    assert checked(signed(certificate(), own), trusted(own))[0].verdict == verdict


@pytest.mark.parametrize(
    ("at", "verdict"), [("2026-02-14T10:00:00Z", VERIFIED), ("2028-01-01T10:00:00Z", NOT_VERIFIED)]
)
def test_the_time_in_a_signature_counts_where_it_is_signed_too(at, verdict):
    from lxml import etree
    from signxml.xades import XAdESSigner

    class AtSomeTime(XAdESSigner):
        def add_signing_time(self, signed_signature_properties, sig_root, signing_settings):
            super().add_signing_time(signed_signature_properties, sig_root, signing_settings)
            signed_signature_properties[-1].text = at

    key, own = signing()
    made = AtSomeTime().sign(etree.fromstring(certificate().encode()), key=key, cert=[own])
    read, wrong = checked(etree.tostring(made))
    assert wrong == []
    assert read.verdict == verdict
    later = etree.tostring(made).replace(at[:10].encode(), b"2026-03-01")
    assert "a signature that fits" in refused(later)
