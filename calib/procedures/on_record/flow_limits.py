"""Between which limits a flow has to lie: of an outlet, or of the total of a system; the one place that reads them."""

import math

from calib.quantities import Unit
from calib.records.tables.jobs import SystemDesign
from calib.records.tables.outlets import Outlet

Limited = Outlet | SystemDesign  # a design flow and its limits, as typed: in one of the three styles


# The columns of each style.
EQUAL = ("tolerance_percent",)
SIDES = ("tolerance_minus_percent", "tolerance_plus_percent")
IN_FLOWS = ("minimum_flow", "maximum_flow")
LIMITS_TYPED = (*EQUAL, *SIDES, *IN_FLOWS)

NO_LIMITS = (math.nan, math.nan)


def flow_limits(typed: Limited, design: float, in_unit: Unit) -> tuple[float, float]:
    """Lowest and highest flow that conform [m3/s]; infinite where there is no limit on that side, NaN where there is none at all.

    `design` is in m3/s; `in_unit` the unit that a minimum and a maximum were typed in. A tolerance on one side, blank on the other,
    limits one side: 0 is a tolerance too.
    """
    minus, plus = typed.tolerance_minus_percent, typed.tolerance_plus_percent
    if typed.tolerance_percent is not None:
        minus = plus = typed.tolerance_percent
    if minus is not None or plus is not None:
        return (
            -math.inf if minus is None else design - abs(design) * (float(minus) / 100),
            math.inf if plus is None else design + abs(design) * (float(plus) / 100),
        )
    low, high = typed.minimum_flow, typed.maximum_flow
    if low is not None or high is not None:
        return (
            -math.inf if low is None else in_unit.to_si(float(low)),
            math.inf if high is None else in_unit.to_si(float(high)),
        )
    return NO_LIMITS
