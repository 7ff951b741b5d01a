"""Calibrations on record, as `calib calibration list` answers."""

from collections.abc import Sequence

from calib.faces.parts.two_days import accepted_on
from calib.faces.plain_text import no_longer_text, table_text
from calib.faces.written import Content

# Name in the document -> heading.
_COLUMNS = {
    "tag": "tag", "certificate": "certificate", "laboratory": "laboratory", "calibrated_on": "calibrated",
    "accepted_on": "accepted", "due_on": "earlier due", "shape": "curve", "degree": "degree",
    "measuring_interval": "measuring interval",
}  # fmt: skip
_WITHDRAWN = {"withdrawn": "withdrawn or superseded"}  # where one was


def document(calibrations: Sequence[Content]) -> Content:
    """Each calibration as typed, with its acceptance and its curve."""
    return {"calibrations": list(calibrations)}


def text(answer: Content) -> str:
    """The same for people."""
    rows = [
        each
        | {
            "accepted_on": each["accepted_on"] and accepted_on(each),
            "withdrawn": no_longer_text(each),
        }
        for each in answer["calibrations"]
    ]
    columns = _COLUMNS | (_WITHDRAWN if any(row["withdrawn"] for row in rows) else {})
    cells = [["-" if row[column] is None else str(row[column]) for column in columns] for row in rows]
    return table_text(list(columns.values()), cells)
