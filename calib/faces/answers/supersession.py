"""A reissued certificate in the place of the old one, as `calib calibration supersede` answers."""

from shlex import quote

from calib.faces.written import Content
from calib.procedures.calibrate.supersede_calibration import Superseded


def document(superseded: Superseded) -> Content:
    """Which took whose place, where their values differ, and what counts now."""
    acceptance, counting = superseded.new.acceptance, superseded.decision.calibration
    return {
        "tag": superseded.new.instrument.tag,
        "old": superseded.old.calibration.certificate,
        "certificate": superseded.new.calibration.certificate,
        "same_values": not superseded.differs,
        "differs": list(superseded.differs),
        "accepted_on": None if acceptance is None else acceptance.accepted_on,
        "accepted_by": None if acceptance is None else acceptance.accepted_by,
        "counts_now": None if counting is None else counting.certificate,
        "reasons": list(superseded.decision.reasons),
    }


def text(answer: Content) -> str:
    """The same for people."""
    tag, old, new = answer["tag"], answer["old"], answer["certificate"]
    if answer["same_values"] and answer["accepted_on"] is not None:
        carried = f"its acceptance carries over: from {answer['accepted_on']}, by {answer['accepted_by']}"
        told = [f"{tag}: {new} takes the place of {old}; every value is the same, and {carried}"]
    else:
        accept = f"calib calibration accept {quote(tag)} {quote(new)}"
        until = f"; {old} counts until then" if answer["counts_now"] == old else ""
        told = [f"{tag}: {new} takes the place of {old} once it is accepted{until}: {accept}"]
        told += [f"  {each}" for each in answer["differs"]]
    return "\n".join([*told, *answer["reasons"]])
