"""Another calibration interval, as `calib interval set` answers."""

from calib.faces.written import Content
from calib.procedures.fleet.change_interval import ChangedInterval


def document(tag: str, changed: ChangedInterval) -> Content:
    """The interval before and now, and until when the calibration in force holds."""
    due = changed.decision.due_on
    return {
        "tag": tag,
        "before": changed.before,
        "interval_months": changed.months,
        "at_once": changed.at_once,
        "due_on": None if due is None else str(due),
        "reasons": list(changed.decision.reasons),
    }


def text(answer: Content) -> str:
    """The same for people."""
    since = "at once" if answer["at_once"] else "from the next calibration accepted on"
    return (
        f"{answer['tag']}: interval {answer['interval_months']} months instead of {answer['before']}, {since}; due on "
        f"{answer['due_on'] or '-'}"
    )
