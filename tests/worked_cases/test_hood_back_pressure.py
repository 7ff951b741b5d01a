"""Two readings of a hood with different resistances: 1/q^2 linear in the resistance at a constant plenum pressure.

Source: tests/worked_cases/hood_back_pressure, class D: computed from the ideal model without this package.
"""

import pytest

from calib.airflow.hood import unthrottled_flow
from tests.reference import agrees, printed

CASE = printed("hood_back_pressure", "flows")
Q_1, Q_2, R = (float(CASE[symbol]) for symbol in ("q1", "q2", "r"))


def test_the_flow_without_the_hood():
    assert agrees(unthrottled_flow(Q_1, Q_2, R), CASE["q0"])


def test_the_error_of_the_first_reading():
    assert agrees(100 * (Q_1 / unthrottled_flow(Q_1, Q_2, R) - 1), CASE["error of q1"])


def test_the_resistances_behind_the_flows():
    # 100, 105 and 120 s2/m6: the throttled hood has four times the 5 of the open one.
    open_hood, throttled_hood = Q_1**-2, Q_2**-2
    assert open_hood == pytest.approx(105.0, rel=1e-9)
    assert throttled_hood == pytest.approx(120.0, rel=1e-9)


@pytest.mark.parametrize("other", [2.0, 3.0, 3.99, 4.01, 5.0])
def test_no_other_ratio_gives_that_flow(other):
    assert not agrees(unthrottled_flow(Q_1, Q_2, other), CASE["q0"], "1000")
