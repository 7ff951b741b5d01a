"""The key that a person signs a report with: a PKCS#12 file (RFC 7292) with one key, its certificate and those above it.

Decision (2026-11-29). Who signs is who issues: the common name of the certificate is the name on record of the person who issues,
and that person is an engineer. Options: certificates put on record first, as those of laboratories are (QA would record each
renewal of a key that proves itself by a password); no tie at all (a report signed by anybody). Cost: a name that is spelled
otherwise in the certificate is refused; the records keep which certificate it was, not whether its issuer is to be trusted.
"""

import warnings
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Any

from sqlmodel import Session

from calib.confirmation.authority import ENGINEER, holders
from calib.errors import BadInputError, Finding
from calib.procedures.dcc.check_signature import has_long_key, sha256_of
from calib.procedures.people.authorise import people_on_record
from calib.procedures.people.four_eyes import same_person

if TYPE_CHECKING:
    from cryptography.x509 import Certificate

PLACE = "calib:signature"  # where a link in a PDF leads that becomes the field of the signature
_KEYS = ("key_bag", "pkcs8_shrouded_key_bag")  # RFC 7292, 4.2.1 and 4.2.2


@dataclass(frozen=True)
class SigningKey:
    """A private key with its certificate; the password is not kept."""

    file: str  # as it was named
    name: str  # common name of the certificate
    issuer: str  # common name, or else the whole name, of who issued the certificate
    sha256: str  # of the certificate
    valid_from: datetime
    valid_until: datetime
    private_key: Any  # RSA or EC, as the library of keys has it
    certificate: "Certificate"
    above: "tuple[Certificate, ...]"  # that the file holds beside it


@dataclass(frozen=True)
class Signing:
    """How a report is signed."""

    key: SigningKey
    at: datetime
    authority: str | None = None  # address of a time stamp authority; absent: no time stamp is asked for

    @property
    def level(self) -> str:
        """The level of ETSI EN 319 142-1."""
        return "PAdES B-B" if self.authority is None else "PAdES B-T"


def read_signing_key(file: str, content: bytes, password: str) -> SigningKey:
    """The key of a PKCS#12 file that was named so; raises BadInputError with what is wrong."""
    keys = _keys_within(content)
    if keys is None:
        raise _wrong(file, "a file of a key and its certificate (PKCS#12, .p12 or .pfx)")
    if keys > 1:
        raise _wrong(file, f"a file with one key, that of the person who signs; there are {keys}")
    private_key, certificate, above = _opened(file, content, password)
    if private_key is None or certificate is None or certificate.public_key() != private_key.public_key():
        raise _wrong(file, "a private key with its own certificate in the file")
    if not has_long_key(certificate):
        raise _wrong(file, "a key of RSA with 2048 bits or more, or of a curve of 256 bits or more")
    if not _is_to_sign(certificate):
        raise _wrong(file, "a certificate whose key usage is to sign (digital signature or non-repudiation)")
    name = common_name_of(certificate.subject)
    if not name:
        raise _wrong(file, "a certificate with one common name, that of the person who signs")
    return SigningKey(
        file,
        name,
        issuer_of(certificate),
        sha256_of(certificate),
        certificate.not_valid_before_utc,
        certificate.not_valid_after_utc,
        private_key,
        certificate,
        above,
    )


def must_sign_for(session: Session, signing: Signing, person: str) -> None:
    """Raise BadInputError unless the key is that of the person who issues, an engineer on record, and valid at that time."""
    findings = list(_against(session, signing.key, person, signing.at))
    if findings:
        raise BadInputError(findings)


def _against(session: Session, key: SigningKey, person: str, at: datetime) -> Iterator[Finding]:
    known = people_on_record(session)
    engineers = holders(ENGINEER, known.people, known.changes, at)
    if person not in engineers:
        there = ", ".join(engineers) or "nobody"
        yield Finding.typed("by", person, f"a person on record with the role {ENGINEER}, who signs ({there})")
    if not same_person(key.name, person):
        yield Finding.typed("sign", key.file, f"the certificate of {person}, who issues; it is that of {key.name}")
    if not key.valid_from <= at <= key.valid_until:
        span = f"{key.valid_from.date()} to {key.valid_until.date()}"
        yield Finding.typed("sign", key.file, f"a certificate that is valid on {at.date()}; it is from {span}")


def common_name_of(name: Any) -> str | None:
    """The one common name of a name in a certificate, on one line; None where there is none, or several."""
    from cryptography.x509.oid import NameOID  # noqa: PLC0415 (for signatures alone)

    common = [str(each.value) for each in name.get_attributes_for_oid(NameOID.COMMON_NAME)]
    return " ".join(common[0].split()) if len(common) == 1 and common[0].isprintable() else None


def issuer_of(certificate: "Certificate") -> str:
    """Who issued a certificate: the common name, or else the whole name."""
    return common_name_of(certificate.issuer) or certificate.issuer.rfc4514_string() or "nobody who is named"


def _wrong(file: str, expected: str) -> BadInputError:
    return BadInputError([Finding.typed("sign", file, expected)])


def _keys_within(content: bytes) -> int | None:
    """How many keys a PKCS#12 file holds, those aside that it hides together with its certificates; None: it is none."""
    from asn1crypto.pkcs12 import Pfx, SafeContents  # noqa: PLC0415 (for signatures alone)

    try:
        parts = Pfx.load(content, strict=True).authenticated_safe
        plain = [part["content"].native for part in parts if part["content_type"].native == "data"]
        return sum(bag["bag_id"].native in _KEYS for held in plain for bag in SafeContents.load(held))
    except (ValueError, TypeError, KeyError, AttributeError):
        return None


def _opened(file: str, content: bytes, password: str) -> "tuple[Any, Certificate | None, tuple[Certificate, ...]]":
    """Key, certificate and further certificates of the file."""
    from cryptography.exceptions import UnsupportedAlgorithm  # noqa: PLC0415 (for signatures alone)
    from cryptography.hazmat.primitives.serialization import pkcs12  # noqa: PLC0415

    try:
        with warnings.catch_warnings():
            warnings.simplefilter(
                "ignore", UserWarning
            )  # that it is of indefinite lengths (BER), as some programs export it
            private_key, certificate, above = pkcs12.load_key_and_certificates(content, password.encode())
    except UnsupportedAlgorithm as error:
        raise _wrong(file, "a file that is encrypted in a way known here (AES, triple DES)") from error
    except (ValueError, TypeError) as error:
        raise _wrong(file, "the password of this file") from error
    return private_key, certificate, tuple(above)


def _is_to_sign(certificate: "Certificate") -> bool:
    """Whether a certificate lets its key sign, RFC 5280, 4.2.1.3: without the extension it is not limited."""
    from cryptography import x509  # noqa: PLC0415

    try:
        usage = certificate.extensions.get_extension_for_class(x509.KeyUsage).value
    except x509.ExtensionNotFound:
        return True
    except ValueError:  # extensions that cannot be read
        return False
    return usage.digital_signature or usage.content_commitment
