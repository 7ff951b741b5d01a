"""An instrument with its whole history, as `calib instrument` answers: a document for machines, text and one page for people."""

from collections.abc import Sequence
from pathlib import Path

from calib.errors import RecordsError
from calib.faces.curve_answer import Content
from calib.faces.plain_text import cells_text
from calib.procedures.look_up import InstrumentHistory, InstrumentStatus

LIST_HEADER = ("tag", "kind", "maker, model", "serial", "location", "with", "certificate", "due on", "state")

# Columns of the tables of a history: name in the document -> heading.
_CALIBRATIONS = {
    "certificate": "certificate", "laboratory": "laboratory", "calibrated_on": "calibrated", "accepted_on": "accepted",
    "accepted_by": "by", "decision_rule": "rule", "curve": "curve", "measuring_interval": "measuring interval",
}  # fmt: skip
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
        one.certificate or "-",
        one.due_on or "-",
        "; ".join(reason.partition(": ")[2].partition(":")[0] for reason in one.reasons) or "may be used",
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
    told = {name: cell for name, cell in one.items() if name not in ("reasons", "retired", "paired_with")}
    lines = [
        *(document["reasons"] or [f"{one['tag']}: may be used"]),
        cells_text(told),
        _used_line(document["used"]),
    ]
    if one["paired_with"]:
        lines.append(f"paired with {', '.join(one['paired_with'])}")
    for title, columns, rows in _tables(document):
        lines += ["", title, *_table_lines(columns, rows)]
    return "\n".join(lines)


def _used_line(used: Content) -> str:
    if not used["readings"] and not used["refused_readings"]:
        return "no reading rests on it"
    span = f", {used['first_reading']} to {used['last_reading']}" if used["readings"] else ""
    return f"{used['readings']} readings rest on it{span}; {used['refused_readings']} were refused"


def _tables(document: Content) -> list[tuple[str, dict[str, str], list[Content]]]:
    """Tables of a history that hold something: title, columns, rows."""
    calibrations = [one | {"curve": _curve(one)} for one in document["calibrations"]]
    files = [one | {"of": "the instrument"} for one in document["files"]]
    files += [each | {"of": one["certificate"]} for one in document["calibrations"] for each in one["files"]]
    tables = [
        ("calibrations", _CALIBRATIONS, calibrations),
        ("events", _EVENTS, document["events"]),
        ("intermediate checks", _CHECKS, document["checks"]),
        ("pairs of probe and meter", _PAIRINGS, document["pairings"]),
        ("files", _FILES, files),
        ("impact reviews", _REVIEWS, document["impact_reviews"]),
    ]
    return [table for table in tables if table[2]]


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


def page(document: Content, on: str) -> str:
    """The history as one self-contained HTML page, as of a day."""
    from jinja2 import Environment, PackageLoader, StrictUndefined  # noqa: PLC0415 (for the page only)

    environment = Environment(
        loader=PackageLoader("calib.faces"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    one = document["instrument"]
    facts = {name.replace("_", " "): one[name] for name in one if _is_fact(name, one[name])}
    tables = [
        (title, list(columns.values()), [[_cell(row, column) for column in columns] for row in rows])
        for title, columns, rows in _tables(document)
    ]
    return environment.get_template("instrument.html").render(
        one=one, on=on, facts=facts, used=_used_line(document["used"]), tables=tables
    )


def _is_fact(name: str, value: object) -> bool:
    return value is not None and name not in ("id", "tag", "kind", "reasons", "retired", "paired_with")


def save_page(document: Content, path: Path, on: str) -> None:
    """Write the page; raises RecordsError where it cannot be written."""
    try:
        path.write_text(page(document, on), encoding="utf-8")
    except OSError as error:
        raise RecordsError(f"{path}: the page cannot be written there ({error.strerror})") from error
