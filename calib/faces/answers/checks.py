"""Intermediate checks, as `calib check list` answers."""

from collections.abc import Sequence

from calib.faces.parts.two_days import day_recorded
from calib.faces.plain_text import table_text, withdrawn_text
from calib.faces.written import Content

_COLUMNS = ("number", "tag", "at", "recorded", "kind", "other", "value", "low", "high", "unit", "result", "remarks")


def document(checks: Sequence[Content]) -> Content:
    """Each check as typed, with its result and what that rests on."""
    return {"checks": list(checks)}


def text(answer: Content) -> str:
    """The same for people."""
    rows = [
        check
        | {
            "number": str(check["id"]),
            "recorded": day_recorded(check["recorded_at"]),
            "withdrawn": withdrawn_text(check["withdrawn"]),
        }
        for check in answer["checks"]
    ]
    columns = (*_COLUMNS, *(["withdrawn"] if any(row["withdrawn"] for row in rows) else []))
    return table_text(columns, [[row[column] or "" for column in columns] for row in rows])
