"""A withdrawn calibration, as `calib calibration withdraw` answers: a document for machines, text for people."""

from collections.abc import Iterator
from shlex import quote

from calib.faces.plain_text import withdrawn_text
from calib.faces.written import Content
from calib.procedures.calibrate.withdraw_calibration import Withdrawn


def withdrawal(found: Withdrawn) -> Content:
    """What was withdrawn, what rested on it, and what counts for the instrument now."""
    kept, hanging, decision = found.kept, found.hanging, found.decision
    return {
        "tag": kept.instrument.tag,
        "certificate": kept.calibration.certificate,
        "withdrawn": kept.withdrawn,
        "readings": hanging.readings,
        "factors": list(hanging.factors),
        "calibrations": list(hanging.calibrations),
        "reported_jobs": list(hanging.reported_jobs),
        "counts_now": None if decision.calibration is None else decision.calibration.certificate,
        "due_on": None if decision.due_on is None else str(decision.due_on),
        "reasons": list(decision.reasons),
        "remarks": list(found.remarks),
    }


def withdrawal_text(one: Content) -> str:
    """The same for people."""
    return "\n".join(_lines(one))


def _lines(one: Content) -> Iterator[str]:
    yield f"{one['tag']}: certificate {one['certificate']} {withdrawn_text(one['withdrawn'])}"
    yield from _rested(one)
    if one["counts_now"] is None:
        yield f"no calibration of {one['tag']} counts now"
    else:
        yield f"what counts for {one['tag']} now: certificate {one['counts_now']}, due on {one['due_on']}"
    yield from one["reasons"] or [f"{one['tag']}: may be used"]


def _rested(one: Content) -> Iterator[str]:
    if not one["readings"] and not one["calibrations"] and not one["factors"]:
        yield "nothing rested on it"
        return
    count = one["readings"]
    yield (
        f"{'1 reading' if count == 1 else f'{count} readings'} rested on it, and what counts now is asked for each: "
        f"calib trace down {quote(one['tag'])}"
    )
    if one["calibrations"]:
        named = ", ".join(one["calibrations"])
        yield f"calibrations whose reference values rest on it: {named}; withdraw them too, and record them again"
    for factor in one["factors"]:
        yield f"factor {factor} rests on it and keeps its value: find it again"
    for job in one["reported_jobs"]:
        yield f"a report of {job} was issued with it: calib report {quote(job)}, and issue it again if its flows changed"
