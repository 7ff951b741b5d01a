"""The command that writes a sheet to fill in."""

import csv
import io
from importlib import resources
from pathlib import Path
from typing import Annotated

import typer

from calib.errors import BadInputError, CalibError, Finding
from calib.faces.cli.frame import Desk, Reply, group, reads, say

app = group()


@reads(app, "template")
def template(
    desk: Desk,
    file: Annotated[
        Path,
        typer.Argument(metavar="FILE", help="Named by what it holds: readings.xlsx, outlets.ods, instruments.csv."),
    ],
    job: Annotated[
        str | None, typer.Option("--job", metavar="JOB", help="Fill in its outlets, or what is on record of it.")
    ] = None,
) -> Reply:
    """Write a sheet to fill in: headings, lists to choose from, an example, and the outlets of a job; `calib import` reads it.

    Words, units, and the tags, methods and outlets on record are lists to choose from (.xlsx, .ods). The row that begins with
    "Example:" is never imported, and rows where nothing but the job and the outlet stands are left out until they are filled in.

    Example: calib template readings.xlsx --job FQ-204
    """
    from calib.faces.files import write_new
    from calib.faces.handouts.spreadsheet import SPREADSHEETS
    from calib.procedures.enter.blank_sheet import blank_sheet
    from calib.procedures.typed.columns import NAMES_OF_FILES, declared_as
    from calib.procedures.typed.spelling import did_you_mean

    declared, written = declared_as(file.stem), SPREADSHEETS.get(file.suffix.lower())
    wrong = []
    if declared is None:
        expected = f"a name that says what it holds: one of {', '.join(NAMES_OF_FILES)}"
        expected += did_you_mean(file.stem, NAMES_OF_FILES)
        wrong.append(Finding.typed("file", str(file), expected))
    if written is None:
        wrong.append(Finding.typed("file", str(file), f"a file that ends in one of {', '.join(SPREADSHEETS)}"))
    if declared is None or written is None:
        raise BadInputError(wrong)
    session = None
    try:
        session = desk.reading()
    except CalibError:
        if job is not None:
            raise
        say("no records here: without tags, methods and jobs to choose from")
    sheet = blank_sheet(declared, _example(declared.file), session, job)
    write_new(file, written([sheet]))
    filled = len(sheet.rows) - 1
    document = {
        "file": str(file),
        "of": declared.file,
        "columns": [column.heading for column in sheet.columns],
        "rows_filled_in": filled,
    }
    return Reply(
        document, f"wrote {file}: {len(sheet.columns)} columns, an example, {filled} rows filled in beforehand"
    )


def _example(file: str) -> dict[str, str]:
    """The first row of such a file of the invented job; nothing where that has none."""
    for folder in ("register", "job"):
        there = resources.files("calib").joinpath("faces", "demo", folder, file)
        if there.is_file():
            return next(csv.DictReader(io.StringIO(there.read_text(encoding="utf-8"))))
    return {}
