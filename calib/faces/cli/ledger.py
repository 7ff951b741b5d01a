"""Commands on the ledger."""

from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, say, writes
from calib.faces.cli.options import Reason

app = group("The ledger: close a broken place that was looked into, or a step of the clock.")


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


@writes(app, "step")
def step(desk: Desk, reason: Reason) -> Reply:
    """Close a step of the clock: it had been ahead when the last entry was written, and goes right again.

    Without that nothing is written before the time of the last entry has come.

    Example: calib ledger step --reason "the laptop's clock was a year ahead until today"
    """
    from calib.procedures.people.close_step import close_step

    ahead = close_step(desk.writing(), reason, desk.signature())
    document = {"sequence": ahead.sequence, "time": ahead.time, "reason": reason.strip()}
    return Reply(document, f"from here on times are compared anew; entry {ahead.sequence} was of {ahead.time}")
