"""JCGM 100:2008 (GUM), 4.4.3, 4.4.5 and 4.4.6: the same temperature from observations, and from limits alone.

Source: reference_data/gum_small, class C: from memory, recomputed.
"""

import math

import pytest

from calib.uncertainty.estimate import rectangular, triangular, type_a
from tests.reference import agrees, numbers, printed


def test_twenty_observations_of_a_temperature():
    published = printed("gum_small", "clause_4_4_3")
    estimate = type_a(numbers("gum_small", "clause_4_4_3_observations")[0])
    assert agrees(estimate.value, published["mean"])
    assert agrees(estimate.standard_uncertainty * math.sqrt(20), published["s"])
    assert agrees(estimate.standard_uncertainty, published["s(mean)"])
    assert estimate.degrees_of_freedom == 19


@pytest.mark.parametrize(("clause", "evaluate"), [("clause_4_4_5", rectangular), ("clause_4_4_6", triangular)])
def test_limits_of_a_temperature(clause, evaluate):
    published = printed("gum_small", clause)
    assert agrees(evaluate(float(published["a"])), published["u"])
