"""The command that answers an assessor's questions."""

from pathlib import Path
from typing import Annotated

import typer

from calib.clock import clock
from calib.errors import BadInputError, Finding
from calib.faces.cli.frame import Desk, Reply, group, reads
from calib.faces.cli.options import OnDate, day_of

app = group()


@reads(app, "audit")
def audit(
    desk: Desk,
    named: Annotated[
        list[str], typer.Argument(metavar="NAME...", help="An instrument, a job, or an issued report as `LM-27 2`.")
    ],
    on: OnDate = None,
    into: Annotated[
        Path | None, typer.Option("--into", metavar="FILE", help="Write the page too, as .html or .pdf.")
    ] = None,
) -> Reply:
    """Answer an assessor's questions on an instrument, a job or an issued report; exit status 1 if an answer is a finding.

    In calibration that day, accepted by whom, traceable to what, what was changed, what was found out of order, who was authorised,
    when the software was validated, which decision rule was agreed, whether the records are whole, how long they are kept,
    whether a report was issued complete.

    Example: calib audit LM-27 --into lm-27-audit.pdf
    """
    from calib.faces.answers import audit as answer
    from calib.procedures.audit.assess_records import assess_records

    form = None if into is None else into.suffix.lower()
    if form not in (None, ".html", ".pdf"):
        raise BadInputError([Finding.typed("into", str(into), "a file that ends in .html or .pdf")])
    assessed = assess_records(desk.reading(), named, day_of(on), clock())
    document = answer.document(assessed)
    if into is not None and form is not None:
        from calib.faces.report.audit_page import BEGINS, audit_page
        from calib.faces.write_over import write_over

        page = audit_page(document, clock().isoformat(timespec="seconds"), form)
        begins, mark = BEGINS[form]
        write_over(into, page, begins, "assessor's page", mark)
    return Reply(document, answer.text, status=int(assessed.findings > 0))
