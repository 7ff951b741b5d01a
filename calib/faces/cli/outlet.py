"""Commands on outlets and ducts."""

from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, reads, writes
from calib.faces.cli.options import JobNamed, OutletNamed, Reason

app = group("Outlets and measuring sections of ducts: amend, list, show.")


@writes(app, "amend")
def amend(
    desk: Desk,
    job: JobNamed,
    outlet: OutletNamed,
    changes: Annotated[
        list[str],
        typer.Option("--set", metavar="COLUMN=VALUE", help="A cell of outlets.csv; a blank value takes it out."),
    ],
    reason: Reason,
) -> Reply:
    """Correct an outlet by a new record that supersedes the old one; the report shows both and becomes the next revision.

    Example: calib outlet amend FQ-204 S1-3 --set width=410 --reason "measured again, the first time at the frame"
    """
    from calib.procedures.enter.amend_outlet import amend_outlet
    from calib.records.record import typed

    amended = typed(amend_outlet(desk.writing(), job, outlet, changes, reason, desk.signature()), "outlet_id")
    return Reply({"job": job, "outlet": outlet} | amended, f"{outlet} is amended: revision {amended['revision']}")


@reads(app, "list")
def list_(desk: Desk, job: JobNamed) -> Reply:
    """List a job's outlets and ducts as they count now.

    Example: calib outlet list FQ-204
    """
    from calib.faces.answers import outlets as answer
    from calib.procedures.on_record.outlets import outlets

    return Reply(answer.document(job, outlets(desk.reading(), job)), answer.text)


@reads(app, "show")
def show(desk: Desk, job: JobNamed, outlet: OutletNamed) -> Reply:
    """Show an outlet as it counts now, and what was amended.

    Example: calib outlet show FQ-204 S1-3
    """
    from calib.faces.answers import outlet as answer
    from calib.procedures.on_record.outlets import outlet_history

    return Reply(answer.document(outlet_history(desk.reading(), job, outlet)), answer.text)
