"""Reliability from counts: e-Handbook 7.2.4.1 (class C), and rates at known times (class D).

No published example of counts of instruments in tolerance was found: tests/worked_cases/counts_in_tolerance has invented ones,
and an independent computation of their rate.
"""

import math

import pytest

from calib.confirmation.reliability import FoundInterval, exponential_rate, highest_rate, interval_for, proportion
from tests.reference import agrees, printed, rows


def test_exact_limits_of_4_in_20_with_90_percent_confidence():
    found, expected = proportion(4, 20, 0.9), printed("interval_reliability", "binomial")
    assert agrees(found.low, expected["lower"])
    # Exception: 0.4010281 is computed by every exact routine; the digits recalled are one unit off in the last place.
    assert agrees(found.high, expected["upper"], units="1")


def test_rate_and_intervals_of_ten_failures_at_known_times():
    expected = printed("interval_reliability", "times")
    rate = 10 / 7771.0
    assert agrees(rate, expected["lambda"])
    assert agrees(interval_for(rate, 0.85), expected["interval_R_0_85"])
    assert agrees(interval_for(rate, 0.95), expected["interval_R_0_95"])
    assert agrees(1.0 / highest_rate(10, 7771.0, 0.9), expected["chi2_lower_MTBF_90"])


COUNTS = [tuple(map(int, row.values())) for row in rows("counts_in_tolerance", "counts")]
FOUND = [
    FoundInterval("", "", float(months), number < in_tolerance)
    for months, calibrated, in_tolerance in COUNTS
    for number in range(calibrated)
]


def test_rate_and_intervals_from_constructed_counts():
    expected = printed("counts_in_tolerance", "exponential")
    rate = exponential_rate(FOUND)
    assert agrees(rate.estimate, expected["lambda per month"])
    assert agrees(rate.months(0.85)[0], expected["interval for 85 %"])
    assert agrees(rate.months(0.90)[0], expected["interval for 90 %"])


@pytest.mark.parametrize("nearby", [0.999, 1.001])
def test_no_rate_nearby_is_likelier(nearby):
    def log_likelihood(rate):
        return sum(
            -rate * one.months if one.in_tolerance else math.log(-math.expm1(-rate * one.months)) for one in FOUND
        )

    best = exponential_rate(FOUND).estimate
    assert agrees(-log_likelihood(best), printed("counts_in_tolerance", "exponential")["negative log likelihood"])
    assert log_likelihood(best) > log_likelihood(nearby * best)
