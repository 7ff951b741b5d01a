"""NIST StRD, Linear Least Squares: data sets NoInt1 and NoInt2, lines through zero, certified to 15 digits.

Sources: reference_data/nist_strd_noint1, class C, from memory, recomputed; nist_strd_noint2, class A. Exception: 14 digits
are required, not half a unit of the 15th, since the sums are taken in binary floats.
"""

import pytest

from tests.published.strd_digits import certified, digits, through_zero

ALL = ["NoInt1", "NoInt2"]


@pytest.mark.parametrize("name", ALL)
def test_the_parameter_reaches_14_digits(name):
    assert digits(through_zero(name)[0], certified(name)[0]) >= 14


@pytest.mark.parametrize("name", ALL)
def test_the_standard_deviations_reach_14_digits(name):
    _, deviations, residual = through_zero(name)
    assert digits([*deviations, residual], [*certified(name)[1], certified(name)[2]]) >= 14
