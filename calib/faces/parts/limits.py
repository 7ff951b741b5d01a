"""Limits of a flow beside its design, and the guard band within them, as every answer that judges a flow says them."""

import numpy as np

from calib.arrays import finite
from calib.faces.written import Content
from calib.procedures.measure.results import Judgement
from calib.procedures.on_record.flow_limits import EQUAL, IN_FLOWS, LIMITS_TYPED, SIDES, Limited, flow_limits
from calib.quantities import Unit, unit


def limits_content(typed: Limited | None, design: float, in_unit: Unit) -> Content:
    """What was typed of the limits, and the lowest and highest flow that conform; null where there is none.

    `design` is in m3/s; a minimum and a maximum stand in the unit of the answer.
    """
    if typed is None:
        return dict.fromkeys((*LIMITS_TYPED, "lower_limit", "upper_limit"))
    percent = {name: _number(getattr(typed, name)) for name in (*EQUAL, *SIDES)}
    typed_in = in_unit if typed.flow_unit is None else unit("volume flow", typed.flow_unit)
    flows = {name: _number(getattr(typed, name)) for name in IN_FLOWS}
    lower, upper = flow_limits(typed, design, typed_in)
    return {
        **percent,
        **{name: _in(in_unit, None if flow is None else typed_in.to_si(flow)) for name, flow in flows.items()},
        "lower_limit": _in(in_unit, finite(lower)),
        "upper_limit": _in(in_unit, finite(upper)),
    }


NO_GUARD: Content = dict.fromkeys(("guard_band", "guard_factor", "guard_is_one_sided"))


def guard_content(judgement: Judgement, row: int, in_unit: Unit) -> Content:
    """The guard band w = k u of a flow that was judged, and whether k is one-sided; null where the rule has none."""
    guards = judgement.guard_bands
    has = bool(judgement.statement[row]) and guards.width[row] > 0 and bool(np.isfinite(guards.width[row]))
    if not has:
        return NO_GUARD
    return {
        "guard_band": float(in_unit.difference_from_si(guards.width[row])),
        "guard_factor": float(guards.factor[row]),
        "guard_is_one_sided": bool(guards.one_sided[row]),
    }


def _number(typed: str | None) -> float | None:
    return None if typed is None else float(typed)


def _in(in_unit: Unit, flow: float | None) -> float | None:
    return None if flow is None else float(in_unit.from_si(flow))


def one_sided_lines(named: list[tuple[str, Content]]) -> list[str]:
    """Which flows have one limit, and the k of their guard band: (name, design) each."""
    return [
        f"{name}: one limit, guard band w = {design['guard_factor']:.2f} u (k one-sided)"
        for name, design in named
        if design["guard_is_one_sided"]
    ]
