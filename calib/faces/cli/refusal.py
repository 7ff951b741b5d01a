"""Commands on readings that the gate refused."""

from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, writes
from calib.faces.cli.options import JobNamed, Reason

app = group("Readings that the gate refused: dismiss.")


@writes(app, "dismiss")
def dismiss(
    desk: Desk,
    job: JobNamed,
    refusal: Annotated[
        int, typer.Argument(metavar="NUMBER", help="Number of the refusal, as `calib reading list` shows it.")
    ],
    reason: Reason,
) -> Reply:
    """Dismiss a refused reading that was a slip, like the wrong tag: it is kept, and stands among the amendments of the report.

    The same outlet, instrument and time may be typed again.

    Example: calib refusal dismiss FQ-204 2 --reason "the tag was typed wrongly, VA-11 was used"
    """
    from calib.procedures.enter.dismiss_refusal import dismiss_refusal

    dismissed = dismiss_refusal(desk.writing(), job, refusal, reason, desk.signature())
    told = f"the refused reading {refusal} at {dismissed.outlet}, {dismissed.observed_at}, is dismissed: it is kept"
    return Reply({"job": job, "outlet": dismissed.outlet, "refusal": refusal, "reason": reason}, told)
