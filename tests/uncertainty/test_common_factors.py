"""Results as sums of common errors and an error each: their covariances are those of the law of propagation (GUM 5.2.2)."""

import numpy as np
import pytest

from calib.uncertainty.common_factors import common_factors
from calib.uncertainty.propagation import Contribution, covariance
from calib.uncertainty.sharing import Share, independent, not_known, not_known_of_a_change

EVERY = np.arange(4)


def contribution(parts, group, rule=None, pool=None):
    parts, group = np.array(parts, dtype=float).reshape(4, -1), np.array(group)
    shares = () if rule is None else (Share(group, rule, pool=pool),)
    return Contribution("of a test", np.zeros(4, dtype=bool), parts, group, np.full(4, np.inf), shares)


def matrix_of(factors):
    return factors.loadings @ factors.loadings.T + np.diag(factors.own**2)


def test_what_is_common_or_independent_has_the_covariances_of_the_law():
    those = [
        contribution([[1.0, 0.5], [2.0, -0.3], [1.5, 0.2], [0.7, 0.1]], [0, 0, 1, 1]),
        contribution([0.4, 0.6, 0.3, 0.9], [0, 0, 0, 0], independent),
        contribution([0.2, 0.3, 0.1, 0.5], [0, 1, 2, 3]),
    ]
    for answer in (0.0, 1.0):
        assert matrix_of(common_factors(those, EVERY, answer)) == pytest.approx(covariance(those), rel=1e-12)


def test_an_error_that_one_result_bears_is_its_own():
    found = common_factors([contribution([1.0, 2.0, 3.0, 4.0], [0, 1, 2, 3])], EVERY, 1.0)
    assert found.loadings.shape == (4, 0)
    assert found.own == pytest.approx([1.0, 2.0, 3.0, 4.0])


@pytest.mark.parametrize("rule", [not_known, not_known_of_a_change])
def test_what_is_not_known_is_as_whoever_asks_answers(rule):
    those = [contribution([1.0, 2.0, 3.0, 4.0], [0, 0, 0, 0], rule)]
    u = np.array([1.0, 2.0, 3.0, 4.0])
    assert matrix_of(common_factors(those, EVERY, 1.0)) == pytest.approx(np.outer(u, u))
    assert matrix_of(common_factors(those, EVERY, 0.0)) == pytest.approx(np.diag(u**2))
    # A quarter of each variance is common: 0.25 u_i u_j beside u_i^2.
    quarter = matrix_of(common_factors(those, EVERY, 0.25))
    assert quarter == pytest.approx(0.25 * np.outer(u, u) + 0.75 * np.diag(u**2), rel=1e-14)


def test_contributions_of_one_pool_share_their_groups():
    those = [
        contribution([1.0, 2.0, 0.0, 0.0], [0, 0, 0, 0], not_known, "standards"),
        contribution([0.0, 0.0, 3.0, 4.0], [0, 0, 0, 0], not_known, "standards"),
    ]
    u = np.array([1.0, 2.0, 3.0, 4.0])
    assert matrix_of(common_factors(those, EVERY, 1.0)) == pytest.approx(np.outer(u, u))


def test_only_the_results_that_are_asked_for_are_there():
    those = [contribution([1.0, 2.0, 3.0, 4.0], [0, 1, 0, 1])]
    found = common_factors(those, np.array([0, 1, 2]), 1.0)
    assert matrix_of(found) == pytest.approx(np.array([[1.0, 0.0, 3.0], [0.0, 4.0, 0.0], [3.0, 0.0, 9.0]]))
