"""JCGM 102:2011, 6.5.3 and 9.2: outputs with an input in common, and regions that hold all of them at once.

Source: reference_data/jcgm_102. Model and factors class C: from memory, the factors recomputed. Joint probabilities class D.
"""

import numpy as np
import pytest

from calib.confirmation.conformity import ToleranceIntervals
from calib.confirmation.joint_conformity import probability_of_all
from calib.uncertainty.common_factors import common_factors
from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.propagation import Contribution, combine, covariance
from calib.uncertainty.sharing import Share, common
from tests.reference import agrees, printed, rows

GIVEN = printed("jcgm_102", "inputs")
FACTORS = {int(row["outputs"]): row["k_q"] for row in rows("jcgm_102", "factors")}
JOINT = {int(row["outputs"]): row["probability"] for row in rows("jcgm_102", "joint")}


def outputs(size):
    """Y_i = X_i + X, X one error of all."""
    every, each = np.zeros(size, dtype=np.int64), np.arange(size)

    def of(name, variance, group, shared):
        parts = np.full((size, 1), float(variance) ** 0.5)
        return Contribution(name, np.zeros(size, dtype=bool), parts, group, np.full(size, np.inf), shared)

    shared = (Share(every, common),)
    return [of("common", GIVEN["u2(x3)"], every, shared), of("own", GIVEN["u2(x1)"], each, ())]


def test_two_outputs_with_an_input_in_common_have_the_printed_uncertainty_and_correlation():
    matrix = covariance(outputs(2))
    u = combine(outputs(2)).standard_uncertainty
    assert all(agrees(each, GIVEN["u(y)"]) for each in u)
    assert agrees(matrix[0, 1] / (u[0] * u[1]), GIVEN["r"])


@pytest.mark.parametrize("size", FACTORS)
def test_the_factor_of_a_rectangular_region_is_that_of_one_output_at_the_probability_divided_by_all(size):
    assert agrees(coverage_factor(np.inf, 1 - 0.05 / size), FACTORS[size])


@pytest.mark.parametrize("size", FACTORS)
def test_all_outputs_lie_within_the_region_with_the_probability_worked_out(size):
    """What a job's flows conform at once by: the common part integrated over, three of its standard errors stated."""
    factors, u = common_factors(outputs(size), np.arange(size), 1.0), 0.2**0.5
    k = np.full(size, float(FACTORS[size]))
    found = probability_of_all(ToleranceIntervals(-k, k), factors.loadings / u, factors.own / u)
    assert found.probability == pytest.approx(float(JOINT[size]), abs=max(found.numerical_error, 1e-6))
    assert found.numerical_error < 1e-3
    assert found.probability >= 0.95 - 3e-4  # factors are rounded; what the outputs share only adds
