"""Rounding and statements (JCGM 100:2008, 7.2; EA-4/02 M:2013, 6.3). Expected texts are worked by hand."""

import math
from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import CalibError
from calib.uncertainty.statement import plain, round_result, round_uncertainty, statement

TWO_DIGITS = [
    (0.0, "0"),
    (9.96, "10"),
    (9.94, "9.9"),
    (0.00995, "0.010"),
    (0.00994, "0.0099"),
    (1234567, "1200000"),
    (99.5, "100"),
    (0.1, "0.10"),
    (23.4, "23"),
    (0.285, "0.28"),  # ties go to the even digit
    (0.275, "0.28"),
    (0.125, "0.12"),
    (105.0, "100"),  # a tie that loses 4.8 %, which is allowed
    (1e-7, "0.00000010"),
]

# One digit: where the nearest loses more than 5 %, up instead.
ONE_DIGIT = [
    (0.104, "0.1"),  # loses 3.8 %
    (0.105, "0.1"),  # loses 4.8 %
    (0.1052, "0.1"),  # loses 4.94 %
    (0.1053, "0.2"),  # would lose 5.03 %
    (0.14, "0.2"),  # would lose 29 %
    (0.21, "0.2"),  # loses 4.8 %
    (0.22, "0.3"),  # would lose 9.1 %
    (0.85, "0.9"),  # a tie that would lose 5.9 %
    (0.65, "0.7"),  # a tie that would lose 7.7 %
    (0.75, "0.8"),
    (0.95, "1"),
    (9.96, "10"),
    (1234567, "2000000"),
]

UP = [(10.47, "11"), (10.0, "10"), (9.91, "10"), (0.0991, "0.10"), (28.05, "29"), (0.0, "0")]


@pytest.mark.parametrize(("uncertainty", "text"), TWO_DIGITS)
def test_an_uncertainty_is_rounded_to_two_significant_digits(uncertainty, text):
    assert plain(round_uncertainty(uncertainty)) == text


@pytest.mark.parametrize(("uncertainty", "text"), ONE_DIGIT)
def test_one_digit_is_rounded_up_where_the_nearest_would_lose_more_than_5_percent(uncertainty, text):
    assert plain(round_uncertainty(uncertainty, digits=1)) == text


def test_the_nearest_is_taken_where_it_loses_just_the_largest_loss(monkeypatch):
    # 1.25 becomes 1.2 and loses 4 %, to the bit; of 5 % no decimal number of a few digits loses just that.
    monkeypatch.setattr("calib.uncertainty.statement.LARGEST_LOSS", Decimal("0.04"))
    assert plain(round_uncertainty(1.25)) == "1.2"


@pytest.mark.parametrize(("uncertainty", "text"), UP)
def test_an_uncertainty_may_be_rounded_up(uncertainty, text):
    assert plain(round_uncertainty(uncertainty, rounding="up")) == text


@pytest.mark.parametrize(
    ("value", "uncertainty", "text"),
    [
        (412.4, 23.1, "412 ± 23"),
        (10.05762, 0.027, "10.058 ± 0.027"),
        (12.0, 0.00995, "12.000 ± 0.010"),
        (1234567.0, 45678.0, "1235000 ± 46000"),
        (0.125, 0.1, "0.12 ± 0.10"),  # ties go to the even digit
        (0.135, 0.1, "0.14 ± 0.10"),
        (-0.125, 0.1, "-0.12 ± 0.10"),
        (-3.456, 0.25, "-3.46 ± 0.25"),
        (5.0, 9.96, "5 ± 10"),
        (3.0, 1234.0, "0 ± 1200"),
        (1e20, 1e-6, "100000000000000000000.0000000 ± 0.0000010"),
        (1.5e300, 1e-9, f"15{'0' * 299}.0000000000 ± 0.0000000010"),
        (0.30000000000000004, 0.01, "0.300 ± 0.010"),
        (2.5, 0.0, "2.5 ± 0"),
    ],
)
def test_a_value_is_rounded_to_the_place_of_its_uncertainty(value, uncertainty, text):
    assert str(round_result(value, uncertainty)) == text


@pytest.mark.parametrize("value", [-0.001, -0.0])
def test_a_value_that_rounds_to_nothing_bears_no_sign(value):
    assert str(round_result(value, 0.1)) == "0.00 ± 0.10"


def test_one_digit_is_kept_in_the_value_as_well():
    assert str(round_result(1.04, 0.22, digits=1)) == "1.0 ± 0.3"


@pytest.mark.parametrize("wrong", [-0.1, math.nan, math.inf])
def test_an_uncertainty_that_is_no_uncertainty_is_refused_with_its_number(wrong):
    with pytest.raises(CalibError, match=str(wrong)):
        round_uncertainty(wrong)


@pytest.mark.parametrize("wrong", [math.nan, math.inf, -math.inf])
def test_a_value_that_is_no_number_is_refused(wrong):
    with pytest.raises(CalibError):
        round_result(wrong, 0.1)


def test_the_widest_span_of_floats_can_be_written():
    assert round_result(1.7e308, 5e-324).value == Decimal("1.7e308")


positive = st.floats(1e-12, 1e12)


@given(positive, st.integers(1, 4))
def test_rounding_an_uncertainty_never_loses_more_than_5_percent(uncertainty, digits):
    assert float(round_uncertainty(uncertainty, digits)) >= 0.95 * uncertainty * (1 - 1e-12)


@given(positive, st.integers(1, 4))
def test_a_rounded_uncertainty_has_its_significant_digits(uncertainty, digits):
    assert len(round_uncertainty(uncertainty, digits).as_tuple().digits) == digits


@given(positive)
def test_rounding_up_never_lowers_an_uncertainty(uncertainty):
    assert round_uncertainty(uncertainty, rounding="up") >= Decimal(repr(uncertainty))


@given(st.floats(-1e9, 1e9), positive)
def test_a_value_moves_by_no_more_than_half_the_last_place_of_its_uncertainty(value, uncertainty):
    rounded = round_result(value, uncertainty)
    place = Decimal(1).scaleb(rounded.uncertainty.as_tuple().exponent)
    assert rounded.value.as_tuple().exponent == rounded.uncertainty.as_tuple().exponent
    assert abs(rounded.value - Decimal(repr(value))) <= place / 2


@given(positive)
def test_rounding_twice_changes_nothing(uncertainty):
    once = round_uncertainty(uncertainty)
    assert round_uncertainty(float(once)) == once


def test_a_result_is_stated_with_unit_and_coverage_factor():
    # Source: GUM 7.2.4 and ILAC-P14:09/2020, 5.3, from memory: the form of the statement.
    assert statement(412.4, 23.1, "m3/h", 2.0) == "(412 ± 23) m3/h, k = 2.00"


def test_no_exponent_is_written():
    assert plain(Decimal("1.2E+3")) == "1200"
