"""How far two results are correlated (JCGM 100:2008, 5.2.2, equation 14): by hand, from what both share and what each has."""

from dataclasses import replace

import numpy as np
import pytest

from calib.uncertainty.correlation import correlations_of_results, influences_shared
from calib.uncertainty.propagation import Contribution
from calib.uncertainty.sharing import common, independent, not_known, not_known_of_a_change
from tests.uncertainty.test_sharing import shared

PAIR = [(0, 1)]


def own(*u):
    """An error of each result by itself."""
    size = len(u)
    parts = np.array(u, dtype=float)[:, np.newaxis]
    return Contribution("own", np.zeros(size, dtype=bool), parts, np.arange(size), np.full(size, np.inf))


@pytest.mark.parametrize(
    ("terms", "rule", "low", "high"),
    [
        ([3, 3], common, 0.36, 0.36),  # 3 * 3 of 5 * 5
        ([3, -3], common, -0.36, -0.36),
        ([3, 3], independent, 0, 0),
        ([3, 3], not_known, 0, 0.36),
        ([3, 3], not_known_of_a_change, -0.36, 0.36),
    ],
)
def test_r_is_what_both_share_of_what_each_has(terms, rule, low, high):
    found = correlations_of_results([shared(terms, rule), own(4, 4)], PAIR)
    assert (found.low[0], found.high[0]) == (pytest.approx(low, abs=1e-12), pytest.approx(high, abs=1e-12))


def test_results_that_are_one_error_go_wholly_together_and_those_of_two_groups_not_at_all():
    found = correlations_of_results([shared([2, 5, 1], common, group=[0, 0, 1])], [(0, 1), (1, 2), (2, 0)])
    assert found.low == pytest.approx([1, 0, 0], abs=1e-12)
    assert found.high == pytest.approx([1, 0, 0], abs=1e-12)


def test_of_results_that_are_one_error_r_is_1_to_the_bit_and_no_bit_beyond():
    """Terms of which rounding makes a little more than 1 or -1 of some."""
    terms = np.linspace(0.1, 1.0, 40) * np.tile([1, -1], 20)
    pairs = [(first, second) for first in range(40) for second in range(first + 1, 40)]
    found = correlations_of_results([shared(terms, common)], pairs)
    assert [(r.min(), r.max()) for r in (found.low, found.high)] == [(-1.0, 1.0)] * 2
    assert np.abs(found.low) == pytest.approx(1.0, abs=1e-12)


def test_every_pair_of_a_matrix_is_that_of_the_pair_alone():
    contributions = [shared([3, 2, -1, 4], not_known), shared([1, 2, 3, 4], common), own(4, 3, 2, 1)]
    pairs = [(first, second) for first in range(4) for second in range(first + 1, 4)]
    found = correlations_of_results(contributions, pairs)
    for place, pair in enumerate(pairs):
        alone = correlations_of_results(contributions, [pair])
        assert (found.low[place], found.high[place]) == (alone.low[0], alone.high[0])


def test_of_a_result_without_uncertainty_none_is_told():
    found = correlations_of_results([shared([0, 3], common), own(0, 4)], PAIR)
    assert np.isnan([found.low[0], found.high[0]]).all()


def test_what_both_share_is_named():
    contributions = [shared([3, 3, 0], common), own(4, 4, 4)]
    assert influences_shared(contributions, (0, 1)) == ["influence"]
    assert influences_shared(contributions, (0, 2)) == []


def test_results_of_no_group_share_nothing():
    """Of the group -1 each result is by itself."""
    contribution = shared([3, 3], common)
    (share,) = contribution.shared
    alone = replace(contribution, shares=(replace(share, group=np.full(2, -1)),))
    assert influences_shared([alone], (0, 1)) == []
