"""JCGM 100:2008 (GUM), 4.3.7 EXAMPLE 1: an expansion coefficient known to lie between two limits.

Source: reference_data/gum_small, class C: from memory, recomputed.
"""

from calib.uncertainty.estimate import rectangular
from tests.reference import agrees, printed

EXAMPLE = printed("gum_small", "clause_4_3_7")


def test_limits_of_a_rectangular_distribution():
    u = rectangular(float(EXAMPLE["a"]))
    assert agrees(u, EXAMPLE["u"])
    assert agrees(u**2, EXAMPLE["u2"])
