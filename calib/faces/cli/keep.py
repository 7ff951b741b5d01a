"""Commands that keep the records elsewhere: backup, export."""

from pathlib import Path
from shlex import quote
from typing import Annotated

import typer

from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    Records,
    print_json,
    say,
    stop,
    tell,
)


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("backup")(backup)
    app.command("export")(export)


def backup(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The new file; one that is there is left alone.")],
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """Copy the records into a new file while others write, and read it back; exit status 1 if `verify` finds anything in it.

    Records on a server are copied into such a file too.

    Example: calib backup friday.sqlite
    """
    from calib.records.backup import back_up

    found = back_up(records, file, say)
    if as_json:
        document = [{"record": one.record, "problem": one.problem} for one in found.findings]
        print_json(
            {
                "file": str(found.path),
                "bytes": found.size,
                "entries": found.entries,
                "digest": found.digest,
                "findings": document,
            }
        )
    else:
        for one in found.findings:
            tell(str(one))
        tell(
            f"copied into {found.path} ({found.size / 1e6:.1f} MB) and read back: {found.entries} ledger entries, "
            f"{len(found.findings)} finding(s), digest {found.digest}"
        )
    if found.findings:
        say("the copy holds what the records hold, with these findings; an earlier backup may be without them")
        stop(1)


def export(
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The new folder; one that is there must be empty.")],
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """Write the records as the CSV files that `calib import` reads back; what it does not read stands in a folder of its own.

    Example: calib export all-records
    """
    from calib.faces.files import write_export
    from calib.procedures.enter.export_records import export_records
    from calib.records import database

    with database.reading(records) as session:
        found = write_export(folder, export_records(session), say)
    if as_json:
        print_json({"folder": str(folder), "imported": dict(found.imported), "not_imported": dict(found.not_imported)})
        return
    for name, count in found.imported.items():
        tell(f"{count:6d}  {name}")
    for name, count in found.not_imported.items():
        tell(f"{count:6d}  {name} (not imported)")
    tell(f"wrote {folder}: calib import {quote(str(folder))} reads it back into other records")
