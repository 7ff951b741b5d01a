"""The command that makes labels for instruments."""

from pathlib import Path
from typing import Annotated

import typer

from calib.clock import end_of
from calib.errors import BadInputError, Finding
from calib.faces.cli.frame import Desk, Reply, group, reads
from calib.faces.cli.options import OnDate, day_of

app = group()


@reads(app, "label")
def label(
    desk: Desk,
    into: Annotated[
        Path,
        typer.Option(
            "--into",
            metavar="FILE",
            help="The sheet of labels to print: a PDF where it ends in .pdf, else a page (HTML).",
        ),
    ],
    tags: Annotated[list[str] | None, typer.Argument(metavar="TAG", help="Instruments.")] = None,
    every: Annotated[bool, typer.Option("--all", help="Every instrument that may be used.")] = False,
    on: OnDate = None,
) -> Reply:
    """Make a sheet of labels: tag, calibrated, due, certificate, QR code; exit status 3 if one that was named may not be used.

    A label says that an instrument may be used, so one that the gate refuses gets none.

    Example: calib label VA-11 VA-14 --into labels.html
    """
    from calib.faces.answers import labels as answer
    from calib.faces.handouts.label_sheet import LABELS_BEGIN, as_sheet
    from calib.faces.write_over import write_over
    from calib.procedures.fleet.labels import labels_of
    from calib.procedures.on_record.company import company_on_record

    if bool(tags) == every:
        raise BadInputError([Finding.typed("tags", None, "tags of instruments, or --all")])
    day, session = day_of(on), desk.reading()
    asked, company = labels_of(session, None if every else tags, end_of(day)), company_on_record(session)
    base_address = None if company is None else company.base_address
    if asked.labels and into.suffix.lower() == ".pdf":
        from calib.faces.report.label_pdf import LABELS_PDF, as_label_pdf

        begins, mark = LABELS_PDF
        write_over(into, as_label_pdf(asked.labels, day, base_address), begins, "sheet of labels", mark)
    elif asked.labels:
        write_over(into, as_sheet(asked.labels, day, base_address), LABELS_BEGIN, "page of labels")
    refused = [f"no label: {reason}" for _, reasons in asked.refused for reason in reasons]
    return Reply(
        answer.document(into, asked, base_address), answer.text, refused, status=3 if asked.refused and not every else 0
    )
