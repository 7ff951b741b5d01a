"""An instrument with its whole history, as `calib instrument show` answers."""

from typing import NamedTuple

from calib.faces.answers.instruments import status
from calib.faces.parts.two_days import accepted_on, day_recorded
from calib.faces.plain_text import cells_text, no_longer_text, table_text, withdrawn_text
from calib.faces.written import Content
from calib.procedures.on_record.instrument_history import InstrumentHistory
from calib.procedures.typed.kinds import WITHOUT_STATE, lacks_state

_Columns = dict[str, str]  # name in the document -> heading

# Columns of the tables of a history: name in the document -> heading.
_CALIBRATIONS = {
    "certificate": "certificate", "laboratory": "laboratory", "calibrated_on": "calibrated", "accepted_on": "accepted",
    "accepted_by": "by", "decision_rule": "rule", "curve": "curve", "measuring_interval": "measuring interval",
}  # fmt: skip
_WITHDRAWN = {"withdrawn": "withdrawn"}  # where one was
_NO_LONGER = {"withdrawn": "withdrawn or superseded"}  # of certificates
_EVENTS = {
    "id": "number", "at": "at", "recorded_on": "recorded", "kind": "what", "value": "now", "reason": "reason", "person": "by",
}  # fmt: skip
_CHECKS = {
    "id": "number", "at": "at", "recorded_on": "recorded", "kind": "kind", "value": "value", "low": "low", "high": "high",
    "unit": "unit", "result": "result", "remarks": "remarks",
}  # fmt: skip
_PAIRINGS = {
    "at": "at",
    "recorded_on": "recorded",
    "kind": "what",
    "probe": "probe",
    "meter": "meter",
    "reason": "reason",
}
_FILES = {"name": "file", "media_type": "kind", "sha256": "SHA-256", "remarks": "remarks", "of": "of"}
_REVIEWS = {
    "review": "review", "instrument": "instrument", "certificate": "certificate", "happened": "what happened", "lines": "lines",
    "open_lines": "open",
}  # fmt: skip


_AMENDMENTS = {
    "revision": "revision", "column": "amended", "before": "before", "after": "after", "holds_from": "from", "reason": "reason",
    "person": "by",
}  # fmt: skip


def document(history: InstrumentHistory) -> Content:
    """Everything that the records hold of an instrument."""
    return {
        "instrument": status(history.status),
        "reasons": list(history.status.reasons),
        "calibrations": list(history.calibrations),
        "events": list(history.events),
        "checks": list(history.checks),
        "pairings": list(history.pairings),
        "files": list(history.files),
        "impact_reviews": list(history.reviews),
        "amendments": list(history.amendments),
        "used": history.used,
    }


def text(answer: Content) -> str:
    """The same for people."""
    instrument = answer["instrument"]
    left_out = ("reasons", "retired", "paired_with", "photos")
    lines = [
        *(answer["reasons"] or [f"{instrument['tag']}: may be used"]),
        *([f"but {WITHOUT_STATE}"] if lacks_state(instrument) else []),
        cells_text({name: cell for name, cell in instrument.items() if name not in left_out}),
        used_line(answer["used"]),
        *open_lines(answer),
    ]
    if instrument["paired_with"]:
        lines.append(f"paired with {', '.join(instrument['paired_with'])}")
    for table in tables(answer):
        shown = [table.title, table_text(table.header, table.rows, "  ")] if table.rows else [f"{table.title}: none"]
        lines += ["", *shown]
    return "\n".join(lines)


def used_line(used: Content) -> str:
    """How many readings were taken with it, and when."""
    if not used["readings"] and not used["refused_readings"]:
        return "no reading was taken with it"
    span = f", {used['first_reading']} to {used['last_reading']}" if used["readings"] else ""
    taken, refused = (
        f"{count} reading{' was' if count == 1 else 's were'}" for count in (used["readings"], used["refused_readings"])
    )
    return f"{taken} taken with it{span}; {refused} refused"


class HistoryTable(NamedTuple):
    """A table of a history."""

    title: str
    header: list[str]
    rows: list[list[str]]


def tables(answer: Content) -> list[HistoryTable]:
    """Tables of a history, some of them without rows."""
    calibrations = [
        each
        | {
            "curve": _curve(each),
            "accepted_on": each["accepted_on"] and accepted_on(each),
            "withdrawn": no_longer_text(each),
        }
        for each in answer["calibrations"]
    ]
    no_longer = _NO_LONGER if any(each["withdrawn"] for each in calibrations) else {}
    files = [file | {"of": "the instrument"} for file in answer["files"]]
    files += [file | {"of": each["certificate"]} for each in answer["calibrations"] for file in each["files"]]
    return [
        _table("calibrations", _CALIBRATIONS | no_longer, calibrations),
        _table("events", *_with_withdrawn(_EVENTS, _with_day(answer["events"]))),
        _table("intermediate checks", *_with_withdrawn(_CHECKS, _with_day(answer["checks"]))),
        _table("pairs of probe and meter", _PAIRINGS, _with_day(answer["pairings"])),
        _table("files", _FILES, files),
        _table("impact reviews", _REVIEWS, answer["impact_reviews"]),
        *([_table("amendments", _AMENDMENTS, _since(answer["amendments"]))] if answer["amendments"] else []),
    ]


def _since(amendments: list[Content]) -> list[Content]:
    return [each | {"holds_from": each["holds_from"] or "always wrong"} for each in amendments]


def _with_withdrawn(columns: _Columns, records: list[Content]) -> tuple[_Columns, list[Content]]:
    """Columns and rows of records of which some may have been withdrawn."""
    told = [each | {"withdrawn": withdrawn_text(each["withdrawn"])} for each in records]
    return columns | (_WITHDRAWN if any(each["withdrawn"] for each in told) else {}), told


def _with_day(records: list[Content]) -> list[Content]:
    """Records with the day on which each was recorded, beside the time at which it holds."""
    return [record | {"recorded_on": day_recorded(record["recorded_at"])} for record in records]


def _curve(calibration: Content) -> str:
    return str(calibration["shape"]) if calibration["degree"] is None else f"degree {calibration['degree']}"


def _table(title: str, columns: _Columns, records: list[Content]) -> HistoryTable:
    return HistoryTable(
        title, list(columns.values()), [[_cell(record, column) for column in columns] for record in records]
    )


def _cell(record: Content, column: str) -> str:
    return "-" if record.get(column) is None else " ".join(str(record[column]).split())


def open_lines(answer: Content) -> list[str]:
    """The impact reviews that wait for somebody."""
    return [told for _, told in open_review_lines(answer)]


def open_review_lines(answer: Content) -> list[tuple[int, str]]:
    """The same with the number of each."""
    return [
        (
            review["review"],
            (
                f"impact review {review['review']} open: {review['instrument']}, {review['happened']}, "
                f"{review['open_lines']} of {review['lines']} lines"
            ),
        )
        for review in answer["impact_reviews"]
        if review["open_lines"]
    ]
