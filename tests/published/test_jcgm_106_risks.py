"""JCGM 106:2012, 9.5: global risks of a process of 1500 ohm resistors, with and without a guard band. Unit: ohm.

Source: reference_data/jcgm_106_risks. Inputs class C: from memory. Risks class D: the document's own are not recalled; these are
an independent computation by quadrature. Tolerance, against half a unit of the last digit elsewhere: 1e-12 of probability, since
1500 + 0.2 as a binary float misses 1500.2 by up to 1e-13.
"""

import numpy as np
import pytest

from calib.confirmation.conformity import ToleranceIntervals
from calib.confirmation.risk import capability_index, global_risks
from tests.reference import printed, rows

GIVEN = {symbol: float(text) for symbol, text in printed("jcgm_106_risks", "process").items()}
LIMITS = GIVEN["nominal"] - GIVEN["tolerance"], GIVEN["nominal"] + GIVEN["tolerance"]
ROWS = rows("jcgm_106_risks", "risks")


def risks(guard):
    acceptance = LIMITS[0] + guard, LIMITS[1] - guard
    return global_risks(GIVEN["nominal"], GIVEN["u0"], LIMITS, acceptance, GIVEN["um"])


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["rule"])
@pytest.mark.parametrize("risk", ["consumer", "producer", "conforming"])
def test_the_risks_of_the_resistors(row, risk):
    assert getattr(risks(float(row["w"])), risk) == pytest.approx(float(row[risk]), rel=0, abs=1e-12)


def test_a_guard_band_trades_the_consumers_risk_for_the_producers():
    plain, guarded = (risks(float(row["w"])) for row in ROWS)
    assert guarded.consumer < plain.consumer
    assert guarded.producer > plain.producer


def test_the_global_risk_is_not_the_share_of_bad_ones_among_the_accepted():
    plain = risks(0.0)
    assert plain.consumer / plain.accepted == pytest.approx(0.0214, abs=5e-5)
    assert plain.consumer == pytest.approx(0.0189, abs=5e-5)


def test_the_measurement_capability_index_of_the_resistors():
    # 7.6.3: 0.4 ohm over four times 0.04 ohm.
    interval = ToleranceIntervals(np.array([LIMITS[0]]), np.array([LIMITS[1]]))
    assert capability_index(interval, GIVEN["um"]) == pytest.approx([2.5])
