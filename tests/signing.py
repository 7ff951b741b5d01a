"""Keys, certificates and files to sign with, made for a test; an authority that stamps times; and validators by other hands."""

import re
import shutil
import subprocess
from contextlib import contextmanager
from datetime import UTC, datetime
from functools import cache
from http.server import BaseHTTPRequestHandler, HTTPServer
from threading import Event, Thread

from asn1crypto import keys as asn1_keys
from asn1crypto import tsp
from asn1crypto import x509 as asn1_x509
from asn1crypto.pkcs12 import Pfx
from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec, ed25519, rsa
from cryptography.hazmat.primitives.serialization import (
    BestAvailableEncryption,
    Encoding,
    NoEncryption,
    PrivateFormat,
    pkcs12,
)
from cryptography.x509.oid import ExtendedKeyUsageOID, NameOID
from pyhanko.sign.timestamps import DummyTimeStamper

from tests.missing import missing

PASSWORD = "a long pass word, ä"  # noqa: S105 (of files that a test makes)
SIGNER = "Ed"
FROM, UNTIL = datetime(2020, 1, 1, tzinfo=UTC), datetime(2040, 1, 1, tzinfo=UTC)
_MADE = {
    "EC": lambda: ec.generate_private_key(ec.SECP256R1()),
    "another EC": lambda: ec.generate_private_key(ec.SECP256R1()),
    "EC of 192 bits": lambda: ec.generate_private_key(ec.SECP192R1()),
    "RSA": lambda: rsa.generate_private_key(65537, 2048),
    "RSA of 1024 bits": lambda: rsa.generate_private_key(65537, 1024),  # noqa: S505 (to be refused)
    "Ed25519": ed25519.Ed25519PrivateKey.generate,
}


@cache
def private_key(kind="EC"):
    """A private key of a kind, one of each."""
    return _MADE[kind]()


def name_of(*common):
    """A name with those common names."""
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, each) for each in common])


def certificate(*common, key, issuer=None, signed_with=None, span=(FROM, UNTIL), extensions=()):
    """A certificate of a key; issued by whoever has it, unless an issuer with a key is named."""
    by = key if signed_with is None else signed_with
    made = x509.CertificateBuilder(
        issuer_name=name_of(*common) if issuer is None else name_of(issuer),
        subject_name=name_of(*common),
        public_key=key.public_key(),
        serial_number=x509.random_serial_number(),
        not_valid_before=span[0],
        not_valid_after=span[1],
    )
    for extension in extensions:
        made = made.add_extension(extension, critical=True)
    return made.sign(by, None if isinstance(by, ed25519.Ed25519PrivateKey) else hashes.SHA256())


def usage(**allowed):
    """The extension that says what a key may do, as named."""
    every = (
        "digital_signature", "content_commitment", "key_encipherment", "data_encipherment", "key_agreement",
        "key_cert_sign", "crl_sign", "encipher_only", "decipher_only",
    )  # fmt: skip
    return x509.KeyUsage(**{each: allowed.get(each, False) for each in every})


def p12(*common, kind="EC", password=PASSWORD, above=(), own=None, **of_certificate):
    """The bytes of a PKCS#12 file with a key and its certificate, or one that is not its own."""
    key = private_key(kind)
    made = certificate(*(common or (SIGNER,)), key=key, **of_certificate) if own is None else own
    encryption = BestAvailableEncryption(password.encode()) if password else NoEncryption()
    return pkcs12.serialize_key_and_certificates(b"key", key, made, list(above) or None, encryption)


def with_keys_of(*files):
    """One PKCS#12 file with the contents of several; without the digest of all, which RFC 7292, 4 leaves to the writer."""
    whole, *others = (Pfx.load(each) for each in files)
    parts = whole.authenticated_safe
    for other in others:
        for part in other.authenticated_safe:
            parts.append(part)
    return Pfx({"version": "v3", "auth_safe": {"content_type": "data", "content": parts.dump(force=True)}}).dump()


# --- an authority ----------------------------------------------------------------------------------------------------------------


REPLY = "application/timestamp-reply"  # RFC 3161, 3.4


def refusal(why):
    """The answer of an authority that stamps no time: a status and no token (RFC 3161, 2.4.2)."""
    status = tsp.PKIStatusInfo({"status": "rejection", "status_string": [why]}).dump()
    return bytes((0x30, len(status))) + status  # a sequence of one, in DER


@contextmanager
def time_stamp_authority(at, *, answer=None, of_something_else=False, status=200, kind=REPLY, is_silent=False):
    """The address of an authority on this machine that stamps one time, or answers with those bytes, or is silent.

    `status` and `kind` are those of its answer (HTTP).
    """
    closing = Event()
    key = private_key("RSA")
    stamping = x509.ExtendedKeyUsage([ExtendedKeyUsageOID.TIME_STAMPING])
    own = certificate("Stamp Office", key=key, extensions=(stamping,))
    stamper = DummyTimeStamper(
        asn1_x509.Certificate.load(own.public_bytes(Encoding.DER)),
        asn1_keys.PrivateKeyInfo.load(key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())),
        fixed_dt=at,
    )

    class Stamps(BaseHTTPRequestHandler):
        def do_POST(self):
            """Stamp what was sent."""
            asked = self.rfile.read(int(self.headers["Content-Length"]))
            if is_silent:
                closing.wait()
                return
            request = tsp.TimeStampReq.load(asked)
            if of_something_else:
                request["message_imprint"]["hashed_message"] = bytes(32)
            stamped = stamper.request_tsa_response(request).dump() if answer is None else answer
            self.send_response(status)
            self.send_header("Content-Type", kind)
            self.send_header("Content-Length", str(len(stamped)))
            self.end_headers()
            self.wfile.write(stamped)

        def log_message(self, *_):
            """Say nothing."""

    server = HTTPServer(("127.0.0.1", 0), Stamps)
    running = Thread(target=server.serve_forever, daemon=True)
    running.start()
    try:
        yield f"http://127.0.0.1:{server.server_port}/"
    finally:
        closing.set()
        server.shutdown()
        server.server_close()
        running.join()


# --- another validator -----------------------------------------------------------------------------------------------------------


def pdfsig(file):
    """What pdfsig of Poppler says of each signature of a PDF: label -> what it says; where it is not, the test is skipped."""
    program = shutil.which("pdfsig") or missing("needs another validator of signatures: Debian's package poppler-utils")
    said = subprocess.run([program, "-nocert", str(file)], capture_output=True, text=True, check=False).stdout
    parts = re.split(r"^Signature #\d+:$", said, flags=re.MULTILINE)[1:]
    return [
        dict(re.findall(r"^  - ([^:\n]+): (.*)$", part, re.MULTILINE)) | {"whole": "Total document signed" in part}
        for part in parts
    ]
