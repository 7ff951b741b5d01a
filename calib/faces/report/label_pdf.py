"""Labels for instruments as PDF: the sheet of `handouts/label_sheet` for whoever prints from anywhere, PDF/A-3a and PDF/UA-1."""

import json
from collections.abc import Sequence
from datetime import UTC, date, datetime, time
from io import BytesIO

import segno

from calib.faces.answers.labels import code_of
from calib.faces.handouts.label_sheet import code_picture, texts_of
from calib.faces.report.pdf import templates
from calib.faces.report.typeset_blocks import typeset_text
from calib.faces.report.typeset_signs import typefaces, unseen
from calib.faces.report.typesetter import typeset_files
from calib.procedures.fleet.labels import Label

LABELS_PDF = (b"%PDF-", b"/Title(Labels, ")  # how such a file begins, and what stands in it
_LONGEST_WORD = 12  # signs that stand beside a code
_LONG = 400  # signs of a text that may not stand on one page


def as_label_pdf(labels: Sequence[Label], on: date, base_address: str | None = None) -> bytes:
    """The sheet of labels as of a day; the same labels give the same bytes. Raises CalibError as `as_sheet` does."""
    codes = {f"code-{place}.svg": code_picture(label, base_address) for place, label in enumerate(labels)}
    told = {
        "title": f"Labels, {on}",
        "paper": "a4",
        "labels": [
            _told(label, code, unseen(f"QR code: {code_of(label, base_address)}"))
            for label, code in zip(labels, codes, strict=True)
        ],
    }
    files = {
        **templates("labels.typ"),
        "labels.json": json.dumps(told, ensure_ascii=False).encode(),
        **{name: _drawn(code) for name, code in codes.items()},
    }
    return typeset_files(files, str(typefaces()), datetime.combine(on, time(), UTC))


def _told(label: Label, code: str, says: str) -> dict[str, object]:
    texts = texts_of(label)
    typed = {name: typeset_text(str(texts[name]), _LONGEST_WORD) for name in ("tag", "certificate")}
    is_long = any(len(str(text)) > _LONG for text in texts.values())
    return {**texts, **typed, "code": code, "says": says, "is_long": is_long}


def _drawn(code: segno.QRCode) -> bytes:
    out = BytesIO()
    code.save(out, kind="svg", border=4, xmldecl=False)
    return out.getvalue()
