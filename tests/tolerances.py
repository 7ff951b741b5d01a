"""Tolerance intervals as tests state them: a design and a relative tolerance on both sides."""

import numpy as np

from calib.confirmation.conformity import ToleranceIntervals


def about(design, tolerance):
    """Design * (1 +- tolerance), (n,) each."""
    half_width = np.abs(design) * np.asarray(tolerance)
    return ToleranceIntervals(design - half_width, design + half_width)
