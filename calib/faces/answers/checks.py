"""Intermediate checks, as `calib check list` answers."""

from collections.abc import Sequence

from calib.faces.parts.two_days import day_recorded
from calib.faces.plain_text import table_text
from calib.faces.written import Content

_COLUMNS = ("tag", "at", "recorded", "kind", "other", "value", "low", "high", "unit", "result", "remarks")


def document(checks: Sequence[Content]) -> Content:
    """Each check as typed, with its result and what that rests on."""
    return {"checks": list(checks)}


def text(answer: Content) -> str:
    """The same for people."""
    checks = [check | {"recorded": day_recorded(check["recorded_at"])} for check in answer["checks"]]
    return table_text(_COLUMNS, [[check[column] or "" for column in _COLUMNS] for check in checks])
