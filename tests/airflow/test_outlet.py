"""Volume flow at an outlet: geometry, and what the trade expects of q = v A K (common practice, no source)."""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.airflow.outlet import flat_oval_area, rectangular_area, round_area, volume_flow

length = st.floats(0.01, 5.0)
velocity = st.floats(0.05, 30.0)
factor = st.floats(0.3, 1.5)


def test_a_rectangular_opening():
    assert rectangular_area(0.6, 0.4) == pytest.approx(0.24)


def test_a_round_opening():
    # A circle of 200 mm: 0.0314159... m2, from geometry.
    assert round_area(0.2) == pytest.approx(0.031415926535897934)


@given(length)
def test_a_circle_fills_pi_quarters_of_its_square(diameter):
    assert round_area(diameter) / rectangular_area(diameter, diameter) == pytest.approx(math.pi / 4)


def test_a_flat_oval_opening():
    # 600 mm by 200 mm: a rectangle of 400 mm by 200 mm, 0.08 m2, and a circle of 200 mm, 0.0314159... m2, from geometry.
    assert flat_oval_area(0.6, 0.2) == pytest.approx(0.111415926535897934)


@given(length)
def test_a_flat_oval_opening_with_equal_axes_is_round(diameter):
    assert flat_oval_area(diameter, diameter) == pytest.approx(math.pi * diameter**2 / 4)


@given(length, length)
def test_width_and_height_may_be_exchanged(width, height):
    assert rectangular_area(width, height) == rectangular_area(height, width)


def test_velocity_area_and_factor_make_the_flow():
    # 2.5 m/s through 0.24 m2 with K = 0.8: 0.48 m3/s.
    assert volume_flow(2.5, 0.24, 0.8) == pytest.approx(0.48)


@given(velocity, length, factor)
def test_half_the_area_at_the_same_velocity_is_half_the_flow(v, area, k):
    # Common practice, no source.
    assert volume_flow(v, area / 2, k) == pytest.approx(volume_flow(v, area, k) / 2)


@given(velocity, length, factor)
def test_half_the_area_at_the_same_flow_is_twice_the_velocity(v, area, k):
    # Common practice, no source.
    assert volume_flow(2 * v, area / 2, k) == pytest.approx(volume_flow(v, area, k))


@given(velocity, length, factor)
def test_an_effective_area_stands_for_area_and_factor(v, area, k):
    assert volume_flow(v, area * k, 1.0) == pytest.approx(volume_flow(v, area, k))


def test_arrays_run_over_the_outlets():
    area = np.array([rectangular_area(0.6, 0.4), round_area(0.2)])
    flow = volume_flow(np.array([2.5, 4.0]), area, np.array([0.8, 1.0]))
    assert flow == pytest.approx([0.48, 0.12566370614359174])
