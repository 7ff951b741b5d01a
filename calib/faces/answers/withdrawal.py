"""A withdrawn calibration, as `calib calibration withdraw` answers."""

from collections.abc import Iterator
from shlex import quote

from calib.counted import count_of
from calib.faces.plain_text import withdrawn_text
from calib.faces.written import Content
from calib.procedures.calibrate.withdraw_calibration import Withdrawn


def document(withdrawn: Withdrawn) -> Content:
    """What was withdrawn, what rested on it, and what counts for the instrument now."""
    calibration, hanging, decision = withdrawn.calibration, withdrawn.hanging, withdrawn.decision
    return {
        "tag": calibration.instrument.tag,
        "certificate": calibration.calibration.certificate,
        "withdrawn": calibration.withdrawn,
        "readings": hanging.readings,
        "factors": list(hanging.factors),
        "calibrations": list(hanging.calibrations),
        "reported_jobs": list(hanging.reported_jobs),
        "decided": list(withdrawn.decided),
        "counts_now": None if decision.calibration is None else decision.calibration.certificate,
        "due_on": None if decision.due_on is None else str(decision.due_on),
        "reasons": list(decision.reasons),
        "remarks": list(withdrawn.remarks),
    }


def text(answer: Content) -> str:
    """The same for people."""
    return "\n".join(_lines(answer))


def _lines(answer: Content) -> Iterator[str]:
    tag = answer["tag"]
    yield f"{tag}: certificate {answer['certificate']} {withdrawn_text(answer['withdrawn'])}"
    yield from _rested(answer)
    if answer["counts_now"] is None:
        yield f"no calibration of {tag} counts now"
    else:
        yield f"what counts for {tag} now: certificate {answer['counts_now']}, due on {answer['due_on']}"
    yield from answer["reasons"] or [f"{tag}: may be used"]


def _rested(answer: Content) -> Iterator[str]:
    yield from answer["decided"]
    if not answer["readings"] and not answer["calibrations"] and not answer["factors"]:
        if not answer["decided"]:
            yield "nothing rested on it"
        return
    yield (
        f"{count_of(answer['readings'], 'reading', 'readings')} rested on it, and what counts now is asked for each: "
        f"calib trace down {quote(answer['tag'])}"
    )
    if answer["calibrations"]:
        named = ", ".join(answer["calibrations"])
        yield f"calibrations whose reference values rest on it: {named}; withdraw them too, and record them again"
    for factor in answer["factors"]:
        yield f"factor {factor} rests on it and gives no flow until it is found again"
    for job in answer["reported_jobs"]:
        yield f"a report of {job} was issued with it: calib report {quote(job)}, and issue it again if its flows changed"
