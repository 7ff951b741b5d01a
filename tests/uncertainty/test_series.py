"""Type A evaluation of a logged series.

The standard deviation of the mean of a first-order autoregression x_k = phi x_(k-1) + e_k with unit e is 1/((1 - phi) sqrt(n))
for long series: an identity of time-series analysis (e.g. G. Box, G. Jenkins, Time Series Analysis, from memory).
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.signal import lfilter

from calib.errors import CalibError
from calib.uncertainty.estimate import type_a
from calib.uncertainty.series import FEWEST_OF_A_SERIES, autocorrelation, type_a_of_series

LENGTH = 600


def autoregression(phi, generator, length=LENGTH):
    settling = 200
    return lfilter([1.0], [1.0, -phi], generator.normal(size=length + settling))[settling:]


def estimates(phi, count=300):
    generator = np.random.default_rng(20260305)
    return [type_a_of_series(autoregression(phi, generator)) for _ in range(count)]


@pytest.mark.parametrize("phi", [0.0, 0.5, 0.9])
def test_the_uncertainty_of_a_correlated_mean_is_the_one_that_theory_gives(phi):
    known = 1.0 / ((1.0 - phi) * math.sqrt(LENGTH))
    found = np.mean([one.estimate.standard_uncertainty for one in estimates(phi)])
    assert found == pytest.approx(known, rel=0.08)  # the scatter of 300 estimates, and the finite length


@pytest.mark.parametrize(("phi", "factor"), [(0.5, math.sqrt(3.0)), (0.9, math.sqrt(19.0))])
def test_taking_correlated_values_for_independent_understates_u(phi, factor):
    # (1 + phi)/(1 - phi) is the variance of the mean over that of independent values.
    assert np.mean([one.understated_by for one in estimates(phi)]) == pytest.approx(factor, rel=0.12)


def test_the_effective_number_of_observations_falls_with_the_correlation():
    counts = [np.mean([one.effective_observations for one in estimates(phi, 100)]) for phi in (0.0, 0.5, 0.9)]
    assert counts[0] > counts[1] > counts[2]
    assert counts[1] == pytest.approx(LENGTH / 3.0, rel=0.15)


def test_negative_correlation_earns_no_more_than_independence():
    assert all(one.effective_observations <= LENGTH for one in estimates(-0.5, 50))


def test_an_uncorrelated_series_is_evaluated_as_repeated_observations():
    values = np.random.default_rng(1).normal(2.5, 0.03, 2000)
    plain = type_a(list(values))
    found = type_a_of_series(values).estimate
    assert found.value == pytest.approx(plain.value)
    assert found.standard_uncertainty == pytest.approx(plain.standard_uncertainty, rel=0.15)


def test_a_drift_leaves_few_effective_observations():
    assert type_a_of_series(np.linspace(2.0, 2.4, 120)).effective_observations < 5


def test_a_meter_that_shows_one_value_all_the_time_has_no_scatter():
    found = type_a_of_series([2.5] * 30)
    assert found.estimate.value == 2.5
    assert found.estimate.standard_uncertainty == 0.0


def test_autocorrelations_are_those_of_their_definition():
    values = np.array([1.0, 2.0, 4.0, 3.0, 1.0, 0.0])
    away = values - values.mean()
    direct = [float(away[: values.size - k] @ away[k:]) / float(away @ away) for k in range(values.size)]
    assert autocorrelation(values) == pytest.approx(direct)


@pytest.mark.parametrize("count", [0, 1, FEWEST_OF_A_SERIES - 1])
def test_a_series_too_short_to_show_its_correlation_is_refused(count):
    with pytest.raises(CalibError, match=f"{count} logged value"):
        type_a_of_series(np.arange(float(count)))


def test_a_value_that_is_not_finite_is_named():
    with pytest.raises(CalibError, match="value 4"):
        type_a_of_series([1.0, 1.1, 0.9, math.nan, *[1.0] * 10])


@given(st.lists(st.floats(-100, 100), min_size=FEWEST_OF_A_SERIES, max_size=60), st.floats(-50, 50))
def test_a_shift_of_all_values_shifts_the_mean_alone(values, shift):
    plain, moved = type_a_of_series(values), type_a_of_series(np.array(values) + shift)
    assert moved.estimate.value == pytest.approx(plain.estimate.value + shift, abs=1e-9)
    assert moved.estimate.standard_uncertainty == pytest.approx(plain.estimate.standard_uncertainty, rel=1e-5, abs=1e-6)
