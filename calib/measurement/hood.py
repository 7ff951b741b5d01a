"""Flow hoods: they indicate a volume flow, and with a throttle two, from which the flow without the hood follows.

    q = y                                             throttle open
    q = [(r/y_1^2 - 1/y_2^2)/(r - 1)]^(-1/2)          open (1) and set (2); r the ratio of the hood's resistances

Source: own derivation; `calib.airflow.hood`.
"""

import numpy as np

from calib.airflow.hood import unthrottled_flow, unthrottled_sensitivities
from calib.arrays import Floats
from calib.measurement.notation import (
    Bracket,
    Digits,
    Joined,
    Letter,
    Power,
    Quotient,
    Term,
    equation,
    mean,
    minus,
)
from calib.measurement.way import Corrected, OfTwo, Way


def _in_trials(open_flow: Floats, throttled_flow: Floats, ratio: Floats | float) -> Floats:
    """The flow for what errors make of a pair.

    A throttled flow above the open one gives a flow below it. One lower than the ratio can bring about gives a flow without bound:
    it lies beyond either end of every interval, and stands as the largest of the others. An open flow of 0 and below gives 0.
    """
    bracket = (ratio / open_flow**2 - 1.0 / throttled_flow**2) / (ratio - 1.0)
    bounded = (np.minimum(bracket, throttled_flow) > 0) & (np.asarray(ratio) > 1)
    flow = np.where(open_flow > 0, np.power(bracket, -0.5, out=np.full_like(bracket, np.inf), where=bounded), 0.0)
    without = np.isposinf(flow)
    if not without.all():
        flow[without] = flow[~without].max()
    return flow


def _formula(corrected: Corrected) -> tuple[Term, ...]:
    r, unity = Letter("r"), Digits("1")
    flows = (Letter("q", "1"), Letter("q", "2"))
    over = (Quotient(r, Power(flows[0], "2")), Quotient(unity, Power(flows[1], "2")))
    bracket = Bracket(Quotient(minus(*over), minus(r, unity)), is_square=True)
    each = tuple(equation(flow, corrected(mean("x").at(flow.index))) for flow in flows)
    return equation(mean("q"), Power(bracket, "−1/2")), Joined(",", each)


THROTTLED_HOOD = Way(
    name="hood open and throttled",
    title="Flow hood, throttle open and set",
    indicates="a flow",
    quantity="volume flow",
    instrument="hood",
    is_flow=True,
    of_two=OfTwo(unthrottled_flow, unthrottled_sensitivities, _in_trials, _formula),
    pattern="hood",
    not_at={"duct": "an instrument for air velocity or pressure: a hood stands at an outlet"},
    not_traversed="a hood is not traversed",
)

HOOD = Way(
    name="hood",
    title="Flow hood, throttle open",
    indicates="a flow",
    quantity="volume flow",
    instrument="hood",
    is_flow=True,
    throttled=THROTTLED_HOOD,
    pattern="hood",
    not_at={"duct": "an instrument for air velocity or pressure: a hood stands at an outlet"},
    not_traversed="a hood is not traversed",
)
