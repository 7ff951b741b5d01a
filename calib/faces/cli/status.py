"""The command `status`: what waits for somebody."""

from calib.clock import end_of
from calib.faces.cli.frame import Desk, Reply, group, reads
from calib.faces.cli.options import OnDate, Within, day_of, days_of

app = group()


@reads(app, "status")
def show(desk: Desk, within: Within = None, on: OnDate = None) -> Reply:
    """Show what waits: gear, outlets not measured, certificates, reviews, the last backup; exit status 1 if anything does.

    Outlets are those of jobs whose report was not issued; a refusal is told where no reading followed. What only comes due within
    some days is listed, and changes no exit status.

    Example: calib status
    """
    from calib.faces.answers import status as answer
    from calib.faces.cli.drafts import jobs_half_typed
    from calib.procedures.fleet.status import what_waits

    asked = what_waits(desk.reading(), end_of(day_of(on)), days_of(within))
    drafts = jobs_half_typed(desk.records)
    return Reply(answer.document(asked, drafts), answer.text, status=int(asked.is_found or bool(drafts)))
