"""Commands on the certificates that laboratories sign with."""

from pathlib import Path
from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, reads, say, writes
from calib.faces.cli.options import FileDigest, Reason

app = group("Signing certificates of laboratories: trust one (add), end the trust (distrust), list.")

LaboratoryNamed = Annotated[
    str, typer.Argument(metavar="LABORATORY", help="The laboratory, as its calibration certificates name it.")
]
SigningFile = Annotated[Path, typer.Argument(metavar="FILE", help="Its X.509 certificate, PEM or DER.")]
_LARGEST = 100_000  # bytes of a certificate


@writes(app, "add")
def add(desk: Desk, laboratory: LaboratoryNamed, file: SigningFile, reason: Reason) -> Reply:
    """Trust the certificate with which a laboratory signs its files (QA): a file signed with it is verified from now on.

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
def distrust(desk: Desk, digest: FileDigest, reason: Reason) -> Reply:
    """End the trust in a laboratory's signing certificate (QA): files signed with it are not verified any more.

    Calibrations on record stay, and so does what was found of their signatures when their files were read.


    Example: calib laboratory-certificate distrust 3a7bd3e2 --reason "the laboratory says its key was stolen"
    """
    from calib.faces.answers import laboratory_certificates as answer
    from calib.procedures.calibrate.add_laboratory_certificate import distrust_laboratory_certificate

    ended = distrust_laboratory_certificate(desk.writing(), digest, reason, desk.signature())
    return Reply(answer.certificate(ended), answer.distrusted)


@reads(app, "list")
def list_(desk: Desk) -> Reply:
    """List the signing certificates of laboratories: who signs, until when, and whether each is trusted.

    Example: calib laboratory-certificate list
    """
    from calib.faces.answers import laboratory_certificates as answer
    from calib.procedures.on_record.laboratory_certificates import laboratory_certificates

    return Reply(answer.document(laboratory_certificates(desk.reading())), answer.text)
