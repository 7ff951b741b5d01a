"""A calibration that was accepted, as `calib calibration accept` answers."""

from calib.faces.answers.calibration import assessment_lines
from calib.faces.parts.two_days import accepted_later
from calib.faces.written import Content
from calib.procedures.calibrate.accept_calibration import Accepted, NotAccepted


def document(tag: str, certificate: str, accepted: Accepted) -> Content:
    """When, by whom and by which criterion it was accepted, and the assessment that this rests on."""
    acceptance, assessment = accepted.acceptance, accepted.assessment
    return {
        "tag": tag,
        "certificate": certificate,
        "accepted_on": acceptance.accepted_on,
        "accepted_by": acceptance.accepted_by,
        "acceptance_recorded_at": accepted.recorded_at,
        "acceptance_reason": acceptance.reason,
        "criterion": acceptance.criterion,
        "departure_reason": acceptance.departure_reason,
        "assessment": None if assessment is None else assessment.content(),
    }


def attempted(tag: str, certificate: str, attempt: NotAccepted) -> Content:
    """What it was judged by, and why it is not accepted."""
    content = {"tag": tag, "certificate": certificate, "accepted_on": None}
    return content | {"assessment": attempt.assessment.content(), "reasons": list(attempt.reasons)}


def text(answer: Content) -> str:
    """The same for people."""
    later = accepted_later(answer)
    told = "{tag}: certificate {certificate} accepted on {accepted_on} by {accepted_by}".format(**answer)
    told += f"{'' if later is None else f' ({later})'}: {answer['criterion']}"
    told += f"; it departs from the register: {answer['departure_reason']}" if answer["departure_reason"] else ""
    return "\n".join([told, *(assessment_lines(answer["assessment"]) if answer["assessment"] else [])])
