"""Labels for instruments (ISO/IEC 17025:2017, 6.4.8): a page that prints on A4 and on Letter, with nothing loaded from elsewhere.

Each label says tag, calibrated, due and certificate; its QR code (ISO/IEC 18004) holds tag, certificate and due date as plain text.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

import segno
from markupsafe import Markup

from calib.errors import CalibError
from calib.faces.plain_text import one_line
from calib.faces.template import template

BEGINS = b'<!doctype html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n<title>Labels'


@dataclass(frozen=True)
class Label:
    """What stands on a label."""

    tag: str
    certificate: str
    calibrated_on: date
    due_on: date

    @property
    def content(self) -> str:
        """Text of the QR code."""
        return "\n".join((one_line(self.tag), f"certificate {one_line(self.certificate)}", f"due {self.due_on}"))


def as_sheet(labels: Sequence[Label], on: date) -> bytes:
    """The page; raises CalibError where a text is too long for a QR code."""
    shown = [
        {
            "tag": one_line(one.tag),
            "certificate": one_line(one.certificate),
            "calibrated_on": str(one.calibrated_on),
            "due_on": str(one.due_on),
            "code": _code(one),
        }
        for one in labels
    ]
    text = template("labels.html").render(labels=shown, on=str(on))
    return text.encode("utf-8", "backslashreplace")


def _code(label: Label) -> Markup:
    try:
        code = segno.make_qr(label.content, error="m")
    except (segno.DataOverflowError, UnicodeError) as error:
        raise CalibError(f"{one_line(label.tag)[:60]}: its tag and certificate make no QR code ({error})") from error
    # Dark and light modules alone, no text: nothing in it was typed by anybody.
    return Markup(code.svg_inline(border=4, omitsize=True, lineclass=None, svgclass=None))  # noqa: S704
