"""Outlet factor and effective area found in the field; the worked case stands in tests/published. Expected values by hand."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from calib.airflow.factor import found_factor
from calib.airflow.outlet import volume_flow
from calib.errors import CalibError
from calib.uncertainty.estimate import type_a

FLOWS = np.array([0.10, 0.10, 0.10])
VELOCITIES = np.array([1.0, 1.25, 2.0])

several = st.integers(2, 8)
pairs = several.flatmap(
    lambda n: st.tuples(
        arrays(float, n, elements=st.floats(0.01, 2.0)), arrays(float, n, elements=st.floats(0.1, 15.0))
    )
)
area = st.floats(0.005, 2.0)


def test_each_pair_has_its_factor():
    # 0.1/(v 0.2): 0.5, 0.4 and 0.25; their mean is 1.15/3.
    found = found_factor(FLOWS, VELOCITIES, 0.2)
    assert found.each == pytest.approx([0.5, 0.4, 0.25])
    assert found.value == pytest.approx(1.15 / 3)
    assert found.degrees_of_freedom == 2


def test_the_spread_of_two_pairs_is_their_distance_over_the_root_of_two():
    # Factors 0.5 and 0.4: s = 0.1/sqrt(2), of the mean s/sqrt(2) = 0.05.
    found = found_factor(FLOWS[:2], VELOCITIES[:2], 0.2)
    assert found.spread == pytest.approx(0.1 / 2**0.5)
    assert found.standard_uncertainty_of_mean == pytest.approx(0.05)


def test_the_factor_of_an_area_of_one_is_the_effective_area():
    assert found_factor(FLOWS, VELOCITIES, 1.0).each == pytest.approx([0.1, 0.08, 0.05])


@given(pairs, area)
def test_the_factor_is_the_effective_area_over_the_area(measured, opening):
    factor, effective = found_factor(*measured, opening), found_factor(*measured, 1.0)
    assert factor.value * opening == pytest.approx(effective.value)
    assert factor.spread * opening == pytest.approx(effective.spread, abs=1e-12)


@given(pairs)
def test_the_mean_is_a_type_a_evaluation(measured):
    found = found_factor(*measured, 1.0)
    estimate = type_a(found.each.tolist())
    assert found.value == pytest.approx(estimate.value)
    assert found.standard_uncertainty_of_mean == pytest.approx(estimate.standard_uncertainty, abs=1e-12)
    assert found.degrees_of_freedom == estimate.degrees_of_freedom


@given(pairs, area, st.floats(0.8, 1.25), st.floats(0.1, 15.0))
def test_an_instrument_that_reads_high_by_a_common_factor_still_gives_the_flow_with_its_own_factor(
    measured, opening, high, later
):
    flows, velocities = measured
    right = volume_flow(later, opening, found_factor(flows, velocities, opening).value)
    misread = volume_flow(later * high, opening, found_factor(flows, velocities * high, opening).value)
    assert misread == pytest.approx(right)


@given(pairs, area, st.floats(1.05, 1.25), st.floats(0.1, 15.0))
def test_another_instrument_does_not_cancel_the_error(measured, opening, high, later):
    flows, velocities = measured
    right = volume_flow(later, opening, found_factor(flows, velocities, opening).value)
    elsewhere = volume_flow(later, opening, found_factor(flows, velocities * high, opening).value)
    assert elsewhere == pytest.approx(right / high)


def test_one_pair_shows_no_spread():
    with pytest.raises(CalibError, match="at least 2"):
        found_factor(FLOWS[:1], VELOCITIES[:1], 0.2)


def test_each_flow_wants_its_velocity():
    with pytest.raises(CalibError, match="one of each"):
        found_factor(FLOWS, VELOCITIES[:2], 1.0)
    with pytest.raises(CalibError, match="one of each"):
        found_factor(np.ones((2, 2)), np.ones((2, 2)), 1.0)


@pytest.mark.parametrize("wrong", [0.0, -1.0, np.nan, np.inf])
def test_a_pair_without_a_sound_flow_and_velocity_is_named(wrong):
    with pytest.raises(CalibError, match="pair 2"):
        found_factor(FLOWS, np.array([1.0, wrong, 2.0]), 1.0)
    with pytest.raises(CalibError, match="pair 3"):
        found_factor(np.array([0.1, 0.1, wrong]), VELOCITIES, 1.0)


@pytest.mark.parametrize("wrong", [0.0, -0.2, np.nan, np.inf])
def test_an_opening_has_an_area(wrong):
    with pytest.raises(CalibError, match="area"):
        found_factor(FLOWS, VELOCITIES, wrong)
