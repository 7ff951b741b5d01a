"""The command that makes labels for instruments."""

from dataclasses import asdict
from pathlib import Path
from typing import Annotated

import typer

from calib.errors import BadInputError, Finding
from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    OnDate,
    Records,
    day_of,
    end_of,
    print_json,
    say,
    stop,
    tell,
)


def register(app: typer.Typer) -> None:
    """Add this command to the program."""
    app.command("label")(label)


def label(
    into: Annotated[Path, typer.Option("--into", metavar="FILE", help="The page of labels, an HTML file to print.")],
    tags: Annotated[list[str] | None, typer.Argument(metavar="[TAG]...", help="Instruments.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Every instrument that may be used.")] = False,
    on: OnDate = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """Make a sheet of labels: tag, calibrated, due, certificate, QR code; exit status 3 if one that was named may not be used.

    A label says that an instrument may be used, so one that the gate refuses gets none.

    Example: calib label VA-11 VA-14 --into labels.html
    """
    from calib.faces.answers.labels import BEGINS, Label, as_sheet
    from calib.faces.write_over import write_over
    from calib.procedures.fleet.labels import labels_of
    from calib.records import database

    if bool(tags) == every:
        raise BadInputError([Finding("command line", None, "TAG", None, "tags of instruments, or --all")])
    day = day_of(on)
    with database.reading(records) as session:
        found = labels_of(session, None if every else tags, end_of(day))
    labels = [Label(**asdict(one)) for one in found.labels]
    if labels:
        write_over(into, as_sheet(labels, day), BEGINS, "page of labels")
    if as_json:
        print_json(
            {
                "file": str(into) if labels else None,
                "labels": [
                    {name: str(cell) for name, cell in asdict(one).items()} | {"code": one.content} for one in labels
                ],
                "refused": [{"tag": tag, "reasons": list(reasons)} for tag, reasons in found.refused],
            }
        )
    else:
        tell(f"wrote {into} with {len(labels)} label(s)" if labels else "no label: nothing asked for may be used")
    for _, reasons in found.refused:
        for reason in reasons:
            say(f"no label: {reason}")
    if found.refused and not every:
        stop(3)
