"""Outlet factor and effective area found in the field, from n pairs with a reference flow (a traverse of the duct).

    K_i = q_i/(v_i A)      or      A_k,i = q_i/v_i

q_i is the reference flow [m3/s], v_i the mean velocity measured at the face at the same time [m/s], A the area of the opening [m2];
pairs at several openings of one type have an area each.
Source: common practice, no source; the statistics are those of GUM 4.2.3.
"""

from dataclasses import dataclass

import numpy as np

from calib.arrays import Floats
from calib.errors import CalibError


@dataclass(frozen=True)
class FactorOfPairs:
    """Outlet factor K [1] or effective area A_k [m2] found from n pairs; uncertainties in the same unit."""

    value: float  # mean of the pairs
    each: Floats  # (n,) of each pair
    spread: float  # experimental standard deviation s of one
    standard_uncertainty_of_mean: float  # s/sqrt(n)
    degrees_of_freedom: int  # n - 1


def found_factor(reference_flow: Floats, face_velocity: Floats, area: float | Floats) -> FactorOfPairs:
    """Outlet factor K [1]: mean of K_i = q_i/(v_i A), u = s/sqrt(n), n - 1 degrees of freedom (GUM 4.2.3).

    `reference_flow` (n,) [m3/s], `face_velocity` (n,) [m/s], both above 0, for n >= 2 independent pairs: the traverse and the
    face are measured anew for each. `area` [m2] above 0: of the one opening, or (n,) of that of each pair; an area of
    1 gives the effective area A_k. Raises CalibError otherwise.
    """
    openings = np.asarray(area, dtype=float)
    if openings.shape not in ((), np.shape(face_velocity)):
        raise CalibError(
            f"areas {openings.shape}, face velocities {np.shape(face_velocity)}: give one area, or one of each pair"
        )
    if not np.all((openings > 0) & (openings < np.inf)):
        raise CalibError(f"area {area} m2: it must be finite and above 0")
    return _of_ratios(reference_flow, np.asarray(face_velocity, dtype=float) * openings)


def _of_ratios(flow: Floats, denominator: Floats) -> FactorOfPairs:
    q = np.asarray(flow, dtype=float)
    _check(q, denominator)
    each = q / denominator
    spread = float(np.std(each, ddof=1))
    return FactorOfPairs(float(np.mean(each)), each, spread, spread / float(np.sqrt(each.size)), each.size - 1)


def _check(flow: Floats, denominator: Floats) -> None:
    if flow.ndim != 1 or flow.shape != denominator.shape:
        raise CalibError(
            f"reference flows {flow.shape}, face velocities {denominator.shape}: give one of each for a pair"
        )
    if flow.size < 2:
        raise CalibError(
            f"{flow.size} pair(s): a factor found in the field needs at least 2, since one shows no spread"
        )
    good = (flow > 0) & (denominator > 0) & np.isfinite(flow) & np.isfinite(denominator)
    if not np.all(good):
        raise CalibError(f"pair {int(np.argmin(good)) + 1}: flow and face velocity must be finite and above 0")
