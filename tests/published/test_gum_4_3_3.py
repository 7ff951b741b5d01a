"""JCGM 100:2008 (GUM), 4.3.3 EXAMPLE: a mass whose certificate states three standard deviations.

Source: reference_data/gum_small, class C: from memory, recomputed.
"""

from calib.uncertainty.estimate import from_expanded
from tests.reference import agrees, printed

EXAMPLE = printed("gum_small", "clause_4_3_3")


def test_the_standard_uncertainty_is_a_third_of_what_is_stated():
    u = from_expanded(float(EXAMPLE["U"]), float(EXAMPLE["k"]))  # [ug]
    assert u == 80.0  # exact: closer than half a unit of the printed 80
    assert agrees(1e-6 * u / float(EXAMPLE["mass"]), EXAMPLE["u/mass"])
    assert agrees((1e-6 * u) ** 2, EXAMPLE["u2"])
