"""JCGM 100:2008 (GUM), Table G.1: coverage factors of the normal distribution.

Source: reference_data/gum_small, class C: from memory, recomputed.
"""

import math
from decimal import Decimal

import pytest

from calib.uncertainty.coverage import coverage_factor
from tests.reference import agrees, rows


def factor(percent):
    return coverage_factor(math.inf, float(Decimal(percent) / 100))


@pytest.mark.parametrize("row", rows("gum_small", "table_g1"), ids=lambda row: row["p [%]"])
def test_the_coverage_factor_is_the_printed_one(row):
    assert agrees(factor(row["p [%]"]), row["k"])


@pytest.mark.parametrize(("percent", "k"), [("68.27", 1), ("95.45", 2), ("99.73", 3)])
def test_whole_standard_deviations_are_meant_exactly(percent, k):
    # Closer than half a unit of a digit: these headings stand for exactly 1, 2 and 3 standard deviations.
    assert factor(percent) == pytest.approx(k, rel=1e-14)
