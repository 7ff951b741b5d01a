"""ISO/TS 28037:2010, 6.3: the 95 % quantiles of chi-squared by which a model is validated.

Source: reference_data/chi_squared_95, class A. The probability 0.05 must lie between those of the printed quantile
plus and minus half a unit of its last digit.
"""

from dataclasses import replace

import numpy as np
import pytest

from calib.curves.regression import weighted
from tests.reference import bounds, rows

ANY = weighted(np.arange(3.0), np.arange(3.0), np.ones(3), 0)


def probability(degrees_of_freedom, chi_squared):
    return replace(ANY, degrees_of_freedom=degrees_of_freedom, chi_squared=chi_squared).probability


@pytest.mark.parametrize("row", rows("chi_squared_95", "table"), ids=lambda row: f"nu={row['nu']}")
def test_the_printed_quantile_is_exceeded_in_5_percent_of_cases(row):
    low, high = bounds(row["quantile"])
    assert probability(int(row["nu"]), high) < 0.05 < probability(int(row["nu"]), low)
