"""A reading that was withdrawn, as `calib reading withdraw` answers."""

from calib.faces.parts.hung_on import hung_on_document, hung_on_lines
from calib.faces.written import Content
from calib.procedures.enter.withdraw_reading import WithdrawnReading


def document(withdrawn: WithdrawnReading) -> Content:
    """Which reading, and what hung on it."""
    return {"reading": withdrawn.reading, "outlet": withdrawn.outlet, **hung_on_document(withdrawn.hung_on)}


def text(answer: Content) -> str:
    """The same for people."""
    told = f"reading {answer['reading']} at {answer['outlet']} is withdrawn: it is kept, and yields no flow"
    return "\n".join([told, *hung_on_lines(answer)])
