"""JCGM 100:2008 (GUM), Table E.1: how uncertain the standard deviation of n observations is (class C: from memory, recomputed)."""

import pytest

from calib.errors import CalibError
from calib.uncertainty.estimate import relative_uncertainty_of_s, resolution


@pytest.mark.parametrize(("n", "percent"), [(2, 76), (3, 52), (4, 42), (5, 36), (10, 24), (20, 16), (30, 13), (50, 10)])
def test_the_standard_deviation_of_few_observations_is_uncertain_itself(n, percent):
    assert round(100 * relative_uncertainty_of_s(n)) == percent


def test_one_observation_has_none():
    with pytest.raises(CalibError, match="1 observation"):
        relative_uncertainty_of_s(1)


def test_hysteresis_of_unknown_direction_is_evaluated_as_a_step():
    # GUM F.2.2.2: indications that may differ by dx either way: u = 0.29 dx (class C).
    assert round(resolution(1.0), 2) == 0.29
