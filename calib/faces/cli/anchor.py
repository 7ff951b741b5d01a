"""Commands on anchors: heads of other ledgers that these records keep."""

from dataclasses import asdict
from typing import Annotated

import typer

from calib.clock import clock
from calib.faces.cli.frame import Desk, Reply, group, reads, writes
from calib.faces.cli.options import Reason

app = group("Anchors: where another company's ledger ended, kept here as proof: add, list.")


@writes(app, "add")
def add(
    desk: Desk,
    other: Annotated[str, typer.Argument(metavar="FILE|URL", help="The other records.")],
    reason: Reason,
) -> Reply:
    """Keep the head of other records here: from now on nobody can rewrite them without it being seen.

    Two records can anchor each other. `calib verify --anchors` with these records says whether the others still fit.

    Example: calib anchor add north.sqlite --reason "quarterly exchange with the northern branch"
    """
    from calib.procedures.verify.anchors import anchor, head_of
    from calib.records import database

    with database.reading(other) as session:
        head = head_of(session, database.name_of(other), clock())
    anchor(desk.writing(), head, reason, desk.signature())
    return Reply(asdict(head), f"anchored {head.records} at ledger entry {head.sequence}, digest {head.digest}")


@reads(app, "list")
def list_(desk: Desk) -> Reply:
    """List the heads of other ledgers that are kept here.

    Example: calib anchor list
    """
    from calib.faces.answers import anchors as answer
    from calib.procedures.verify.anchors import anchored

    return Reply(answer.document(anchored(desk.reading())), answer.text)
