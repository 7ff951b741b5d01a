"""GUM 5.2.2 applied to ten outlets measured with one instrument: what they share does not average out.

Source: reference_data/ten_outlets, class D: illustrative inputs, results computed independently.
"""

import numpy as np
import pytest

from calib.uncertainty.propagation import combine_totals, covariance
from tests.contributions import contribution
from tests.reference import agrees, numbers, printed

STATED = printed("ten_outlets", "stated")
FLOW = numbers("ten_outlets", "flows")[0]
SHARED, OWN = np.zeros(10, dtype=int), np.arange(10)
CASES = [
    (SHARED, OWN, "u(Q)/Q"),
    (OWN, OWN, "u(Q)/Q were all independent"),
    (SHARED, SHARED, "u(Q)/Q were all shared"),
]


def budget(common, own):
    return [
        contribution(float(STATED["u common"]) * FLOW, common),
        contribution(float(STATED["u own"]) * FLOW, own),
    ]


def test_the_total_flow():
    assert agrees(FLOW.sum(), STATED["Q"])


@pytest.mark.parametrize(("common", "own", "symbol"), CASES)
def test_relative_uncertainty_of_the_total(common, own, symbol):
    total = combine_totals(budget(common, own), np.zeros(10, dtype=int), np.ones(10), 1)
    assert agrees(100 * total.standard_uncertainty[0] / FLOW.sum(), STATED[symbol])


@pytest.mark.parametrize(("common", "own", "symbol"), CASES)
def test_the_covariance_matrix_says_the_same(common, own, symbol):
    assert agrees(100 * np.sqrt(covariance(budget(common, own)).sum()) / FLOW.sum(), STATED[symbol])
