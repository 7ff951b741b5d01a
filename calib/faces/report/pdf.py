"""A report as PDF: PDF/A-3a (ISO 19005-3) and PDF/UA-1 (ISO 14289-1), with the job's machine-readable forms attached.

The typesetter is given the blocks as JSON beside a fixed template (`report.typ`). Typed text reaches it as strings, which it sets
and never evaluates. The same layout and attachments give the same bytes.

Decision (2026-11). PDF by Typst: PDF/A-3a and PDF/UA-1 in one file, no system library; typed text is never code. Cost: 1,000
readings make 5 MB.
"""

import json
from collections.abc import Mapping
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass
from datetime import UTC, datetime
from importlib.resources import files
from typing import Literal

from calib.faces.plain_text import shortened
from calib.faces.report.blocks import Layout
from calib.faces.report.typeset_blocks import GAP, Typesetting, typeset_text
from calib.faces.report.typeset_signs import showable, typefaces, unseen
from calib.faces.report.typesetter import typeset_files
from calib.faces.written import QUANTITY

Paper = Literal["a4", "us-letter"]

_MARGIN = 42.5  # [pt] left and right, 15 mm
_PAPERS: Mapping[Paper, tuple[float, float]] = {"a4": (595.28, 841.89), "us-letter": (612.0, 792.0)}  # [pt]
_LONGEST_HEAD = 215  # signs at the head of each page: three lines
# The wheel parses each file that it is given as a text of its own language, in more than ten times the room of the text.
# Behind this sign it is one comment. The template takes the sign off.
_UNPARSED = b"/*"


@dataclass(frozen=True)
class EmbeddedFile:
    """A file that goes within the PDF."""

    content: bytes
    media_type: str
    description: str


def begin_pdf(
    layout: Layout, attachments: Mapping[str, EmbeddedFile], *, paper: Paper = "a4", author: str = "calib"
) -> Future[bytes]:
    """The report as PDF on this paper, with attachments by file name: all but the typesetter's own work is done.

    That needs no Python and goes on beside it.
    """
    width, height = _PAPERS[paper]
    typesetting = Typesetting(layout, width - 2 * _MARGIN, height - 2 * _MARGIN)
    issued = datetime.fromisoformat(layout.issued)
    told = {
        "paper": paper,
        "margin": _MARGIN,
        "gap": GAP,
        "quantity": QUANTITY,
        "title": unseen(layout.title or layout.job).replace("\n", " ") or "Report",
        "head": typeset_text(_head(layout)),
        "author": unseen(author),
        "revision": layout.revision,
        "draft": layout.is_draft,
        "digest": showable(layout.ledger_digest),
        "language": layout.language,
        "close": layout.is_close,
        "blocks": typesetting.blocks(),
        "attachments": [
            {
                "name": name,
                "file": f"attachment-{place}",
                "type": attachment.media_type,
                "description": unseen(attachment.description),
                "text": _is_text(attachment.content),
            }
            for place, (name, attachment) in enumerate(attachments.items())
        ],
    }
    read_by_template = {
        "report.json": json.dumps(told, ensure_ascii=False).encode(),
        **typesetting.pictures,
        **{f"attachment-{place}": _given(attachment.content) for place, attachment in enumerate(attachments.values())},
    }
    given = {
        **templates("report.typ"),
        **{name: _UNPARSED + content for name, content in read_by_template.items()},
    }
    return _WAITING.submit(
        typeset_files, given, str(typefaces()), issued if issued.tzinfo else issued.replace(tzinfo=UTC)
    )


def templates(name: str) -> dict[str, bytes]:
    """What the typesetter reads first, by the name of its file here, with what every template takes in."""
    folder = files("calib.faces.report")
    return {"main.typ": folder.joinpath(name).read_bytes(), "texts.typ": folder.joinpath("texts.typ").read_bytes()}


_WAITING = ThreadPoolExecutor(1, "typesetter")


def _is_text(content: bytes) -> bool:
    try:
        content.decode()
    except UnicodeDecodeError:
        return False
    return True


def _given(content: bytes) -> bytes:
    """A file as the wheel takes it, which is as UTF-8: any other is told as a list of its bytes."""
    return content if _is_text(content) else json.dumps(list(content)).encode()


def _head(layout: Layout) -> str:
    """What stands at the head of each page: what it is about, and the title whole or not at all."""
    about = f"Job {layout.job}" if layout.running is None else layout.running
    both = about if layout.title == layout.job else f"{about} · {layout.title}"
    fitting = (" ".join(text.split()) for text in (both, about) if len(showable(text)) <= _LONGEST_HEAD)
    return next(fitting, shortened(showable(" ".join(about.split())), _LONGEST_HEAD))
