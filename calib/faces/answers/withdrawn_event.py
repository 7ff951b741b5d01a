"""An event or a check that was withdrawn, as `calib event withdraw`, `check withdraw` and `interval withdraw` answer."""

from calib.faces.parts.hung_on import hung_on_document, hung_on_lines
from calib.faces.written import Content
from calib.procedures.fleet.withdraw_event import WithdrawnEvent


def document(withdrawn: WithdrawnEvent) -> Content:
    """What was withdrawn, what hung on it, and what the gate says now."""
    decision = withdrawn.decision
    return {
        "tag": withdrawn.tag,
        "number": withdrawn.record_id,
        "what": withdrawn.what,
        "at": withdrawn.at.isoformat(),
        "due_on": None if decision.due_on is None else str(decision.due_on),
        "reasons": list(decision.reasons),
        "remarks": list(withdrawn.remarks),
        **hung_on_document(withdrawn.hung_on),
    }


def text(answer: Content) -> str:
    """The same for people."""
    tag = answer["tag"]
    told = (
        f"{tag}: {answer['what']} {answer['number']} of {answer['at']} is withdrawn: it is kept, and counts for nothing"
    )
    due = "" if answer["due_on"] is None else f", due on {answer['due_on']}"
    return "\n".join(
        [told, *(answer["reasons"] or [f"{tag}: may be used{due}"]), *hung_on_lines(answer), *answer["remarks"]]
    )
