"""Validation of the law of propagation by the Monte Carlo method (JCGM 101:2008, 8). Expected values are worked by hand."""

import pytest

from calib.uncertainty.distributions import Normal
from calib.uncertainty.monte_carlo import CoverageInterval, propagate_distributions
from calib.uncertainty.validation import check_interval, validate_law


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


@pytest.mark.parametrize("interval", [CoverageInterval(8.25, 12.0), CoverageInterval(8.0, 12.25)])
def test_an_end_just_delta_away_validates_the_law(interval):
    assert validate_law(10.0, 1.0, 2.0, interval, tolerance=0.25).validated


def test_the_law_is_validated_for_a_sum_and_not_for_a_square():
    # u = 5 and 1 make sqrt(26); the square of N(1, 1) has u = 2 by the law of first order and a skew distribution.
    inputs = [Normal(0.0, 5.0), Normal(1.0, 1.0)]
    total = propagate_distributions(lambda a, b: a + b, inputs, seed=8, tolerance_fraction=0.2)
    square = propagate_distributions(lambda b: b * b, inputs[1:], seed=8, tolerance_fraction=0.2)
    assert total.stabilised
    assert validate_law(1.0, 26**0.5, 2 * 26**0.5, total.symmetric_interval).validated
    assert not validate_law(1.0, 2.0, 4.0, square.symmetric_interval).validated


@pytest.mark.parametrize(
    ("drawn", "low", "high", "longer", "above", "stands"),
    [
        ((8.0, 12.0), 0.0, 0.0, 0.0, 0.0, True),
        ((7.92, 12.08), -0.04, 0.04, 0.04, 0.0, True),  # longer by 4 %
        ((8.06, 12.12), 0.03, 0.06, 0.015, 0.045, False),  # one end alone is too far off
        ((7.88, 11.98), -0.06, -0.01, 0.025, -0.035, False),
        ((8.4, 11.6), 0.2, -0.2, -0.2, 0.0, False),  # U is larger than needed
        ((7.896, 12.0), -0.052, 0.0, 0.026, -0.026, False),
    ],
)
def test_a_stated_interval_stands_while_neither_end_is_off_by_more_than_5_percent_of_u(
    drawn, low, high, longer, above, stands
):
    checked = check_interval(CoverageInterval(8.0, 12.0), CoverageInterval(*drawn))
    assert (checked.low, checked.high) == pytest.approx((low, high))
    assert (checked.longer, checked.above) == pytest.approx((longer, above))
    assert checked.stands == stands


@pytest.mark.parametrize("drawn", [CoverageInterval(-21.0, 20.0), CoverageInterval(-20.0, 19.0)])
def test_an_end_that_is_off_by_just_5_percent_of_u_lets_the_interval_stand(drawn):
    # 1/20 is the binary float nearest to 0.05.
    assert check_interval(CoverageInterval(-20.0, 20.0), drawn).stands
