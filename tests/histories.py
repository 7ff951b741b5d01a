"""Histories of errors for tests: written out, or drawn from a process that is known."""

from datetime import date, timedelta

import numpy as np

from calib.confirmation.history import CalibrationErrors, ErrorPoints

FIRST = date(2020, 1, 15)


def points(errors, indications=(1.0, 10.0), own=0.01, reference=0.02):
    """Errors at indications, with uncertainties that are one for all."""
    x = np.array(indications, dtype=float)
    return ErrorPoints(
        x, np.broadcast_to(np.array(errors, dtype=float), x.shape), *(np.full(x.size, u) for u in (own, reference))
    )


def calibrated(days, found, left=None, laboratory="Laboratory", repaired=False, **said):
    """A calibration some days after the first; adjusted where errors `left` are given."""
    as_found = None if found is None else points(found, **said)
    as_left = as_found if left is None else points(left, **said)
    return CalibrationErrors(FIRST + timedelta(days=days), f"C-{days}", laboratory, as_found, as_left, repaired)


def yearly(*errors, **said):
    """One calibration in 365.25 days (in turn 365 and 366), none adjusted."""
    return [calibrated(round(365.25 * year), error, **said) for year, error in enumerate(errors)]
