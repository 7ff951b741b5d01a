"""GUM H.5.2: a voltage standard on ten days, five observations a day: F, and the component of variance between days.

Source: reference_data/gum_h5, class C: from memory, recomputed. Exception: F is printed as 2.25, from standard deviations rounded
to 57 and 85 uV; unrounded it is 2.2615.
"""

import numpy as np
import pytest

from calib.uncertainty.components import components_of_variance
from tests.reference import agrees, numbers, printed

VOLT, DEVIATION = numbers("gum_h5", "days")
PUBLISHED = printed("gum_h5", "published")
K = int(PUBLISHED["K"])
# Microvolts above 10 V, so that no digit is lost.
FOUND = components_of_variance(np.round(1e6 * (VOLT - 10.0)), DEVIATION, [K] * 10)


def test_the_mean_of_all_observations():
    assert agrees(10.0 + 1e-6 * FOUND.mean, PUBLISHED["mean"])


def test_the_component_within_a_day():
    assert agrees(FOUND.within, PUBLISHED["s_b"])


def test_the_component_between_days():
    assert agrees(FOUND.between, PUBLISHED["s_B"])


def test_f_and_its_quantile():
    assert agrees(FOUND.f, PUBLISHED["F"], units="1.2")
    assert round(K * 57**2 / 85**2, 2) == float(PUBLISHED["F"])
    assert agrees(FOUND.quantile, PUBLISHED["F 0.95"])
    assert FOUND.differ


def test_the_uncertainty_of_the_mean_of_all():
    assert agrees(FOUND.standard_uncertainty, PUBLISHED["u(mean)"])
    # As if no day differed: all fifty observations pooled.
    pooled = np.sqrt((9 * FOUND.f + 40) / 49 * FOUND.within**2 / 50)
    assert agrees(pooled, PUBLISHED["u(mean) were there no effect"])


@pytest.mark.parametrize(("symbol", "scale"), [("s of the means", K), ("s_a", 1)])
def test_the_two_estimates_of_the_variance(symbol, scale):
    assert agrees(np.sqrt(FOUND.f / scale) * FOUND.within, PUBLISHED[symbol])
