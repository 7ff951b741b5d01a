"""The typesetter: files in memory, of which main.typ is read first, become a PDF; in a process of its own where one can be had.

It takes some 14 kB for each cell of a table and gives none of it back, so it is the memory of a process that ends with the PDF
(a report of 1,000 readings: 450 MB there, 320 in the process that makes it).

Decision (2026-11). The typesetter is a process of its own: its 14 kB for each cell, and as much again where a report has links, for
which it is laid out again once places are known, end with it. Options: rows of a stated height (100 MB less, but a text that wraps
against the reckoning would lie over the next row), links by page and place (each page set twice, and a link no longer says where it
leads); no links where there are many is done (`typeset_blocks`, 300 MB less). Cost (11-28): a start of a tenth of a second on the
other core.
"""

import json
import os
import subprocess
import sys
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from datetime import datetime
from typing import Any

STANDARDS = ["a-3a", "ua-1"]


@dataclass(frozen=True)
class Task:
    """What is typeset beside the files themselves."""

    sizes: Mapping[str, int]  # of the files, by name [bytes]
    typefaces: str  # a folder of them, beside those that the typesetter has
    issued: str  # ISO 8601 with its zone


def typeset_files(files: Mapping[str, bytes], typefaces: str, issued: datetime) -> bytes:
    """The PDF of files in memory; raises typst.TypstError for a template that is wrong."""
    task = Task({name: len(content) for name, content in files.items()}, typefaces, issued.isoformat())
    given = b"".join([json.dumps(asdict(task)).encode(), b"\n", *files.values()])
    try:
        done = subprocess.run(
            [sys.executable, "-c", "from calib.faces.report.typesetter import answer_task; answer_task()"],
            env=os.environ | {"PYTHONPATH": os.pathsep.join(filter(None, sys.path))},
            input=given,
            capture_output=True,
            check=True,
        )
    except (
        OSError,
        subprocess.CalledProcessError,
    ):  # a machine that starts none, or ends it; or what is wrong shows here
        return _set(files, task)
    return done.stdout


def as_pngs(drawings: Sequence[str], typefaces: str, dpi: int) -> list[bytes]:
    """SVG drawings as PNG files, each of its own size: a quarter of the time in which the drawing library draws them once more."""
    import typst  # noqa: PLC0415 (the mail needs it, and no other form)

    if not drawings:
        return []
    files = {f"{place}.svg": drawing.encode() for place, drawing in enumerate(drawings)}
    page = "#set page(width: auto, height: auto, margin: 0pt)\n"
    pages = "\n#pagebreak()\n".join(f'#image("{name}")' for name in files)
    read: Any = typst.compile
    out: bytes | list[bytes] = read(
        {"main.typ": f"{page}{pages}\n".encode(), **files},
        format="png",
        ppi=dpi,
        font_paths=_fonts(typefaces),
        ignore_system_fonts=True,
    )
    return [out] if isinstance(out, bytes) else out


def answer_task() -> None:
    """Typeset what standard input holds: a line that tells the task, and the files one after the other."""
    given = sys.stdin.buffer
    task = Task(**json.loads(given.readline()))
    sys.stdout.buffer.write(_set({name: given.read(size) for name, size in task.sizes.items()}, task))


def _set(files: Mapping[str, bytes], task: Task) -> bytes:
    import typst  # noqa: PLC0415 (the process that is told to needs it, and no other)

    # The wheel takes a mapping of files in memory too; its types do not say so.
    read: Any = typst.compile
    out: bytes = read(
        dict(files),
        format="pdf",
        font_paths=_fonts(task.typefaces),
        ignore_system_fonts=True,
        pdf_standards=STANDARDS,
        timestamp=datetime.fromisoformat(task.issued),
    )
    return out


def _fonts(typefaces: str) -> Any:
    """Those within the wheel and those of matplotlib: a page looks the same on every machine."""
    import typst  # noqa: PLC0415

    return typst.Fonts(include_system_fonts=False, include_embedded_fonts=True, font_paths=[typefaces])
