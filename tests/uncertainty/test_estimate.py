"""Type A and Type B evaluation (JCGM 100:2008, clause 4), worked by hand or by the statistics module."""

import math
import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from calib.errors import CalibError
from calib.uncertainty.estimate import (
    Estimate,
    arcsine,
    degrees_of_freedom_of,
    from_expanded,
    rectangular,
    relative_uncertainty_of_s,
    resolution,
    triangular,
    type_a,
    type_a_covariance,
    uncertainty_of_mean,
)

observations = st.lists(st.integers(-10_000, 10_000).map(lambda n: n / 64), min_size=2, max_size=20)


def test_four_observations_give_mean_and_standard_uncertainty():
    # Mean 2.5; s^2 = 5/3; u = sqrt(5/3)/2.
    estimate = type_a([1.0, 2.0, 3.0, 4.0])
    assert estimate.value == 2.5
    assert estimate.standard_uncertainty == pytest.approx(math.sqrt(5 / 12))
    assert estimate.degrees_of_freedom == 3


def test_a_large_common_value_costs_no_digits():
    # Deviations from the mean -6, -3, 3, 6: s^2 = 30, whatever is added to all.
    estimate = type_a([1e9 + 4, 1e9 + 7, 1e9 + 13, 1e9 + 16])
    assert estimate.standard_uncertainty == pytest.approx(math.sqrt(30) / 2, rel=1e-12)


def test_equal_observations_have_no_scatter():
    assert type_a([0.25, 0.25, 0.25]).standard_uncertainty == 0.0


@pytest.mark.parametrize("few", [[], [1.0]])
def test_fewer_than_two_observations_are_refused_with_their_number(few):
    with pytest.raises(CalibError, match=rf"^{len(few)} observation"):
        type_a(few)


@given(observations)
def test_a_type_a_evaluation_is_mean_and_standard_deviation_of_the_mean(series):
    estimate = type_a(series)
    assert estimate.value == pytest.approx(statistics.fmean(series), rel=1e-12, abs=1e-12)
    expected = statistics.stdev(series) / math.sqrt(len(series))
    assert estimate.standard_uncertainty == pytest.approx(expected, rel=1e-12, abs=1e-12)
    assert estimate.degrees_of_freedom == len(series) - 1


@given(observations)
def test_the_order_of_observations_does_not_matter(series):
    assert type_a(series[::-1]) == type_a(series)


def test_quantities_observed_together_have_a_covariance():
    # The second is twice the first: variance of the mean 1/3, covariance 2/3, variance 4/3.
    means, covariance = type_a_covariance([[1.0, 2.0, 3.0], [2.0, 4.0, 6.0]])
    assert means == pytest.approx([2.0, 4.0])
    assert covariance == pytest.approx(np.array([[1 / 3, 2 / 3], [2 / 3, 4 / 3]]))


@given(st.lists(st.tuples(*[st.integers(-99, 99)] * 3), min_size=2, max_size=9))
def test_the_diagonal_of_the_covariance_is_that_of_each_quantity_alone(together):
    series = np.array(together, dtype=float).T
    means, covariance = type_a_covariance(series)
    alone = [type_a(one) for one in series]
    assert means == pytest.approx([one.value for one in alone], rel=1e-12, abs=1e-12)
    assert np.diag(covariance) == pytest.approx([one.standard_uncertainty**2 for one in alone], rel=1e-12, abs=1e-12)


def test_one_quantity_has_a_covariance_matrix_of_one_row():
    _, covariance = type_a_covariance([[1.0, 2.0, 3.0]])
    assert covariance.shape == (1, 1)
    assert covariance[0, 0] == pytest.approx(1 / 3)


def test_a_single_simultaneous_observation_is_refused():
    with pytest.raises(CalibError, match="at least 2"):
        type_a_covariance([[1.0], [2.0]])


@pytest.mark.parametrize(
    ("evaluate", "divisor_squared", "clause"),
    [(rectangular, 3, "4.3.7"), (triangular, 6, "4.3.9"), (arcsine, 2, "H.1.3.4"), (resolution, 12, "F.2.2.1")],
)
def test_limits_become_standard_uncertainties(evaluate, divisor_squared, clause):
    assert evaluate(0.6) ** 2 == pytest.approx(0.36 / divisor_squared), clause


def test_a_digital_step_is_a_rectangular_distribution_of_half_a_step():
    assert resolution(0.01) == pytest.approx(rectangular(0.005))


def test_an_expanded_uncertainty_is_divided_by_its_coverage_factor():
    assert from_expanded(0.5, 2.0) == 0.25


@pytest.mark.parametrize(
    ("value", "u", "dof"),
    [
        (math.nan, 0.1, 5.0),
        (math.inf, 0.1, 5.0),
        (1.0, math.nan, 5.0),
        (1.0, math.inf, 5.0),
        (1.0, -0.1, 5.0),
        (1.0, 0.1, 0.0),
        (1.0, 0.1, -1.0),
        (1.0, 0.1, math.nan),
    ],
)
def test_an_estimate_that_makes_no_sense_is_refused(value, u, dof):
    with pytest.raises(CalibError):
        Estimate(value, u, dof)


@pytest.mark.parametrize("wrong", [math.nan, math.inf])
def test_observations_that_are_no_numbers_are_refused(wrong):
    with pytest.raises(CalibError):
        type_a([1.0, wrong, 2.0])


def test_the_uncertainty_of_a_mean_is_that_of_the_scatter_about_it():
    # About 3, of 2, 3 and 6: squares 1, 0 and 9; s^2 = 10/2, and u^2 = 5/3.
    assert uncertainty_of_mean([2.0, 3.0, 6.0], 3.0) == pytest.approx(math.sqrt(5 / 3), rel=1e-15)


def test_two_observations_together_have_a_covariance():
    # Deviations of -1, 1 and of 2, -2: variances 2 and 8 over 2, covariance -4 over 2.
    means, covariance = type_a_covariance([[3.0, 5.0], [7.0, 3.0]])
    assert means.tolist() == [4.0, 5.0]
    assert covariance == pytest.approx(np.array([[1.0, -2.0], [-2.0, 4.0]]), rel=1e-15)


@pytest.mark.parametrize("n", [2, 3, 10, 50])
def test_the_scatter_of_a_standard_deviation_is_that_of_chi(n):
    # s goes as chi with n - 1 degrees of freedom (scipy); GUM E.4.3 takes its deviation over its mean.
    assert relative_uncertainty_of_s(n) == pytest.approx(stats.chi.std(n - 1) / stats.chi.mean(n - 1), rel=1e-9)


def test_one_observation_has_no_standard_deviation():
    with pytest.raises(CalibError, match="at least 2 are needed"):
        relative_uncertainty_of_s(1)


def test_an_uncertainty_reliable_to_a_quarter_has_eight_degrees_of_freedom():
    # GUM G.4.2, example.
    assert degrees_of_freedom_of(0.25) == 8.0


@pytest.mark.parametrize(("u", "dof"), [(0.0, 1.0), (0.1, 0.5), (0.0, math.inf)])
def test_an_estimate_may_be_without_uncertainty_and_of_few_degrees_of_freedom(u, dof):
    assert Estimate(2.0, u, dof).standard_uncertainty == u


def test_an_uncertainty_taken_as_known_has_infinite_degrees_of_freedom():
    assert Estimate(1.0, 0.1).degrees_of_freedom == math.inf
