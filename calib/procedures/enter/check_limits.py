"""What the limits of a flow must hold together: one style of them, the minimum below the maximum, and the design between."""

from collections.abc import Iterable

from calib.errors import Finding
from calib.procedures.typed.declared.jobs import LIMITS_OF_A_FLOW
from calib.procedures.typed.sheets import TypedRow

LIMITS_TYPED = tuple(column.name for column in LIMITS_OF_A_FLOW)
_EQUAL, _SIDES, _FLOWS = LIMITS_TYPED[:1], LIMITS_TYPED[1:3], LIMITS_TYPED[3:]
_STYLES = (_EQUAL, _SIDES, _FLOWS)


def limit_findings(row: TypedRow) -> Iterable[Finding]:
    """All that is wrong with the limits of an outlet's or a system's row."""
    typed = [style for style in _STYLES if any(not row.blank(column) for column in style)]
    if not typed and not row.blank("design_flow"):
        either = f"{' or '.join(_SIDES)}, or {' or '.join(_FLOWS)}"
        yield row.finding(_EQUAL[0], f"a value beside design_flow, or instead {either}")
    for style in typed[1:]:
        for column in style:
            if row.sound(column):
                yield row.finding(column, f"nothing beside {_named(row, typed[0])}: limits in one style")
    if len(typed) == 1:
        yield from _together(row)


def _named(row: TypedRow, style: tuple[str, ...]) -> str:
    return " and ".join(column for column in style if not row.blank(column))


def _together(row: TypedRow) -> Iterable[Finding]:
    if row.sound(*_SIDES) and all(float(row.cells[column]) == 0 for column in _SIDES):
        yield row.finding(_SIDES[1], "above 0 where tolerance_minus_percent is 0: else no flow conforms")
    if row.sound(*_FLOWS) and not float(row.cells[_FLOWS[0]]) < float(row.cells[_FLOWS[1]]):
        yield row.finding(_FLOWS[0], f"a flow below maximum_flow ({row.cells[_FLOWS[1]]})")
        return
    for column, beyond, expected in (
        (_FLOWS[0], lambda limit, design: limit > design, "a flow not above design_flow"),
        (_FLOWS[1], lambda limit, design: limit < design, "a flow not below design_flow"),
    ):
        if row.sound(column, "design_flow") and beyond(float(row.cells[column]), float(row.cells["design_flow"])):
            yield row.finding(column, f"{expected} ({row.cells['design_flow']})")
