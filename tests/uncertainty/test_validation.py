"""Validation of the law of propagation by the Monte Carlo method (JCGM 101:2008, 8). Expected values are worked by hand."""

import pytest

from calib.uncertainty.distributions import Normal
from calib.uncertainty.monte_carlo import CoverageInterval, propagate_distributions
from calib.uncertainty.validation import validate_law


def test_the_law_is_validated_where_both_ends_lie_within_delta():
    # u = 1.0 to two digits: delta = 0.05.
    checked = validate_law(10.0, 1.0, 2.0, CoverageInterval(8.03, 11.96))
    assert (checked.d_low, checked.d_high) == pytest.approx((0.03, 0.04))
    assert checked.delta == 0.05
    assert checked.validated


@pytest.mark.parametrize("interval", [CoverageInterval(8.06, 12.0), CoverageInterval(8.0, 12.06)])
def test_one_end_beyond_delta_is_enough_to_refuse_the_law(interval):
    assert not validate_law(10.0, 1.0, 2.0, interval).validated
    assert validate_law(10.0, 1.0, 2.0, interval, significant_digits=1).validated


def test_the_law_is_validated_for_a_sum_and_not_for_a_square():
    # u = 5 and 1 make sqrt(26); the square of N(1, 1) has u = 2 by the law of first order and a skew distribution.
    inputs = [Normal(0.0, 5.0), Normal(1.0, 1.0)]
    total = propagate_distributions(lambda a, b: a + b, inputs, seed=8, tolerance_fraction=0.2)
    square = propagate_distributions(lambda b: b * b, inputs[1:], seed=8, tolerance_fraction=0.2)
    assert total.stabilised
    assert validate_law(1.0, 26**0.5, 2 * 26**0.5, total.symmetric_interval).validated
    assert not validate_law(1.0, 2.0, 4.0, square.symmetric_interval).validated
