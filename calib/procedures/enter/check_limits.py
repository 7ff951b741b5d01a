"""What the limits of a flow must hold together: one style of them, the minimum below the maximum, and the design between.

Decision (2026-11-29). A minimum or a maximum asks for a design flow too, which may be that limit: the state of the air in which
it is judged, the share that is printed and the sums of systems and rooms are those of designs. Option: a limit that stands by
itself (flows without a share, and systems whose sum of designs lacks an outlet that is judged). Cost: the limit is typed twice.
"""

from collections.abc import Iterable

from calib.errors import Finding
from calib.procedures.on_record.flow_limits import EQUAL, IN_FLOWS, SIDES
from calib.procedures.typed.sheets import TypedRow


def limit_findings(row: TypedRow) -> Iterable[Finding]:
    """All that is wrong with the limits of an outlet's or a system's row."""
    typed = [style for style in (EQUAL, SIDES, IN_FLOWS) if any(not row.blank(column) for column in style)]
    if not typed and not row.blank("design_flow"):
        either = f"{' or '.join(SIDES)}, or {' or '.join(IN_FLOWS)}"
        yield row.finding(EQUAL[0], f"a value beside design_flow, or instead {either}")
    for style in typed[1:]:
        for column in style:
            if row.sound(column):
                yield row.finding(column, f"nothing beside {_named(row, typed[0])}: limits in one style")
    if len(typed) == 1:
        yield from _together(row)


def _named(row: TypedRow, style: tuple[str, ...]) -> str:
    return " and ".join(column for column in style if not row.blank(column))


def _together(row: TypedRow) -> Iterable[Finding]:
    if row.sound(*SIDES) and all(float(row.cells[column]) == 0 for column in SIDES):
        yield row.finding(SIDES[1], "above 0 where tolerance_minus_percent is 0: else no flow conforms")
    if row.sound(*IN_FLOWS) and not float(row.cells[IN_FLOWS[0]]) < float(row.cells[IN_FLOWS[1]]):
        yield row.finding(IN_FLOWS[0], f"a flow below maximum_flow ({row.cells[IN_FLOWS[1]]})")
        return
    for column, sign, side in ((IN_FLOWS[0], 1.0, "above"), (IN_FLOWS[1], -1.0, "below")):
        if row.sound(column, "design_flow"):
            design = row.cells["design_flow"]
            if sign * (float(row.cells[column]) - float(design)) > 0:
                yield row.finding(column, f"a flow not {side} design_flow ({design})")
