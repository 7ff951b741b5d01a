"""An instrument's history as one self-contained HTML page."""

import base64
import re
from collections.abc import Sequence
from datetime import date
from pathlib import Path

from markupsafe import Markup, escape

from calib.faces.answers.instrument import open_lines, tables, used_line
from calib.faces.template import template
from calib.faces.write_over import write_over
from calib.faces.written import Content, unit_text
from calib.procedures.on_record.attached_files import Photo


def _page(answer: Content, photos: Sequence[Photo], on: date) -> str:
    """The history as one self-contained HTML page, as of a day, with the photos of the instrument in it."""
    instrument = answer["instrument"]
    shown = tables(answer)
    return template("instrument.html").render(
        one=instrument,
        on=str(on),
        facts=facts(instrument),
        used=used_line(answer["used"]),
        waiting=open_lines(answer),
        tables=[(title, header, [_with_units(header, row) for row in rows]) for title, header, rows in shown if rows],
        in_pieces=in_pieces,
        without=[table.title for table in shown if not table.rows],
        photos=[_shown(photo) for photo in photos],
    )


def in_pieces(text: str) -> Markup:
    """A text of which each day and time of day stays on one line, as people write them, and only a long word is parted."""
    return Markup(_PIECE.sub(_piece, str(escape(text))))  # noqa: S704 (escaped, and marked up here)


_PIECE = re.compile(
    r"(?<!\S)(?P<before>\(?)(?P<day>\d{4}-\d\d-\d\d)(?:T(?P<hour>\d\d:\d\d)(?::00)?(?P<rest>[\d:.]*(?:Z|[+-]\d\d:\d\d)))?"
    r"(?P<after>[),.;:]*)(?!\S)|\S{16,}"
)


def _piece(match: re.Match[str]) -> str:
    if match["day"] is None:
        return f'<span class="long">{match[0]}</span>'
    whole = [match["day"], *([match["hour"] + match["rest"]] if match["hour"] else [])]
    return match["before"] + " ".join(f'<span class="date">{each}</span>' for each in whole) + match["after"]


def _with_units(header: Sequence[str], row: Sequence[str]) -> list[str]:
    return [unit_text(cell) if name in _WITH_UNITS else cell for name, cell in zip(header, row, strict=True)]


_WITH_UNITS = ("unit", "measuring interval")


def _shown(photo: Photo) -> Content:
    content = base64.b64encode(photo.content).decode("ascii")
    return {
        "source": f"data:{photo.media_type};base64,{content}",
        "name": photo.name,
        "remarks": photo.remarks,
    }


def facts(instrument: Content) -> dict[str, str]:
    """What the register states of an instrument, in words: name -> value."""
    in_unit = unit_text(instrument["unit"])
    told = {
        "maker, model": f"{instrument['maker']} {instrument['model']}",
        "serial": instrument["serial"],
        "firmware": instrument["firmware"],
        "quantity": instrument["quantity"],
        "range": f"{instrument['range_low']} to {instrument['range_high']} {in_unit}",
        "resolution": f"{instrument['resolution']} {in_unit}",
        "maximum permissible error": _limits(instrument["mpe_percent"], instrument["mpe_absolute"], in_unit),
        "repeatability": instrument["repeatability"] and f"{instrument['repeatability']} {in_unit}",
        "stability": _limits(instrument["stability_percent"], instrument["stability_absolute"], in_unit),
        "calibration interval": f"{instrument['interval_months']} months",
        "intermediate check every": instrument["check_interval_days"] and f"{instrument['check_interval_days']} days",
        "location": instrument["location"],
        "custodian": instrument["custodian"],
        "certificate": instrument["certificate"],
        "due on": instrument["due_on"],
    }
    said = {"unit", "id", "tag", "kind", "reasons", "retired", "paired_with", "photos", *_IN_WORDS}
    rest = {unit_text(name.replace("_", " ")): str(cell) for name, cell in instrument.items() if name not in said}
    return {name: str(cell) for name, cell in (told | rest).items() if cell not in (None, "None", "")}


_IN_WORDS = (
    "maker", "model", "serial", "firmware", "quantity", "range_low", "range_high", "resolution", "mpe_percent", "mpe_absolute",
    "repeatability", "stability_percent", "stability_absolute", "interval_months", "check_interval_days", "location", "custodian",
    "certificate", "due_on",
)  # fmt: skip


def _limits(percent: str | None, absolute: str | None, in_unit: str) -> str | None:
    parts = [*([f"{percent} % of the indication"] if percent else []), *([f"{absolute} {in_unit}"] if absolute else [])]
    return f"± ({' + '.join(parts)})" if len(parts) > 1 else f"± {parts[0]}" if parts else None


def save_page(answer: Content, photos: Sequence[Photo], path: Path, on: date) -> None:
    """Write the page; raises CalibError where it cannot be written, or something else is there."""
    page = _page(answer, photos, on).encode("utf-8", "backslashreplace")
    write_over(path, page, b"<!DOCTYPE html>", "page of an instrument", b": history</title>")
