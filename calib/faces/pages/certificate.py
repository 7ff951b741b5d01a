"""A certificate on record: comparisons, curve and assessment; accepted by another person than typed it; files kept with it."""

from calib.confirmation.words import DECISION_RULES, JUDGED
from calib.faces.answers import acceptance as acceptance_answer
from calib.faces.answers import calibration as answer
from calib.faces.files import LARGEST_FILE
from calib.faces.pages.frame.door import AROUND_A_FILE
from calib.faces.pages.frame.form import choices, day_typed
from calib.faces.pages.frame.routes import Filled, Goto, Pages, address
from calib.faces.pages.frame.visit import Visit
from calib.faces.parts.signature import signature_told
from calib.faces.written import Content
from calib.procedures.calibrate.accept_calibration import AcceptanceWanted, NotAccepted, accept_calibration
from calib.procedures.fleet.attach_file import attach_to_calibration, attachable
from calib.procedures.on_record.calibrations import CalibrationOnFile, calibration_on_file

pages = Pages()
CERTIFICATE = "/instruments/{tag:name}/certificates/{certificate:name}"


@pages.shows(CERTIFICATE)
def certificate_page(visit: Visit, tag: str, certificate: str) -> Filled:
    """What the records hold of it, and what may be done about it."""
    content = {
        "shown": certificate_shown(calibration_on_file(visit.reading(), tag, certificate)),
        "rules_shown": choices(DECISION_RULES, may_be_blank=True),
        "judged_shown": choices(JUDGED, may_be_blank=True),
        "today": str(visit.at.date()),
    }
    return Filled("certificate.html", content, title=f"{certificate}, {tag}")


@pages.takes(f"{CERTIFICATE}/acceptance", again=certificate_page, act="accept")
def accept(visit: Visit, tag: str, certificate: str) -> Goto:
    """Accept it; where a comparison fails the attempt is kept, and said."""
    form = visit.form
    wanted = AcceptanceWanted(**form.cells("rule", "judged", "criterion", "reason", "departure_reason"))
    with visit.writing_last() as session:
        signature = visit.signature("page acceptance")
        accepted = accept_calibration(
            session, tag, certificate, day_typed("on", form["on"], visit.at.date()), wanted, signature
        )
    here = address("/instruments/{}/certificates/{}", tag, certificate)
    if isinstance(accepted, NotAccepted):
        return Goto(here, accepted.reasons)
    told, *_ = acceptance_answer.text(acceptance_answer.document(tag, certificate, accepted)).splitlines()
    return Goto(here, [told, *accepted.remarks])


@pages.takes(f"{CERTIFICATE}/files", again=certificate_page, act="record", largest=LARGEST_FILE + AROUND_A_FILE)
def keep(visit: Visit, tag: str, certificate: str) -> Goto:
    """Keep a file with it: the certificate as it came, say."""
    file = visit.form.file_read("file", "a file that was chosen: PDF, PNG, JPEG or XML", attachable)
    with visit.writing_last() as session:
        attach_to_calibration(
            session, tag, certificate, file, visit.form["remarks"].strip() or None, visit.signature("page file")
        )
    return Goto(address("/instruments/{}/certificates/{}", tag, certificate), f"{file.name} is kept with it")


def certificate_shown(on_file: CalibrationOnFile) -> Content:
    """A calibration on file, or one that would be, in numbers and in words, with its picture."""
    # Within: they bring the library of the pictures with them.
    from calib.faces.drawings.calibration import curve_drawing  # noqa: PLC0415
    from calib.faces.drawings.curve import curve_words  # noqa: PLC0415
    from calib.faces.drawings.curve_line import curve_line  # noqa: PLC0415

    document, drawing = answer.document(on_file), curve_drawing(on_file)
    compared = [*document["other_comparisons"], *document["comparisons"]]
    return document | {
        "compared_header": answer.COMPARED_HEADINGS,
        "compared": [answer.compared_row(each) for each in compared],
        "judged_header": answer.JUDGED_HEADINGS,
        "judged": [
            each | {"rows": [answer.judged_row(row) for row in each["comparisons"]]} for each in document["assessments"]
        ],
        "said": answer.certificate_lines(document),
        "curve_said": answer.curve_lines(document),
        "missing": answer.missing_lines(document["completeness"]),
        "signatures_said": [signature_told(each) for each in document["signatures"]],
        "drawing": curve_line(drawing, "curve-words"),
        "words": curve_words(drawing),
    }
