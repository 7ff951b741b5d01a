"""Whether an instrument was found in order, and who relied on it since it last was.

Sources: ISO/IEC 17025:2017, 6.4.9 and 7.10 (from memory); JCGM 106, 8.2 for simple acceptance. Expected values by hand.
"""

from datetime import date

import numpy as np
import pytest

from calib.confirmation.acceptance import ComparedErrors
from calib.confirmation.as_found import judge_as_found
from calib.confirmation.in_order import last_in_order, later_calibrations, relied_on_since
from calib.confirmation.interval import CalibrationOnRecord, InstrumentOnRecord


def judged(error, limit, expanded):
    found = judge_as_found(ComparedErrors(*(np.array([one]) for one in (error, expanded / 2, 2.0, limit))))
    return bool(found.beyond[0]), bool(found.near[0])


@pytest.mark.parametrize(
    ("error", "limit", "expanded", "beyond", "near"),
    [
        (0.02, 0.05, 0.01, False, False),
        (-0.02, 0.05, 0.01, False, False),
        (0.045, 0.05, 0.01, False, True),
        (-0.06, 0.05, 0.01, True, True),
        (0.07, 0.05, 0.01, True, False),
        (0.04, 0.05, 0.01, False, True),  # U away from it: still within
        (1.05 - 1.00, 0.05, 0.01, False, True),  # on the limit, as floats it lies beyond
        (2.0, 0.0, 2.0, True, True),  # U away from a limit of 0, to the bit
        (49_899.999_98, 50_000.0, 100.0, False, True),  # U and 4e-10 of the limit away
        (49_899.999_9, 50_000.0, 100.0, False, False),  # U and 2e-9 of the limit
    ],
)
def test_an_error_is_beyond_its_limit_or_not_and_near_it_or_not(error, limit, expanded, beyond, near):
    assert judged(error, limit, expanded) == (beyond, near)


def calibration(number, calibrated, accepted=None):
    accepted_on = None if accepted is None else date.fromisoformat(accepted)
    return CalibrationOnRecord(
        number, f"C-{number}", "Lab", date.fromisoformat(calibrated), accepted_on, None, 0.0, 1.0, "0 to 1 m/s"
    )


FIRST = calibration(1, "2024-01-10", "2024-01-20")
SECOND = calibration(2, "2025-01-10", "2025-01-20")
NEVER_ACCEPTED = calibration(3, "2025-06-10")
FAILING = calibration(4, "2026-01-10", "2026-01-20")
INSTRUMENT = InstrumentOnRecord("VA-1", 12, None, (FAILING, FIRST, SECOND, NEVER_ACCEPTED))


def test_the_last_in_order_is_the_latest_accepted_before():
    assert last_in_order(INSTRUMENT, 4) is SECOND
    assert last_in_order(INSTRUMENT, 3) is SECOND
    assert last_in_order(INSTRUMENT, 2) is FIRST


def test_the_first_calibration_has_none_before():
    assert last_in_order(INSTRUMENT, 1) is None


def test_those_after_a_calibration_may_have_it_before_them():
    assert set(later_calibrations(INSTRUMENT, 2)) == {3, 4}
    assert later_calibrations(INSTRUMENT, 4) == ()


def test_who_used_the_calibration_in_order_relied_on_it():
    assert relied_on_since(SECOND, date(2025, 3, 1), SECOND)
    assert relied_on_since(SECOND, date(2025, 1, 9), SECOND)  # whatever day a record says
    assert relied_on_since(SECOND, date(2026, 1, 15), SECOND)  # the failing one had not been accepted yet


def test_who_used_an_earlier_one_while_it_waited_did_too():
    assert relied_on_since(FIRST, date(2025, 1, 15), SECOND)
    assert relied_on_since(FIRST, date(2025, 1, 10), SECOND)


def test_who_used_an_earlier_one_before_did_not():
    assert not relied_on_since(FIRST, date(2025, 1, 9), SECOND)


def test_who_used_the_later_one_did_not():
    assert not relied_on_since(FAILING, date(2026, 2, 1), SECOND)
