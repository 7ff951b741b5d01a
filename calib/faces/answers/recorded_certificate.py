"""A certificate that was recorded, and what it does not state, as `calib calibration add` and `in-house` answer."""

from shlex import quote

from calib.counted import count_of
from calib.faces.answers.calibration import completeness_of, missing_lines
from calib.faces.parts.signature import signature_told
from calib.faces.written import Content
from calib.procedures.on_record.calibrations import CalibrationOnFile


def document(calibration: CalibrationOnFile) -> Content:
    """What was recorded of a certificate."""
    acceptance = calibration.acceptance
    return {
        "tag": calibration.instrument.tag,
        "certificate": calibration.calibration.certificate,
        "comparisons": len(calibration.comparisons),
        "accepted_on": None if acceptance is None else acceptance.accepted_on,
        "files": list(calibration.files),
        "signatures": [dict(each) for each in calibration.signatures],
        "completeness": completeness_of(calibration),
    }


def text(answer: Content) -> str:
    """The same for people."""
    tag, certificate = answer["tag"], answer["certificate"]
    waits = f"; it counts once it is accepted: calib calibration accept {quote(tag)} {quote(certificate)}"
    return _told("recorded", answer, "" if answer["accepted_on"] else waits)


def recorded(answer: Content) -> str:
    """What was recorded, where the next step has a place of its own."""
    return _told("recorded", answer, "" if answer["accepted_on"] else "; it counts once another person accepts it")


def would_record(answer: Content) -> str:
    """What a dry run found out, for people."""
    return _told("would record", answer, "" if answer["accepted_on"] else "; it would wait to be accepted")


def _told(done: str, answer: Content, then: str) -> str:
    named = f"certificate {answer['certificate']} of {answer['tag']}"
    told = f"{done} {named} with {count_of(answer['comparisons'], 'comparison', 'comparisons')}{then}"
    return "\n".join([told, *map(signature_told, answer["signatures"])])


def remarks(answer: Content) -> list[str]:
    """What the certificate does not state."""
    return missing_lines(answer["completeness"])
