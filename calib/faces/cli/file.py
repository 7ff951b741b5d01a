"""Files kept with the records: keep one with its owner, and give one back."""

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, reads
from calib.faces.cli.options import FileDigest

if TYPE_CHECKING:
    from calib.procedures.fleet.attach_file import FileKept

app = group()


def attached(file: "FileKept", owner: str) -> Reply:
    """Which file was kept with what."""
    told = f"kept {file.name} ({file.media_type}) with {owner}, SHA-256 {file.sha256}"
    again = f"{file.name} is with {owner} already, SHA-256 {file.sha256}: nothing was written"
    return Reply(asdict(file), told if file.attached else again)


@reads(app, "file")
def file(
    desk: Desk,
    digest: FileDigest,
    into: Annotated[Path, typer.Option(metavar="FILE", help="Where to write it.")],
) -> Reply:
    """Write a file of the records, byte for byte as it was received.

    Example: calib file 3a7bd3e2 --into certificate.pdf
    """
    from calib.faces.files import write_new
    from calib.procedures.fleet.attach_file import kept_file

    held = kept_file(desk.reading(), digest)
    write_new(into, held.content)
    document = {"name": held.name, "media_type": held.media_type, "sha256": held.sha256, "into": str(into)}
    return Reply(document, f"wrote {into}: {held.name} ({held.media_type}), SHA-256 {held.sha256}")
