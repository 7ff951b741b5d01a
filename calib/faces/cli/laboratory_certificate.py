"""Commands on the certificates that laboratories sign with."""

from pathlib import Path
from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, reads, say, writes
from calib.faces.cli.options import Reason

app = group("Certificates that laboratories sign theirs with, trusted by QA: add, distrust, list.")

LaboratoryNamed = Annotated[
    str, typer.Argument(metavar="LABORATORY", help="The laboratory, as its calibration certificates name it.")
]
SigningFile = Annotated[Path, typer.Argument(metavar="FILE", help="Its X.509 certificate, PEM or DER.")]
Digest = Annotated[
    str, typer.Argument(metavar="SHA256", help="The SHA-256 of the certificate, or the beginning of it.")
]
_LARGEST = 100_000  # bytes of a certificate


@writes(app, "add")
def add(desk: Desk, laboratory: LaboratoryNamed, file: SigningFile, reason: Reason) -> Reply:
    """Trust the certificate that a laboratory signs its certificates with (QA): what is signed with it is verified from now on.

    Example: calib laboratory-certificate add "North Laboratory" north.pem --reason "its SHA-256 read out by them on the telephone"
    """
    from calib.faces.answers import laboratory_certificates as answer
    from calib.faces.files import file_content
    from calib.procedures.calibrate.add_laboratory_certificate import add_laboratory_certificate

    content = file_content(file, _LARGEST)
    added, notice = add_laboratory_certificate(desk.writing(), laboratory, content, reason, desk.signature())
    if notice is not None:
        say(notice)
    return Reply(answer.certificate(added), answer.trusted)


@writes(app, "distrust")
def distrust(desk: Desk, digest: Digest, reason: Reason) -> Reply:
    """Trust a certificate no longer (QA): what is signed with it is not verified from now on, what was recorded stays.

    Example: calib laboratory-certificate distrust 3a7bd3e2 --reason "the laboratory says its key was stolen"
    """
    from calib.faces.answers import laboratory_certificates as answer
    from calib.procedures.calibrate.add_laboratory_certificate import distrust_laboratory_certificate

    ended = distrust_laboratory_certificate(desk.writing(), digest, reason, desk.signature())
    return Reply(answer.certificate(ended), answer.distrusted)


@reads(app, "list")
def list_(desk: Desk) -> Reply:
    """List the certificates of laboratories, trusted and no longer trusted, with who signs and until when.

    Example: calib laboratory-certificate list
    """
    from calib.faces.answers import laboratory_certificates as answer
    from calib.procedures.on_record.laboratory_certificates import laboratory_certificates

    return Reply(answer.document(laboratory_certificates(desk.reading())), answer.text)
