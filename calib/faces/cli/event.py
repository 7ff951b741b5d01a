"""Commands on what was recorded to have befallen an instrument."""

from calib.faces.cli.frame import Desk, Reply, group, writes
from calib.faces.cli.options import EntryNumbered, Reason, Tag

app = group("What befell instruments: withdraw what was recorded wrongly.")


@writes(app, "withdraw")
def withdraw(desk: Desk, tag: Tag, entry: EntryNumbered, reason: Reason) -> Reply:
    """Take back an event that was recorded wrongly, like a suspension of the wrong instrument; it is kept, and counts no more.

    Example: calib event withdraw VA-14 12 --reason "VA-11 was dropped, not VA-14"
    """
    from calib.faces.answers import withdrawn_event as answer
    from calib.procedures.fleet.withdraw_event import withdraw_event

    return Reply(answer.document(withdraw_event(desk.writing(), tag, entry, reason, desk.signature())), answer.text)
