"""An instrument with its whole history, as `calib instrument` answers: a document for machines, text and one page for people."""

import base64
from collections.abc import Sequence
from pathlib import Path

from calib.errors import RecordsError
from calib.faces.plain_text import cells_text, withdrawn_text
from calib.faces.written import Content
from calib.procedures.on_record.attached_files import Photo
from calib.procedures.on_record.instruments import InstrumentHistory, InstrumentStatus

LIST_HEADER = ("tag", "kind", "maker, model", "serial", "location", "with", "photos", "certificate", "due on", "state")

# Columns of the tables of a history: name in the document -> heading.
_CALIBRATIONS = {
    "certificate": "certificate", "laboratory": "laboratory", "calibrated_on": "calibrated", "accepted_on": "accepted",
    "accepted_by": "by", "decision_rule": "rule", "curve": "curve", "measuring_interval": "measuring interval",
}  # fmt: skip
_WITHDRAWN = {"withdrawn": "withdrawn"}  # where one was
_EVENTS = {"at": "at", "kind": "what", "value": "now", "reason": "reason", "person": "by"}
_CHECKS = {
    "at": "at", "kind": "kind", "value": "value", "low": "low", "high": "high", "unit": "unit", "result": "result",
    "remarks": "remarks",
}  # fmt: skip
_PAIRINGS = {"at": "at", "kind": "what", "probe": "probe", "meter": "meter", "reason": "reason"}
_FILES = {"name": "file", "media_type": "kind", "sha256": "SHA-256", "remarks": "remarks", "of": "of"}
_REVIEWS = {
    "review": "review", "certificate": "certificate", "criterion": "criterion", "lines": "lines", "open_lines": "open",
}  # fmt: skip


def status(one: InstrumentStatus) -> Content:
    """An instrument as typed, with its certificate, due date and what stands against its use."""
    return one.cells | {
        "certificate": one.certificate,
        "due_on": one.due_on,
        "reasons": list(one.reasons),
        "retired": one.retired,
        "paired_with": list(one.paired_with),
        "photos": one.photos,
    }


def list_row(one: InstrumentStatus) -> tuple[str, ...]:
    """One line of the list."""
    return (
        one.cells["tag"],
        one.cells["kind"],
        f"{one.cells['maker']} {one.cells['model']}",
        one.cells["serial"],
        one.cells["location"] or "-",
        ", ".join(one.paired_with) or "-",
        str(one.photos or "-"),
        one.certificate or "-",
        one.due_on or "-",
        "; ".join(reason.partition(": ")[2].partition(": ")[0] for reason in one.reasons) or "may be used",
    )


def history(found: InstrumentHistory) -> Content:
    """Everything that the records hold of an instrument."""
    return {
        "instrument": status(found.status),
        "reasons": list(found.status.reasons),
        "calibrations": list(found.calibrations),
        "events": list(found.events),
        "checks": list(found.checks),
        "pairings": list(found.pairings),
        "files": list(found.files),
        "impact_reviews": list(found.reviews),
        "used": found.used,
    }


def history_text(document: Content) -> str:
    """The same for people."""
    one = document["instrument"]
    told = {name: cell for name, cell in one.items() if name not in ("reasons", "retired", "paired_with", "photos")}
    lines = [
        *(document["reasons"] or [f"{one['tag']}: may be used"]),
        cells_text(told),
        _used_line(document["used"]),
        *_open_lines(document),
    ]
    if one["paired_with"]:
        lines.append(f"paired with {', '.join(one['paired_with'])}")
    for title, columns, rows in _tables(document):
        lines += ["", title, *_table_lines(columns, rows)] if rows else ["", f"{title}: none"]
    return "\n".join(lines)


def _used_line(used: Content) -> str:
    if not used["readings"] and not used["refused_readings"]:
        return "no reading was taken with it"
    span = f", {used['first_reading']} to {used['last_reading']}" if used["readings"] else ""
    taken, refused = (
        f"{count} reading{' was' if count == 1 else 's were'}" for count in (used["readings"], used["refused_readings"])
    )
    return f"{taken} taken with it{span}; {refused} refused"


def _tables(document: Content) -> list[tuple[str, dict[str, str], list[Content]]]:
    """Tables of a history: title, columns, rows."""
    calibrations = [
        one | {"curve": _curve(one), "withdrawn": withdrawn_text(one["withdrawn"])} for one in document["calibrations"]
    ]
    withdrawn = _WITHDRAWN if any(one["withdrawn"] for one in calibrations) else {}
    files = [one | {"of": "the instrument"} for one in document["files"]]
    files += [each | {"of": one["certificate"]} for one in document["calibrations"] for each in one["files"]]
    return [
        ("calibrations", _CALIBRATIONS | withdrawn, calibrations),
        ("events", _EVENTS, document["events"]),
        ("intermediate checks", _CHECKS, document["checks"]),
        ("pairs of probe and meter", _PAIRINGS, document["pairings"]),
        ("files", _FILES, files),
        ("impact reviews", _REVIEWS, document["impact_reviews"]),
    ]


def _curve(one: Content) -> str:
    return str(one["shape"]) if one["degree"] is None else f"degree {one['degree']}"


def _cell(row: Content, column: str) -> str:
    return "-" if row.get(column) is None else " ".join(str(row[column]).split())


def _table_lines(columns: dict[str, str], rows: Sequence[Content]) -> list[str]:
    lines = [list(columns.values()), *([_cell(row, column) for column in columns] for row in rows)]
    widths = [max(len(line[place]) for line in lines) for place in range(len(columns))]
    return [
        "  " + "  ".join(cell.ljust(width) for cell, width in zip(line, widths, strict=True)).rstrip() for line in lines
    ]


def page(document: Content, photos: Sequence[Photo], on: str) -> str:
    """The history as one self-contained HTML page, as of a day, with the photos of the instrument in it."""
    from calib.faces.template import template  # noqa: PLC0415 (the library of templates is for the page only)

    one = document["instrument"]
    tables = [
        (title, list(columns.values()), [[_cell(row, column) for column in columns] for row in rows])
        for title, columns, rows in _tables(document)
    ]
    return template("instrument.html").render(
        one=one,
        on=on,
        facts=_facts(one),
        used=_used_line(document["used"]),
        waiting=_open_lines(document),
        tables=[table for table in tables if table[2]],
        without=[title for title, _, rows in tables if not rows],
        photos=[_shown(photo) for photo in photos],
    )


def _shown(photo: Photo) -> Content:
    content = base64.b64encode(photo.content).decode("ascii")
    return {
        "source": f"data:{photo.media_type};base64,{content}",
        "name": photo.name,
        "remarks": photo.remarks,
    }


def _facts(one: Content) -> dict[str, str]:
    """What the register states of an instrument, in words: name -> value."""
    in_unit = one["unit"]
    told = {
        "maker, model": f"{one['maker']} {one['model']}",
        "serial": one["serial"],
        "firmware": one["firmware"],
        "quantity": one["quantity"],
        "range": f"{one['range_low']} to {one['range_high']} {in_unit}",
        "resolution": f"{one['resolution']} {in_unit}",
        "maximum permissible error": _limits(one["mpe_percent"], one["mpe_absolute"], in_unit),
        "repeatability": one["repeatability"] and f"{one['repeatability']} {in_unit}",
        "stability": _limits(one["stability_percent"], one["stability_absolute"], in_unit),
        "calibration interval": f"{one['interval_months']} months",
        "intermediate check every": one["check_interval_days"] and f"{one['check_interval_days']} days",
        "location": one["location"],
        "custodian": one["custodian"],
        "certificate": one["certificate"],
        "due on": one["due_on"],
    }
    said = {"unit", "id", "tag", "kind", "reasons", "retired", "paired_with", "photos", *_IN_WORDS}
    rest = {name.replace("_", " "): str(cell) for name, cell in one.items() if name not in said}
    return {name: str(cell) for name, cell in (told | rest).items() if cell not in (None, "None", "")}


_IN_WORDS = (
    "maker", "model", "serial", "firmware", "quantity", "range_low", "range_high", "resolution", "mpe_percent", "mpe_absolute",
    "repeatability", "stability_percent", "stability_absolute", "interval_months", "check_interval_days", "location", "custodian",
    "certificate", "due_on",
)  # fmt: skip


def _limits(percent: str | None, absolute: str | None, in_unit: str) -> str | None:
    parts = [*([f"{percent} % of the indication"] if percent else []), *([f"{absolute} {in_unit}"] if absolute else [])]
    return f"± ({' + '.join(parts)})" if len(parts) > 1 else f"± {parts[0]}" if parts else None


def _open_lines(document: Content) -> list[str]:
    """The impact reviews that wait for somebody."""
    return [
        f"impact review of certificate {one['certificate']} open: {one['open_lines']} of {one['lines']} lines"
        for one in document["impact_reviews"]
        if one["open_lines"]
    ]


def save_page(document: Content, photos: Sequence[Photo], path: Path, on: str) -> None:
    """Write the page; raises RecordsError where it cannot be written."""
    try:
        path.write_text(page(document, photos, on), encoding="utf-8")
    except OSError as error:
        raise RecordsError(f"{path}: the page cannot be written there ({error.strerror})") from error
