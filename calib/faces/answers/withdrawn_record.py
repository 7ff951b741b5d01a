"""What was withdrawn by its own words, as `conditions withdraw`, `system withdraw`, `instrument detach` and their like answer."""

from calib.faces.parts.hung_on import hung_on_document, hung_on_lines
from calib.faces.written import Content
from calib.procedures.impact.withdraw_record import WithdrawnRecord


def document(withdrawn: WithdrawnRecord) -> Content:
    """What it was, and what hung on it."""
    return {"withdrawn": withdrawn.what, **hung_on_document(withdrawn.hung_on)}


def text(answer: Content) -> str:
    """The same for people."""
    told = f"withdrawn: {answer['withdrawn']}: it is kept, and counts for nothing"
    return "\n".join([told, *hung_on_lines(answer)])
