"""The signature on a certificate as XML: whether it fits, who made it, and the bytes that it covers, which alone are read.

XML Signature (W3C xmldsig-core1), one, enveloped in the root and covering all of it, made with a key whose X.509 certificate stands
in it. What a signature may be made of is a list of its algorithms and transforms: no SHA-1, no key that both sides share (HMAC), no
style sheet, nothing from outside the file.

Decision (2026-11-29). A laboratory's own signing certificate is trusted by QA, byte for byte, and not an authority that issues
them: whoever bought a certificate of the same authority would be trusted too. Options: authorities with a name to be matched, the
system's authorities (anybody of the whole world). Cost: QA records the next one when a laboratory renews its own.

Decision (2026-11-29). The certificate must have been valid when the signature was made: the time in the signature (XAdES
SigningTime) where it covers one, else the day of issue that the certificate states, else the last day of the calibration. A
signature of another time fits, and is not verified. Options: now (every certificate would be worth nothing after two years), no
time at all. Cost: without SigningTime the day is what the signer says; who has the key may lie about it.
"""

import hashlib
from base64 import b64decode
from binascii import Error as NoBase64
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import TYPE_CHECKING, Any, Final

from calib.errors import Finding
from calib.procedures.dcc.document import NAMESPACES, ROOT, Node, read_document, short_name
from calib.records.words import NOT_VERIFIED, UNSIGNED, VERIFIED

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

_SIGNATURE: Final = "ds:Signature"
_MOST_CERTIFICATES = 10  # within a signature
_DSIG, _MORE = NAMESPACES["ds"], "http://www.w3.org/2001/04/xmldsig-more#"
_ENC = "http://www.w3.org/2001/04/xmlenc#"
_MGF1 = "http://www.w3.org/2007/05/xmldsig-more#"
_METHODS = {
    *(f"{_MORE}{key}-sha{bits}" for key in ("rsa", "ecdsa") for bits in (256, 384, 512)),
    *(f"{_MGF1}sha{bits}-rsa-MGF1" for bits in (256, 384, 512)),
}
_DIGESTS = {f"{_ENC}sha256", f"{_MORE}sha384", f"{_ENC}sha512"}
_CANONICAL = {
    f"{form}{comments}"
    for form, comments in (
        ("http://www.w3.org/TR/2001/REC-xml-c14n-20010315", ""),
        ("http://www.w3.org/TR/2001/REC-xml-c14n-20010315", "#WithComments"),
        ("http://www.w3.org/2006/12/xml-c14n11", ""),
        ("http://www.w3.org/2006/12/xml-c14n11", "#WithComments"),
        ("http://www.w3.org/2001/10/xml-exc-c14n#", ""),
        ("http://www.w3.org/2001/10/xml-exc-c14n#", "WithComments"),
    )
}
_TRANSFORMS = {f"{_DSIG}enveloped-signature", *_CANONICAL}
_XADES = "{http://uri.etsi.org/01903/v1.3.2#}"
_DOES_NOT_FIT = "a signature that fits: the file was changed after it was signed, or signed with another key"


@dataclass(frozen=True)
class TrustedCertificate:
    """A certificate that a laboratory signs with, as QA recorded it."""

    record_id: int
    laboratory: str
    content: bytes
    trusted: bool  # no longer, otherwise


@dataclass(frozen=True)
class SignatureRead:
    """What was found of the signature on a file."""

    verdict: str
    signer: str | None = None  # as the certificate names it
    covered: bytes | None = None  # what is signed: that alone is read; absent: the file itself
    laboratory: str | None = None  # who vouches: the laboratory that QA recorded
    record_id: int | None = None
    notice: str | None = None  # why it is not verified


def read_signature(
    source: str, content: bytes, root: Node, trusted: Sequence[TrustedCertificate]
) -> tuple[SignatureRead, list[Finding]]:
    """What a file's signature is worth, and what is wrong with it; a broken one is worth nothing, and the file with it."""
    places = list(root.all_below(_SIGNATURE))
    if not places:
        return SignatureRead(UNSIGNED), []
    wrong = list(_of_form(source, root, places))
    if wrong:
        return SignatureRead(NOT_VERIFIED), wrong
    signed, fits = _fitting(content, _certificates(places[0]), trusted)
    if signed is None or fits is None:
        return SignatureRead(NOT_VERIFIED), [Finding(source, None, places[0].path, None, _DOES_NOT_FIT)]
    covered, signed_at = _covered(signed)
    if covered is None:
        expected = "a signature that covers the whole certificate, its root"
        return SignatureRead(NOT_VERIFIED), [Finding(source, None, places[0].path, None, expected)]
    return _worth(fits, covered, signed_at, trusted), []


# --- its form --------------------------------------------------------------------------------------------------------------------


def _of_form(source: str, root: Node, places: Sequence[Node]) -> Iterator[Finding]:
    """What is wrong with a signature before anything is computed."""
    signature = places[0]
    if len(places) > 1 or signature.element not in list(root.element):
        yield Finding(
            source,
            None,
            places[-1].path,
            None,
            f"one signature, in the root itself (there are {len(places)} in the file)",
        )
        return
    info = signature.first("ds:SignedInfo")
    if info is None:
        yield Finding(source, None, signature.path, None, "a SignedInfo")
        return
    yield from _algorithm(source, info, "ds:CanonicalizationMethod", _CANONICAL, "a canonical form of XML")
    yield from _algorithm(source, info, "ds:SignatureMethod", _METHODS, "RSA or ECDSA with SHA-256, SHA-384 or SHA-512")
    own = root.element.get("id")
    elsewhere = [each for each in root.below() if own is not None and each.element.get("id") == own]
    if elsewhere:
        yield Finding(source, None, elsewhere[0].path, own, "an id that no other element has")
    whole = f"#{own}" if own else ""
    within = {f"#{each.element.get('Id')}" for each in signature.below()}  # its own properties (XAdES)
    for reference in info.children("ds:Reference"):
        uri = reference.element.get("URI")
        if uri not in {"", whole} and uri not in within:
            expected = 'the whole certificate (URI=""), nothing else and nothing from outside'
            yield Finding(source, None, reference.path, uri, expected)
        yield from _algorithm(source, reference, "ds:DigestMethod", _DIGESTS, "SHA-256, SHA-384 or SHA-512")
        transforms = reference.first("ds:Transforms")
        for each in () if transforms is None else transforms.children():
            algorithm = each.element.get("Algorithm", "")
            if algorithm not in _TRANSFORMS:
                expected = "a transform that takes the signature out or writes XML canonically"
                yield Finding(source, None, each.path, algorithm, expected)


def _algorithm(source: str, node: Node, name: str, allowed: set[str], expected: str) -> Iterator[Finding]:
    place = node.first(name)
    algorithm = None if place is None else place.element.get("Algorithm", "")
    if algorithm not in allowed:
        yield Finding(source, None, (place or node).path, algorithm, expected)


# --- whether it fits -------------------------------------------------------------------------------------------------------------


def _certificates(signature: Node) -> list[bytes] | None:
    """Certificates that stand in a signature, as DER; None where it names none."""
    certificates = []
    places = list(signature.all_below("ds:X509Certificate"))
    if not places:
        return None
    for place in places[:_MOST_CERTIFICATES]:
        try:
            certificates.append(b64decode("".join(place.text.split()), validate=True))
        except (NoBase64, ValueError):
            continue
    return certificates


def _fitting(
    content: bytes, within: Sequence[bytes] | None, trusted: Sequence[TrustedCertificate]
) -> tuple[list[Any] | None, "Certificate | None"]:
    """What the signature covers by the first certificate whose key it fits: one within it, one on record where there is none."""
    on_record = [each.content for each in trusted]
    for der in on_record if within is None else within:
        certificate = x509_of(der)
        signed = None if certificate is None else _signed(content, certificate)
        if signed is not None:
            return signed, certificate
    return None, None


def x509_of(content: bytes) -> "Certificate | None":
    """An X.509 certificate of a person or a firm, PEM or DER; None where it is none."""
    from cryptography import x509  # noqa: PLC0415 (for signatures alone)

    try:
        if b"-----BEGIN" in content:
            return x509.load_pem_x509_certificate(content)
        return x509.load_der_x509_certificate(content)
    except (ValueError, TypeError):
        return None


def has_long_key(certificate: "Certificate") -> bool:
    """Whether its key is one that nobody breaks: RSA of 2048 bits, or a curve of 256 (NIST SP 800-131A, from memory)."""
    from cryptography.hazmat.primitives.asymmetric import ec, rsa  # noqa: PLC0415

    try:
        key = certificate.public_key()
    except (ValueError, TypeError):
        return False
    is_rsa = isinstance(key, rsa.RSAPublicKey) and key.key_size >= 2048
    return is_rsa or (isinstance(key, ec.EllipticCurvePublicKey) and key.key_size >= 256)


def as_der(certificate: "Certificate") -> bytes:
    """The bytes of a certificate, whatever file it came in."""
    from cryptography.hazmat.primitives.serialization import Encoding  # noqa: PLC0415

    return certificate.public_bytes(Encoding.DER)


def signer_of(certificate: "Certificate") -> str:
    """Whose a certificate is, in one line."""
    from cryptography.x509.oid import NameOID  # noqa: PLC0415

    try:
        common = certificate.subject.get_attributes_for_oid(NameOID.COMMON_NAME)
        firm = certificate.subject.get_attributes_for_oid(NameOID.ORGANIZATION_NAME)
        return (
            ", ".join(dict.fromkeys(str(each.value) for each in (*common, *firm)))
            or certificate.subject.rfc4514_string()
        )
    except ValueError:
        return "a name that cannot be read"


def _signed(content: bytes, certificate: "Certificate") -> list[Any] | None:
    """What the signature covers if it was made with the key of a certificate; None where it was not."""
    from lxml import etree  # noqa: PLC0415
    from signxml.verifier import SignatureConfiguration, XMLVerifier  # noqa: PLC0415

    parser = etree.XMLParser(resolve_entities=False, no_network=True, load_dtd=False, huge_tree=True)
    wanted = SignatureConfiguration(
        location="./", expect_references=True, verification_time=certificate.not_valid_before_utc
    )
    try:
        read = XMLVerifier().verify(
            etree.fromstring(content, parser), x509_cert=certificate, expect_config=wanted, parser=parser
        )
    except Exception:  # noqa: BLE001 (whatever three libraries trip over in a signature: it does not fit)
        return None
    return read if isinstance(read, list) else [read]


def _covered(signed: Sequence[Any]) -> tuple[bytes | None, datetime | None]:
    """The bytes of the certificate among what is signed, and the time of the signature where that is signed too."""
    roots = [each.signed_data for each in signed if _tag(each) == ROOT]
    times = [
        place.text
        for each in signed
        if each.signed_xml is not None and each.signed_xml.tag == f"{_XADES}SignedProperties"
        for place in each.signed_xml.iter(f"{_XADES}SigningTime")
    ]
    return (roots[0] if len(roots) == 1 else None), (_time(times[0]) if times else None)


def _tag(each: Any) -> str | None:
    return None if each.signed_xml is None else short_name(each.signed_xml.tag)


def _time(text: str | None) -> datetime | None:
    try:
        at = datetime.fromisoformat((text or "").strip())
    except ValueError:
        return None
    return at.replace(tzinfo=at.tzinfo or UTC)


# --- what it is worth ------------------------------------------------------------------------------------------------------------


def _worth(
    certificate: "Certificate", covered: bytes, signed_at: datetime | None, trusted: Sequence[TrustedCertificate]
) -> SignatureRead:
    signer = signer_of(certificate)
    digest = sha256_of(certificate)
    own: Mapping[str, TrustedCertificate] = {hashlib.sha256(each.content).hexdigest(): each for each in trusted}
    on_record = own.get(digest)
    if on_record is None:
        why = f"no laboratory certificate on record is the one that signed it ({signer}, SHA-256 {digest[:16]})"
    elif not on_record.trusted:
        why = f"the certificate of {on_record.laboratory} that signed it is no longer trusted"
    else:
        at = signed_at or _stated_day(covered)
        if at is not None and certificate.not_valid_before_utc <= at <= certificate.not_valid_after_utc:
            return SignatureRead(VERIFIED, signer, covered, on_record.laboratory, on_record.record_id)
        span = f"{certificate.not_valid_before_utc.date()} to {certificate.not_valid_after_utc.date()}"
        told = "no day" if at is None else f"{at.date()}"
        why = f"the certificate of {on_record.laboratory} is valid from {span}, and the signature is of {told}"
    return SignatureRead(NOT_VERIFIED, signer, covered, notice=f"signed by {signer} and not verified: {why}")


def sha256_of(certificate: "Certificate") -> str:
    """The SHA-256 by which a certificate is known."""
    return hashlib.sha256(as_der(certificate)).hexdigest()


def _stated_day(covered: bytes) -> datetime | None:
    """The day of issue that the signed certificate states, or the last day of the calibration."""
    root, _ = read_document("", covered)
    core = None if root is None else root.at("administrativeData/coreData")
    for name in ("dcc:issueDate", "dcc:endPerformanceDate"):
        place = None if core is None else core.first(name)
        if place is not None:
            at = _time(f"{place.text}T12:00:00+00:00")
            if at is not None:
                return at
    return None
