"""Commands on the ledger."""

from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, say, writes
from calib.faces.cli.options import Reason

app = group("The ledger: close a broken place that was looked into.")


@writes(app, "close")
def close(
    desk: Desk,
    sequence: Annotated[int, typer.Argument(metavar="SEQUENCE", help="Number of the entry that does not verify.")],
    reason: Reason,
) -> Reply:
    """Close a broken place of the ledger that its owner has looked into; every verification goes on to show it.

    Example: calib ledger close 17 --reason "row restored from the backup of 2 March by the server's operator"
    """
    from calib.procedures.people.close_ledger import close_ledger

    closed = close_ledger(desk.writing(), sequence, reason, desk.signature(), say)
    document = {"sequence": closed.sequence, "digest": closed.digest, "reason": closed.reason}
    return Reply(document, f"ledger entry {closed.sequence} is closed: {closed.reason}")
