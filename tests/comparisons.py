"""Comparisons of invented calibrations for tests: written out, or drawn."""

import numpy as np
from hypothesis import strategies as st

from calib.curves.choice import Comparisons


def comparisons(indication, correction, u=0.05, d=None):
    """Comparisons from indications and corrections; `u` and `d` are one for all points or one each."""
    x = np.array(indication, dtype=float)
    independent = None if d is None else np.broadcast_to(np.asarray(d, dtype=float), x.shape)
    return Comparisons(x + np.array(correction), x, np.broadcast_to(np.asarray(u, dtype=float), x.shape), independent)


def taken(points, order):
    """The same points in another order, or repeated: `order` holds their numbers."""
    d = points.independent_uncertainty
    return Comparisons(
        points.reference[order],
        points.indication[order],
        points.reference_uncertainty[order],
        None if d is None else d[order],
    )


def times(points, factor):
    """The same points with all numbers multiplied: another unit without offset."""
    d = points.independent_uncertainty
    return Comparisons(
        points.reference * factor,
        points.indication * factor,
        points.reference_uncertainty * factor,
        None if d is None else d * factor,
    )


@st.composite
def certificates(draw, stated=None):
    """Certificate of 3 to 9 points with indications from 0.5 to 20, small corrections, and its own uncertainties."""
    tenths = draw(st.lists(st.integers(5, 200), min_size=3, max_size=9, unique=True))
    size = len(tenths)
    each = [st.lists(st.integers(1, 40), min_size=size, max_size=size) for _ in range(3)]
    correction, u, d = (np.array(draw(one)) / 200 for one in each)
    is_stated = draw(st.booleans()) if stated is None else stated
    return comparisons(np.array(tenths) / 10, correction - 0.1, u, d if is_stated else None)
