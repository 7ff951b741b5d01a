"""JCGM 100:2008 (GUM), 4.3.4 EXAMPLE: a resistor whose certificate states an interval of 99 % confidence.

Source: reference_data/gum_small, class C: from memory, recomputed.
"""

import math

from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.estimate import from_expanded
from tests.reference import agrees, printed

EXAMPLE = printed("gum_small", "clause_4_3_4")


def test_the_standard_uncertainty_follows_from_the_normal_distribution():
    u = from_expanded(float(EXAMPLE["U"]), float(coverage_factor(math.inf, float(EXAMPLE["p"]))))  # [uohm]
    assert agrees(u, EXAMPLE["u"])
    assert agrees(1e-6 * u / float(EXAMPLE["R"]), EXAMPLE["u/R"])
    assert agrees((1e-6 * u) ** 2, EXAMPLE["u2"])
