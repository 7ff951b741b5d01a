"""What the commands that withdraw a record by its own words have in common."""

from calib.faces.cli.frame import Desk, Reply


def withdrawn(desk: Desk, kind: str, names: tuple[str, ...], reason: str) -> Reply:
    """Withdraw it, and say what hung on it."""
    from calib.faces.answers import withdrawn_record as answer
    from calib.procedures.impact.withdraw_record import withdraw_record

    record = withdraw_record(desk.writing(), kind, names, reason, desk.signature())
    return Reply(answer.document(record), answer.text)
