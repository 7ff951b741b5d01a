"""Sign a report's PDF: PAdES baseline (ETSI EN 319 142-1) B-B, or B-T with a time stamp (RFC 3161) of an authority.

The typesetter knows no form fields. It sets a link that leads to `PLACE` where the signature is to be seen, and leaves what is
read there to the page; here the link becomes the field of the signature, and its element in the structure of the document a form
(ISO 32000-1, 12.7.4.5 and 14.8.4.5; ISO 14289-1, 7.18.4). What a reader sees is the page's own text within a frame that belongs
to the field, so the appearance needs no typeface of its own (ISO 19005-3, 6.2.11.4.1). The file is only added to, and the
signature covers all of it.

Decision (2026-11). pyhanko signs and checks (MIT, maintained). Options: own code on `cryptography`, an extra to install. Cost: 22
MB in 14 packages. The place of the link is found in the bytes as this release of the typesetter writes them. Cost: another release
fails tests.
"""

import re
from io import BytesIO
from typing import Any

from asn1crypto import tsp
from asn1crypto.keys import PrivateKeyInfo
from asn1crypto.x509 import Certificate as CertificateRead
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from pyhanko.pdf_utils.generic import (
    ArrayObject,
    DictionaryObject,
    IndirectObject,
    NumberObject,
    TextStringObject,
    pdf_name,
)
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.writer import BasePdfFileWriter
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko.sign.signers import PdfSignatureMetadata, PdfSigner, SimpleSigner
from pyhanko.sign.signers.pdf_signer import PdfSigningSession
from pyhanko.sign.timestamps import HTTPTimeStamper, TimestampRequestError
from pyhanko.stamp import StaticStampStyle
from pyhanko_certvalidator.registry import SimpleCertificateStore

from calib.errors import CalibError
from calib.procedures.dcc.check_signature import as_der
from calib.procedures.report.check_pdf_signature import pdf_signatures
from calib.procedures.report.signing_key import PLACE, Signing, SigningKey

_FIELD = "Signature"
_FRAME = StaticStampStyle(border_width=2, border_color=(0.11, 0.39, 0.36), background=None)
_PRINTED_AND_LOCKED = 132  # flags of an annotation, ISO 32000-1, 12.5.3
_LARGEST_SIGNATURE, _LARGEST_TIME_STAMP = 2_000, 16_000  # [byte] without certificates; with those of the authority
_NOT_OF_A_FIELD = ("/A", "/Border", "/Contents")


class _SignerAt(PdfSigner):
    """A signer that takes the time it signs at."""

    signing: Signing

    def init_signing_session(self, pdf_out: BasePdfFileWriter, existing_fields_only: bool = False) -> PdfSigningSession:
        session = super().init_signing_session(pdf_out, existing_fields_only)
        session.system_time = self.signing.at
        return session


class _Authority(HTTPTimeStamper):
    """Asks for a time stamp; a refusal has a status and no token, and says why (RFC 3161, 2.4.2)."""

    async def async_request_tsa_response(self, req: tsp.TimeStampReq) -> tsp.TimeStampResp:
        response = await super().async_request_tsa_response(req)
        status = tsp.PKIStatusInfo.load(response.contents)
        if status["status"].native not in _GRANTED:
            told = ", ".join(status["status_string"].native or [status["status"].native])
            raise TimestampRequestError(f"it refused: {told}")
        return response


_GRANTED = ("granted", "granted_with_mods")


def _why(error: Exception) -> str:
    """Why there is no time stamp, in one line."""
    reason = error.__cause__ or error  # of what the library calls an error, that of the network
    if isinstance(reason, TimeoutError):
        return "no answer in time"
    told = " ".join(str(reason).split())
    return told if isinstance(error, TimestampRequestError) else f"its answer is none ({told})"


def sign_pdf(pdf: bytes, signing: Signing) -> bytes:
    """A PDF that has the place for it, signed; raises CalibError where the authority gives no time stamp that holds."""
    writer = IncrementalPdfFileWriter(BytesIO(pdf + b"\n"))  # each object begins a line (ISO 19005-3, 6.1.9)
    _make_field(writer, pdf, signing.key.name)
    signer = _SignerAt(
        PdfSignatureMetadata(field_name=_FIELD, subfilter=SigSeedSubFilter.PADES, md_algorithm="sha256"),
        _signer_of(signing.key),
        timestamper=None if signing.authority is None else _Authority(signing.authority),
        stamp_style=_FRAME,
    )
    signer.signing = signing
    signed = BytesIO()
    try:
        signer.sign_pdf(writer, existing_fields_only=True, bytes_reserved=_room_for(signing), output=signed)
    except (TimestampRequestError, TimeoutError, ValueError, TypeError) as error:
        if signing.authority is None:
            raise
        raise CalibError(
            f"the time stamp authority gave no time stamp, so nothing was signed: {_why(error)}"
        ) from error
    made = signed.getvalue()
    stamped = () if signing.authority is None else pdf_signatures(made)
    if fault := next((signature.fault for signature in stamped if not signature.holds), None):
        raise CalibError(f"the time stamp authority gave no time stamp that holds, so nothing was signed: {fault}")
    return made


def _room_for(signing: Signing) -> int:
    """Signs of hexadecimal that are left free for a signature: its certificates, and as much as the rest takes at the most."""
    certificates = sum(len(as_der(each)) for each in (signing.key.certificate, *signing.key.above))
    return 2 * (certificates + _LARGEST_SIGNATURE + (0 if signing.authority is None else _LARGEST_TIME_STAMP))


def _signer_of(key: SigningKey) -> SimpleSigner:
    private = key.private_key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    above = SimpleCertificateStore()
    above.register_multiple(CertificateRead.load(as_der(certificate)) for certificate in key.above)
    return SimpleSigner(CertificateRead.load(as_der(key.certificate)), PrivateKeyInfo.load(private), above)


def _make_field(writer: IncrementalPdfFileWriter, pdf: bytes, name: str) -> None:
    """Make a field for a signature of the link that leads to its place."""
    link = _link_of(writer, pdf)
    field = link.get_object()
    element = _element_of(writer.root["/StructTreeRoot"]["/ParentTree"], field["/StructParent"])
    for entry in _NOT_OF_A_FIELD:
        field.pop(pdf_name(entry), None)
    field.update(
        {
            pdf_name("/Subtype"): pdf_name("/Widget"),
            pdf_name("/FT"): pdf_name("/Sig"),
            pdf_name("/T"): TextStringObject(_FIELD),
            pdf_name("/TU"): TextStringObject(f"Signature of {name}"),
            pdf_name("/F"): NumberObject(_PRINTED_AND_LOCKED),
            pdf_name("/P"): element.get_object()["/K"][0].raw_get("/Pg"),
        }
    )
    writer.mark_update(link)
    element.get_object()[pdf_name("/S")] = pdf_name("/Form")
    writer.mark_update(element)
    form = DictionaryObject({pdf_name("/Fields"): ArrayObject([link])})
    writer.root[pdf_name("/AcroForm")] = writer.add_object(form)
    writer.update_root()


def _link_of(writer: IncrementalPdfFileWriter, pdf: bytes) -> Any:
    """The reference to the link that leads to the place of the signature.

    It is looked for in the bytes, where the typesetter writes each object plainly: to read each of a thousand pages takes a second.
    """
    for begin in re.finditer(rb"^(\d+) 0 obj\s[^\n]*/URI ?\(%s\)" % PLACE.encode(), pdf, re.MULTILINE):
        link = IndirectObject(int(begin[1]), 0, writer)
        if link.get_object().get("/A", {}).get("/URI") == PLACE:
            return link
    raise ValueError(f"a PDF without a link to {PLACE}")


def _element_of(tree: Any, wanted: int) -> Any:
    """The reference under a number in a number tree (ISO 32000-1, 7.9.7)."""
    for below in tree.get("/Kids", ()):
        first, last = below.get_object()["/Limits"]
        if first <= wanted <= last:
            return _element_of(below.get_object(), wanted)
    numbers = tree["/Nums"]
    return numbers.raw_get(2 * list(numbers)[::2].index(wanted) + 1)
