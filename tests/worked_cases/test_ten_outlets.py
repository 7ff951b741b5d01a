"""GUM 5.2.2 applied to ten outlets measured with one instrument: what they share does not average out.

Source: tests/worked_cases/ten_outlets, class D: illustrative inputs, results computed independently.
"""

import numpy as np
import pytest

from calib.measurement import flows
from calib.uncertainty.propagation import combine, combine_totals, covariance
from tests.arrays import correction, readings, single
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


# --- the same as readings of one instrument --------------------------------------------------------------------------------------


def ten_readings(**method):
    """Velocities through openings of one square metre: 2.5 % in the certificate's reference part, 3 % in each use of the method."""
    common = float(STATED["u common"])
    curve = correction(nodes=((0.0, 0.0), (1.0, common)))
    return flows(
        readings(*(single(q, **(method or {"method_own": float(STATED["u own"])})) for q in FLOW), curves=[curve])
    )


def test_of_a_method_with_a_single_figure_a_total_takes_it_as_shared():
    found = ten_readings(method=float(STATED["u own"]))
    total = combine_totals(found.contributions, np.zeros(10, dtype=int), np.ones(10), 1)
    assert agrees(100 * total.standard_uncertainty[0] / found.flow.sum(), STATED["u(Q)/Q were all shared"])


def test_ten_readings_with_one_certificate_share_its_reference_part():
    found = ten_readings()
    total = combine_totals(found.contributions, np.zeros(10, dtype=int), np.ones(10), 1)
    assert agrees(found.flow.sum(), STATED["Q"])
    assert agrees(100 * total.standard_uncertainty[0] / found.flow.sum(), STATED["u(Q)/Q"])


def test_each_reading_by_itself_has_both_parts():
    combined = combine(ten_readings().contributions)
    assert combined.standard_uncertainty / FLOW == pytest.approx(np.hypot(0.025, 0.03), rel=1e-12)
