"""JCGM 100:2008 (GUM), F.2.2.1: the resolution of a digital indication.

Source: reference_data/gum_small, class C: from memory, recomputed.
"""

from calib.uncertainty.estimate import resolution
from tests.reference import agrees, printed


def test_a_digital_step_has_a_standard_uncertainty_of_0_29_steps():
    example = printed("gum_small", "clause_f_2_2_1")
    assert agrees(resolution(float(example["step"])), example["u"])
