"""Commands that keep the records elsewhere: backup, export."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.errors import CalibError
from calib.faces.cli.frame import Desk, Reply, group, reads, say, writes

if TYPE_CHECKING:
    from calib.records.backup import Backup

app = group()


@writes(app, "backup")
def backup(
    desk: Desk,
    file: Annotated[Path, typer.Argument(metavar="FILE", help="The new file; one that is there is left alone.")],
) -> Reply:
    """Copy the records into a new file while others write, and read it back; exit status 1 if `verify` finds anything in it.

    Records on a server are copied into such a file too. A copy without findings is put on record, for `calib status` to tell how
    old the last one is; where that cannot be, the copy is made all the same.

    Example: calib backup friday.sqlite
    """
    from calib.faces.answers import backup as answer
    from calib.records.backup import back_up

    copy = back_up(desk.records, file, say)
    not_on_record = _put_on_record(desk, copy)
    document = answer.document(copy) | {"on_record": not_on_record is None}
    remarks = [] if not_on_record is None else [not_on_record]
    return Reply(document, answer.text, remarks, status=int(bool(copy.findings)))


def _put_on_record(desk: Desk, copy: "Backup") -> str | None:
    """Why a copy was not put on record; None where it was."""
    from calib.procedures.verify.record_backup import record_backup

    if copy.findings:
        return "the copy holds what the records hold, with these findings; an earlier backup may be without them"
    try:
        with desk.writing_last() as session:
            record_backup(session, copy, desk.signature())
    except CalibError as error:
        return f"the copy is sound, but not put on record: {error}"
    return None


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
