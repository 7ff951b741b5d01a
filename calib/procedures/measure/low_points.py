"""Points of a reading below the lowest comparison, and pressures below zero: what they are called, and when they refuse it.

    share = sum of w (v + 2 u(v)) over the points below the lowest comparison, over the mean velocity

is what such points could carry of the flow; w are the weights of the mean. It is held against the share that the method declares.
A corrected velocity pressure below -2 u(dp) is no air that stands: the flow turns back there, or the zero has drifted.

Decision (2026-11-29). A method that declares no share lets such points carry 10 % of the flow: then a velocity that is wrong by a
tenth at all of them (a velocity pressure wrong by a fifth) moves the flow by 1 %, which is less than what the best traverses are
uncertain by (ISO 3966: 2 %, from memory), and the simulations behind the floor of `calib.airflow.velocity` held up to that share.
Options: none (every traverse of a slow duct is refused for its points by the wall), 25 % (1 % of the flow no longer covers it).
"""

from collections.abc import Iterator

import numpy as np

from calib.arrays import Floats, Truths
from calib.measurement import Flows, Readings
from calib.measurement.trials import points_of, weights_of
from calib.procedures.measure.standing import Standing, section_of

SHARE_BELOW_INTERVAL = 10.0  # percent of the flow, where the method declares none
REVERSED = 2.0  # standard uncertainties below zero
_NAMED_AT_MOST = 6


def reasons_of_low_points(standing: Standing, readings: Readings, flows: Flows, row: int) -> Iterator[str]:
    """Why a reading is refused for its low points; it stands at a row of the readings and their flows."""
    if flows.low is None or not standing.way.goes_to_zero:
        return
    mine = points_of(readings, row)
    tag = standing.instrument.tag
    pressure, u = flows.low.corrected[mine], flows.low.uncertainty[mine]
    turned = pressure < -REVERSED * u
    if turned.any():
        lowest = np.argmin(pressure)
        yield (
            f"{tag}: {_told(standing, turned)} below zero by more than {REVERSED:g} standard uncertainties (velocity pressure "
            f"{pressure[lowest]:.3g} Pa, u {u[lowest]:.2g} Pa): the flow turns back there, or the zero has drifted; "
            "set the zero and measure again, or choose another section"
        )
    below = flows.low.below[mine]
    if below.any():
        allowed = float(standing.method.share_below_interval_percent or SHARE_BELOW_INTERVAL)
        carried = 100.0 * _share(readings, flows, row, mine)
        if carried > allowed:
            yield (
                f"{tag}: {_told(standing, below)} below the lowest comparison and could carry {carried:.0f} % of the flow, above "
                f"the {allowed:g} % that the method allows: use instruments calibrated there"
            )


def flags_of_low_points(standing: Standing, readings: Readings, flows: Flows, row: int) -> Iterator[str]:
    """What is worth saying of a reading that stands; that of a traverse stands in its profile."""
    if standing.observed.traversed is not None or flows.low is None:
        return
    below = flows.low.below[points_of(readings, row)]
    if below.any():
        yield f"{standing.instrument.tag}: {_told(standing, below)} below the lowest comparison: the correction there is held"


def places_below(standing: Standing, readings: Readings, flows: Flows, row: int) -> Truths:
    """(p,) places of a traverse that are below the lowest comparison in any pass."""
    if flows.low is None or standing.observed.traversed is None:
        return np.zeros(0, dtype=bool)
    return _in_any_pass(standing, flows.low.below[points_of(readings, row)])


def _share(readings: Readings, flows: Flows, row: int, mine: slice) -> float:
    assert flows.low is not None  # noqa: S101 (asked before)
    if flows.velocity[row] <= 0:
        return 1.0
    upper: Floats = flows.point_velocity[mine] + 2.0 * flows.low.velocity_uncertainty[mine]
    return min(float((weights_of(readings, mine) * upper) @ flows.low.below[mine] / flows.velocity[row]), 1.0)


def _in_any_pass(standing: Standing, points: Truths) -> Truths:
    traversed = standing.observed.traversed
    return points if traversed is None else np.asarray(points.reshape(traversed.passes, -1).any(axis=0))


def _told(standing: Standing, points: Truths) -> str:
    """Which points: "2 of 12 points (line 1 point 2, line 2 point 6) are", "the indication is"."""
    which = _in_any_pass(standing, points)
    if which.size == 1:
        return "the indication is"
    traversed = standing.observed.traversed
    if traversed is None:
        names, kind = [str(place + 1) for place in np.flatnonzero(which)], "observations"
    else:
        places = traversed.places(section_of(standing.outlet))
        names = [f"line {places[place].line} point {places[place].point}" for place in np.flatnonzero(which)]
        kind = "points"
    count = len(names)
    more = f" and {count - _NAMED_AT_MOST} more" if count > _NAMED_AT_MOST else ""
    return f"{count} of {which.size} {kind} ({', '.join(names[:_NAMED_AT_MOST])}{more}) {'is' if count == 1 else 'are'}"
