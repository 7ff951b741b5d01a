"""Commands on outlets and ducts."""

from typing import TYPE_CHECKING, Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, RowOptions, changes_meant, group, reads, writes
from calib.faces.cli.options import (
    AT_A_TERMINAL,
    FileDigest,
    JobNamed,
    OutletNamed,
    PhotographToKeep,
    Reason,
    Remarks,
    Sure,
)
from calib.faces.cli.withdrawing import withdrawn
from calib.procedures.typed.declared.outlets import OUTLETS_CSV
from calib.procedures.typed.sheets import Cells
from calib.records.words import DUCT

if TYPE_CHECKING:
    from sqlmodel import Session

app = group("Outlets and measuring sections of ducts: add, amend, list, show, attach and detach photographs.")


_WITH_A_VELOCITY = frozenset({"outlet_factor", "effective_area", "found_factor"})
_FOR_A_HOOD = (
    "notice: as it stands a hood alone measures it; for a velocity meter give --shape, its dimensions with --dimension-unit and "
    "--dimension-limit, and --outlet-factor or --found-factor; or --effective-area; later, `calib outlet amend` does it"
)


_ADDED = RowOptions(OUTLETS_CSV, without=["job", "outlet"], asked=AT_A_TERMINAL)


@writes(app, "add", row=_ADDED)
def add(desk: Desk, job: JobNamed, outlet: OutletNamed, cells: Cells, sure: Sure = False) -> Reply:
    """Add an outlet or a measuring section of a duct to a job; at a terminal what is missing is asked for.

    Example: calib outlet add FQ-204 S1-3 --system AHU-1 --service supply --room Store --shape rectangular --width 400
    --height 200 --dimension-unit mm --dimension-limit 1 --outlet-factor 0.84 --outlet-factor-standard-uncertainty 0.017
    --outlet-factor-source "traverses at G4" --design-flow 600 --flow-unit m3/h --tolerance-percent 15
    """
    from calib.faces.cli.questions import row_answered

    names = {"job": job, "outlet": outlet}
    row = row_answered(
        _ADDED,
        cells,
        f"outlet {outlet} of {job}",
        lambda typed: desk.row_written("outlets.csv", {**names, **typed}, sure=sure),
    )
    is_plain = row.cells.get("place") != DUCT and not _WITH_A_VELOCITY.intersection(row.cells)
    return Reply(row.cells, f"added {outlet} to {job}", [_FOR_A_HOOD] if is_plain else [])


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
    sure: Sure = False,
) -> Reply:
    """Correct an outlet by a new record that supersedes the old one; the report shows both and becomes the next revision.

    Example: calib outlet amend FQ-204 S1-3 --set width=410 --reason "measured again, the first time at the frame"
    """
    from calib.procedures.enter.amend_outlet import amend_outlet
    from calib.records.record import typed

    meant = changes_meant(OUTLETS_CSV, changes)

    def write(session: "Session", sure: bool) -> "dict[str, object]":
        return typed(amend_outlet(session, job, outlet, meant, reason, desk.signature(), sure=sure), "outlet_id")

    amended = desk.written_if_sure(write, sure=sure)
    return Reply({"job": job, "outlet": outlet} | amended, f"{outlet} is amended: revision {amended['revision']}")


@writes(app, "attach")
def attach(desk: Desk, job: JobNamed, outlet: OutletNamed, file: PhotographToKeep, remarks: Remarks = None) -> Reply:
    """Keep a photograph with an outlet: the picture, which way up it is and when it was taken; its place and all else is left out.

    Example: calib outlet attach FQ-204 S1-3 grille.jpg --remarks "the damper behind it is shut"
    """
    from calib.faces.cli.file import attached
    from calib.faces.files import LARGEST_FILE, file_content
    from calib.procedures.fleet.attach_file import attach_to_outlet
    from calib.procedures.fleet.photograph import photograph

    picture = photograph(file_content(file, LARGEST_FILE))
    return attached(attach_to_outlet(desk.writing(), job, outlet, picture, remarks, desk.signature()), outlet)


@writes(app, "detach")
def detach(desk: Desk, job: JobNamed, outlet: OutletNamed, sha256: FileDigest, reason: Reason) -> Reply:
    """Take back that a photograph belongs to an outlet; its bytes stay with the records, and no report prints it any more.

    Example: calib outlet detach FQ-204 S1-3 3a7bd3e2 --reason "the grille of the next room"
    """
    return withdrawn(desk, "file of an outlet", (job, outlet, sha256), reason)


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
