"""JCGM 106:2012, 7.3.3 Table 1 and the example of 8.3.3: the k of a guard band where there is one limit.

Source: reference_data/jcgm_106, class C: from memory, recomputed. Table 1 gives z = (T_U - y)/u for the probability that a quantity
with one limit conforms; a guard band w = z u gives that probability on the acceptance limit. The example rejects a speed above a
limit of 100 km/h, u = 2 % of the speed v, only where it is sure to 99.9 %: v - 100 >= z 0.02 v.
"""

import math

import numpy as np
import pytest

from calib.confirmation.conformity import ToleranceIntervals, guard_bands
from calib.uncertainty.coverage import coverage_factor
from tests.reference import agrees, rows

LIMITS = {"upper": (-math.inf, 1.0), "lower": (1.0, math.inf), "both": (0.0, 1.0)}


def factor(probability, side, rule="guarded", dof=math.inf):
    k = coverage_factor(np.array([dof]), probability)
    lower, upper = (np.array([limit]) for limit in LIMITS[side])
    found = guard_bands(k * 1.0, k, np.array([dof]), ToleranceIntervals(lower, upper), rule, probability)
    assert found.width == pytest.approx(found.factor)  # u = 1
    return found.factor[0]


@pytest.mark.parametrize("row", rows("jcgm_106", "table_1"), ids=lambda row: row["pc"])
@pytest.mark.parametrize("side", ["upper", "lower"])
@pytest.mark.parametrize("rule", ["guarded", "guarded non-binary"])
def test_with_one_limit_k_is_the_printed_z_of_its_probability(row, side, rule):
    assert agrees(factor(float(row["pc"]), side, rule), row["z"])


@pytest.mark.parametrize("row", rows("jcgm_106", "clause_8_3_3"), ids=lambda row: row["example"])
def test_a_speed_is_above_its_limit_beyond_doubt_from_the_printed_speed_on(row):
    z = factor(float(row["confidence"]), "upper")
    assert agrees(float(row["limit"]) / (1.0 - float(row["relative u"]) * z), row["printed acceptance limit"])


def test_with_two_limits_k_is_two_sided():
    """k = 2.00 at 95.45 % (ILAC-P14); one-sided at the same probability 1.69."""
    assert factor(0.9545, "both") == pytest.approx(2.0, abs=5e-5)
    assert factor(0.9545, "upper") == pytest.approx(1.69, abs=5e-3)


def test_iso_14253_1_takes_about_1_65_u_at_95_percent():
    """ISO 14253-1:2017: w = 1.65 u where U = 2 u (from memory: ILAC-G8, r = 0.83)."""
    assert factor(0.95, "lower") == pytest.approx(1.65, abs=0.01)


def test_few_degrees_of_freedom_widen_the_one_sided_k_as_student_s_t_does():
    """GUM Table G.2 of t_95 two-sided at 90 %: 2.015 for 5 degrees of freedom."""
    assert factor(0.95, "upper", dof=5.0) == pytest.approx(2.015, abs=5e-4)


def test_simple_acceptance_has_no_guard_band():
    assert factor(0.95, "upper", "simple") == 0.0
