"""Labels for instruments (ISO/IEC 17025:2017, 6.4.8): a page that prints on A4 and on Letter, with nothing loaded from elsewhere.

Each label says tag, due, calibrated and certificate, whole in any font and in letters of 8.5 pt at least: a text that is too wide
wraps, a date does not, and the label grows. Due is the earlier of calibration and intermediate check. Its QR code (ISO/IEC 18004)
holds the address of the instrument's page, which says whether it may be used today; where the company has no pages it holds tag,
certificate and due date as plain text.

Decision (2026-11). A text wraps beside its code and under it. Options: letters as small as the longest name asks, which nobody
reads on an instrument; a name that ends in an ellipsis, which may be the end of a date. Cost (11-29): labels with long names are
higher than 30 mm.
"""

from collections.abc import Sequence
from datetime import date

import segno
from markupsafe import Markup

from calib.errors import CalibError
from calib.faces.answers.labels import code_of
from calib.faces.plain_text import one_line
from calib.faces.template import template
from calib.procedures.fleet.labels import Label

LABELS_BEGIN = b'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>Labels'


def as_sheet(labels: Sequence[Label], on: date, base_address: str | None = None) -> bytes:
    """The page; raises CalibError where a text is too long for a QR code.

    `base_address` is that of the company's pages, absent where it has none.
    """
    shown = [texts_of(label) | {"code": _inline(code_picture(label, base_address))} for label in labels]
    text = template("labels.html").render(labels=shown, on=str(on))
    return text.encode("utf-8", "backslashreplace")


def texts_of(label: Label) -> dict[str, str | None]:
    """What stands on a label; the day on which its calibration is due where that is another than the first."""
    return {
        "tag": one_line(label.tag),
        "certificate": one_line(label.certificate),
        "calibrated_on": str(label.calibrated_on),
        "due_on": str(label.due_on),
        "calibration_due_on": None if label.due_on == label.calibration_due_on else str(label.calibration_due_on),
    }


def code_picture(label: Label, base_address: str | None) -> segno.QRCode:
    """Its QR code; raises CalibError where the text of it is too long for one."""
    try:
        return segno.make_qr(code_of(label, base_address), error="m")
    except (segno.DataOverflowError, UnicodeError) as error:
        raise CalibError(f"{one_line(label.tag)[:60]}: its tag and certificate make no QR code ({error})") from error


def _inline(code: segno.QRCode) -> Markup:
    # Dark and light modules alone, no text: nothing in it was typed by anybody.
    return Markup(code.svg_inline(border=4, omitsize=True, lineclass=None, svgclass=None))  # noqa: S704
