"""ISO/TS 28037:2010, Annex E: a line through points of unknown equal uncertainty, divisor m - 2.

Source: reference_data/iso_ts_28037_annex_e, class D: published data, results computed in exact fractions; the
document's own results were not found. They are written with 15 digits; 12 are asked for, as binary floats round on
the way.
"""

import numpy as np
import pytest

from calib.curves.regression import unweighted
from tests.reference import numbers, printed

COMPUTED = {symbol: float(text) for symbol, text in printed("iso_ts_28037_annex_e", "computed").items()}


def fitted():
    return unweighted(*numbers("iso_ts_28037_annex_e", "data"), 1)


def test_intercept_and_slope():
    coefficients, _ = fitted().in_powers_of_x()
    assert coefficients == pytest.approx([COMPUTED["a"], COMPUTED["b"]], rel=1e-12)


def test_the_residuals_give_the_scatter():
    assert fitted().chi_squared == pytest.approx(COMPUTED["sum of squared residuals"], rel=1e-12)
    assert fitted().degrees_of_freedom == COMPUTED["nu"]


def test_uncertainties_and_covariance_are_scaled_by_the_scatter():
    _, covariance = fitted().in_powers_of_x()
    assert np.sqrt(np.diag(covariance)) == pytest.approx([COMPUTED["u(a)"], COMPUTED["u(b)"]], rel=1e-12)
    assert covariance[0, 1] == pytest.approx(COMPUTED["cov(a,b)"], rel=1e-12)
