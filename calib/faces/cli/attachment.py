"""Files kept with the records: tell of one, and give one back."""

from dataclasses import asdict
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.faces.cli.options import DEFAULT_RECORDS, AsJson, Records, print_json, tell

if TYPE_CHECKING:  # the procedures are imported by the commands that need them
    from calib.procedures.fleet.attach_file import FileKept


def register(app: typer.Typer) -> None:
    """Add this command to the program."""
    app.command("file")(file)


def tell_kept(kept: "FileKept", owner: str, as_json: bool) -> None:
    """Say which file was kept with what."""
    if as_json:
        print_json(asdict(kept))
    elif kept.attached:
        tell(f"kept {kept.name} ({kept.media_type}) with {owner}, SHA-256 {kept.sha256}")
    else:
        tell(f"{kept.name} is with {owner} already, SHA-256 {kept.sha256}: nothing was written")


def file(
    digest: Annotated[str, typer.Argument(metavar="SHA256", help="Its SHA-256, or the beginning of it.")],
    into: Annotated[Path, typer.Option(metavar="FILE", help="Where to write it.")],
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """Write a file of the records, byte for byte as it was received.

    Example: calib file 3a7bd3e2 --into certificate.pdf
    """
    from calib.faces.files import write_new
    from calib.procedures.fleet.attach_file import kept_file
    from calib.records import database

    with database.reading(records) as session:
        found = kept_file(session, digest)
        write_new(into, found.content)
        document = {"name": found.name, "media_type": found.media_type, "sha256": found.sha256, "into": str(into)}
    if as_json:
        print_json(document)
    else:
        tell(f"wrote {into}: {document['name']} ({document['media_type']}), SHA-256 {document['sha256']}")
