"""Commands that keep the records elsewhere: backup, export."""

from pathlib import Path
from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, reads, say

app = group()


@reads(app, "backup")
def backup(
    desk: Desk,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The new file; one that is there is left alone.")],
) -> Reply:
    """Copy the records into a new file while others write, and read it back; exit status 1 if `verify` finds anything in it.

    Records on a server are copied into such a file too.

    Example: calib backup friday.sqlite
    """
    from calib.faces.answers import backup as answer
    from calib.records.backup import back_up

    copy = back_up(desk.records, file, say)
    told = "the copy holds what the records hold, with these findings; an earlier backup may be without them"
    return Reply(answer.document(copy), answer.text, [told] if copy.findings else [], status=int(bool(copy.findings)))


@reads(app, "export")
def export(
    desk: Desk,
    folder: Annotated[Path, typer.Argument(metavar="FOLDER", help="The new folder; one that is there must be empty.")],
) -> Reply:
    """Write the records as the CSV files that `calib import` reads back; what it does not read stands in a folder of its own.

    Example: calib export all-records
    """
    from calib.faces.answers import exported as answer
    from calib.faces.files import write_export
    from calib.procedures.enter.export_records import export_records

    return Reply(answer.document(folder, write_export(folder, export_records(desk.reading()), say)), answer.text)
