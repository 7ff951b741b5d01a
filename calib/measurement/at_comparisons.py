"""Where along its calibration a reading bears the error of that calibration: at which comparisons, with what shares.

The error is one unknown e_j at each comparison and runs straight between neighbours (hat functions phi_j): a reading whose points k
have the sensitivities c_k and the indications x_k bears sum_j e_j sum_k c_k phi_j(x_k). With the standard uncertainties u_j at the
comparisons, the share of what it bears at j is

    sum_k |c_k| phi_j(x_k) u_j / sum_j sum_k |c_k| phi_j(x_k) u_j

exact where all c_k have one sign. A reading so keeps its own standard uncertainty, in which the error of its calibration is one
influence, whatever it shares with others.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Floats, Integers
from calib.uncertainty.sharing import AtComparisons


@dataclass(frozen=True)
class Neighbours:
    """The comparisons beside P indications, counted over all calibrations."""

    left: Integers  # (P,) the comparison at or below
    right: Integers  # (P,) the next, or the same at the end
    way: Floats  # (P,) from the left, 0, to the right, 1


def neighbours(indications: Sequence[Floats], calibration: Integers, x: Floats) -> Neighbours:
    """Comparisons beside indications x (P,), each of the calibration with its number (P,).

    `indications` holds those compared by each calibration, rising. Outside them the nearest comparison counts alone.
    """
    left, right = np.zeros(x.size, dtype=np.int64), np.zeros(x.size, dtype=np.int64)
    way = np.zeros(x.size)
    first = 0
    for certificate, nodes in enumerate(indications):
        mine = np.flatnonzero(calibration == certificate)
        place = np.maximum(np.searchsorted(nodes, x[mine], side="right") - 1, 0)
        after = np.minimum(place + 1, nodes.size - 1)
        left[mine], right[mine] = first + place, first + after
        beyond, apart = np.maximum(x[mine] - nodes[place], 0.0), nodes[after] - nodes[place]
        way[mine] = np.divide(beyond, apart, out=np.zeros(mine.size), where=after > place)
        first += nodes.size
    return Neighbours(left, right, way)


def at_comparisons(beside: Neighbours, u: Floats, borne: Floats, reading: Integers | None) -> AtComparisons:
    """Shares of readings at comparisons where the standard uncertainty is `u`, for all comparisons in their order.

    `borne` (P,) is what the error of the calibration at each point does to its reading, sign and all; `reading` (P,) tells to which
    reading a point belongs, None that each reading is one point.
    """
    low, high = (1.0 - beside.way) * u[beside.left], beside.way * u[beside.right]
    both = low + high
    # Where nothing is uncertain at the neighbours, the nearness counts.
    of_right = np.divide(high, both, out=beside.way.copy(), where=both > 0)
    comparison = np.concatenate([beside.left, beside.right])
    share = np.concatenate([1.0 - of_right, of_right])
    if reading is None:
        return AtComparisons(np.tile(np.arange(borne.size), 2), comparison, share)
    result = np.tile(reading, 2)
    return normalised(result, comparison, np.tile(np.abs(borne), 2) * share, share / np.bincount(reading)[result])


def normalised(result: Integers, comparison: Integers, weight: Floats, otherwise: Floats) -> AtComparisons:
    """Shares in proportion to weights, which add to 1 for each result; `otherwise` those of a result whose weights are all 0."""
    whole = np.bincount(result, weight)[result]
    return AtComparisons(result, comparison, np.divide(weight, whole, out=otherwise.copy(), where=whole > 0))
