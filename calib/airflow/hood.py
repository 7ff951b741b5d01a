"""Back-pressure of a flow hood: the flow without the hood, from two readings with different resistances.

An outlet is fed from a plenum at a constant pressure over resistances in series, each with a pressure loss proportional to q^2.
Then 1/q^2 is linear in the resistance of the hood. With q_1 at the hood's own resistance and q_2 at r times it,

    1/q_0^2 = (r/q_1^2 - 1/q_2^2)/(r - 1)

is the flow with no hood at all.

Limits of the model: the plenum's pressure stays when one outlet is throttled, every loss goes with the square of the flow, and r is
known for the hood as it stands on this outlet. It is ideal: real hoods that compensate use functions fitted by their makers.
Source: own derivation.
"""

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats, Truths
from calib.errors import CalibError


def _first(wrong: Truths, *values: Floats) -> tuple[float, ...] | None:
    """The values at the first place that is wrong, or None."""
    if not np.any(wrong):
        return None
    place = int(np.flatnonzero(wrong)[0])
    return tuple(float(value.flat[place]) for value in values)


def _inverse_square(open_flow: ArrayLike, throttled_flow: ArrayLike, resistance_ratio: ArrayLike) -> tuple[Floats, ...]:
    """q_1, q_2, r and 1/q_0^2; raises CalibError for what the model cannot describe."""
    given = (np.asarray(quantity, dtype=float) for quantity in (open_flow, throttled_flow, resistance_ratio))
    q_1, q_2, r = np.broadcast_arrays(*given)
    if bad := _first(~((q_1 > 0) & (q_2 > 0)), q_1, q_2):
        raise CalibError(f"flows {bad[0]:g} and {bad[1]:g} m3/s through the hood: both must be above 0")
    if bad := _first(~(r > 1), r):
        raise CalibError(
            f"resistance ratio {bad[0]:g}: the throttled hood must have the higher resistance, a ratio above 1"
        )
    if bad := _first(q_2 > q_1, q_1, q_2):
        raise CalibError(
            f"throttled flow {bad[1]:g} m3/s above the open flow {bad[0]:g} m3/s: exchange them or measure again"
        )
    bracket = (r / q_1**2 - 1.0 / q_2**2) / (r - 1.0)
    if bad := _first(~(bracket > 0), q_1, q_2, r):
        said = f"throttling from {bad[0]:g} to {bad[1]:g} m3/s is more than a resistance ratio of {bad[2]:g} can do"
        raise CalibError(f"{said} at a constant plenum pressure: measure again")
    return q_1, q_2, r, np.asarray(bracket)


def unthrottled_flow(open_flow: ArrayLike, throttled_flow: ArrayLike, resistance_ratio: ArrayLike) -> Floats:
    """Flow without the hood q_0 = [(r/q_1^2 - 1/q_2^2)/(r - 1)]^(-1/2) [m3/s].

    From the flow q_1 with the hood as it is, q_2 with its resistance r times as high, both [m3/s], and r [1]. Floats or arrays that
    broadcast. Raises CalibError for a flow not above 0, r <= 1, q_2 > q_1, and a q_2 lower than the ratio can bring about.
    """
    *_, bracket = _inverse_square(open_flow, throttled_flow, resistance_ratio)
    return np.asarray(1.0 / np.sqrt(bracket))


def unthrottled_sensitivities(
    open_flow: ArrayLike, throttled_flow: ArrayLike, resistance_ratio: ArrayLike
) -> tuple[Floats, Floats, Floats]:
    """Sensitivity coefficients dq_0/dq_1 [1], dq_0/dq_2 [1] and dq_0/dr [m3/s] of `unthrottled_flow`.

        dq_0/dq_1 = r/(r-1) (q_0/q_1)^3     dq_0/dq_2 = -(q_0/q_2)^3/(r-1)     dq_0/dr = q_0^3 (1/q_1^2 - 1/q_2^2)/[2 (r-1)^2]

    The first exceeds 1 and the second is negative: what the correction adds to the uncertainty of a reading. Errors as there.
    """
    q_1, q_2, r, bracket = _inverse_square(open_flow, throttled_flow, resistance_ratio)
    q_0 = 1.0 / np.sqrt(bracket)
    by_ratio = 0.5 * q_0**3 * (1.0 / q_1**2 - 1.0 / q_2**2) / (r - 1.0) ** 2
    return (
        np.asarray(r / (r - 1.0) * (q_0 / q_1) ** 3),
        np.asarray(-((q_0 / q_2) ** 3) / (r - 1.0)),
        np.asarray(by_ratio),
    )
