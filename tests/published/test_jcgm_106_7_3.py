"""JCGM 106:2012, 7.3.2 examples 1 and 2, and 7.3.3 Table 1: probability of conformity with one tolerance limit.

Source: reference_data/jcgm_106, class C: from memory, recomputed.
"""

import math

import numpy as np
import pytest

from calib.confirmation.conformity import ToleranceIntervals, probability_of_conformity
from tests.reference import agrees, bounds, rows

OTHER = {"upper": ("lower", -math.inf), "lower": ("upper", math.inf)}


def probability(value, u, limit, side="upper"):
    absent, infinite = OTHER[side]
    interval = ToleranceIntervals(**{side: np.array([limit]), absent: np.array([infinite])})
    return probability_of_conformity(np.array([value]), np.array([u]), interval)[0]


@pytest.mark.parametrize("row", rows("jcgm_106", "clause_7_3_2"), ids=lambda row: row["example"])
def test_the_examples_with_a_single_limit(row):
    found = probability(float(row["estimate"]), float(row["u"]), float(row["limit"]), row["side"])
    assert agrees(found, row["printed pc"])


@pytest.mark.parametrize("row", rows("jcgm_106", "table_1"), ids=lambda row: row["pc"])
def test_the_probability_lies_between_those_of_the_printed_z_plus_and_minus_half_a_unit(row):
    low, high = bounds(row["z"])
    assert probability(-low, 1.0, 0.0) < float(row["pc"]) < probability(-high, 1.0, 0.0)
