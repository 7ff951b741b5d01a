"""What befell an instrument, as the commands answer that record it."""

from calib.faces.parts.two_days import from_when
from calib.faces.written import Content


def document(what: Content, kind: str, at: str, recorded_at: str, reason: str) -> Content:
    """What happened to whom, from when on it holds, and when it was recorded; `what` names the instruments and what is new."""
    return {**what, "kind": kind, "at": at, "recorded_at": recorded_at, "reason": reason}


def text(answer: Content) -> str:
    """The same for people."""
    named = answer["tag"] if "tag" in answer else f"{answer['probe']} and {answer['meter']}"
    told = f"{named}: {answer['kind']} {from_when(answer['at'], answer['recorded_at'])}"
    if "location" in answer:
        told += f": now at {answer['location']}"
        told += f", with {answer['custodian']}" if answer["custodian"] is not None else ""
    return told
