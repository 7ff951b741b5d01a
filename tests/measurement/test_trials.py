"""The model on errors of its input quantities: without errors it is the law's, and each error enters where it should."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.measurement import flows
from calib.measurement.trials import NO_ERRORS, Errors, errors_at, one_reading
from calib.measurement.ways import THERMAL, VELOCITY_PRESSURE
from tests.arrays import correction, pair, readings, several, single
from tests.measurement.test_at_points import CURVE, PRESSURE, PROBE, one_of_any_kind


@given(st.lists(one_of_any_kind(), min_size=1, max_size=4))
def test_without_errors_the_model_gives_the_flow(ones):
    together = readings(*ones, PRESSURE, curves=[CURVE, PROBE])
    found = [one_reading(together, row).flow(NO_ERRORS)[0] for row in range(together.size)]
    assert found == pytest.approx(flows(together).flow.tolist(), rel=1e-12)


def test_a_pair_without_errors_has_its_flow_without_the_hood():
    together = readings(pair(0.60, 0.54, 4.0), single(0.5))
    found = [one_reading(together, row).flow(NO_ERRORS)[0] for row in range(2)]
    assert found == pytest.approx(flows(together).flow.tolist(), rel=1e-14)


def test_errors_of_one_place_add_and_those_of_others_do_not():
    found = errors_at(
        [("density", 0), ("method", 0), ("density", 0)], [np.full(3, 0.1), np.full(3, 0.2), np.full(3, 0.3)]
    )
    assert found.trials == 3
    assert found.at("density") == pytest.approx([0.4] * 3, rel=1e-15)
    assert found.at("method") == pytest.approx([0.2] * 3, rel=1e-15)
    assert found.at("passes") == 0.0


def given_once(name, number, error):
    return Errors(1, {(name, number): np.array([error])})


def test_a_rounding_error_enters_at_its_place_in_every_pass():
    """60 Pa make 10 m/s at 1.2 kg/m3, 15 Pa 5 m/s; 45 Pa more than the 15 are 60."""
    one = one_reading(readings(several((60.0, 15.0), (60.0, 15.0), way=VELOCITY_PRESSURE)), 0)
    assert one.flow(NO_ERRORS) == pytest.approx([7.5], rel=1e-14)
    assert one.flow(given_once("resolution", 1, 45.0)) == pytest.approx([10.0], rel=1e-14)
    assert one.flow(given_once("repeatability", 1, 45.0)) == pytest.approx([8.75], rel=1e-14)


def test_an_error_of_the_density_enters_by_the_model_itself():
    """Air a quarter of what was thought: twice the velocity from a pressure, four times that of a thermal anemometer."""
    pressure, thermal = single(60.0, way=VELOCITY_PRESSURE), single(10.0, way=THERMAL)
    together = readings(pressure, thermal)
    found = [one_reading(together, row).flow(given_once("density", 0, -0.75))[0] for row in range(2)]
    assert found == pytest.approx([20.0, 40.0], rel=1e-14)


def test_a_pressure_that_an_error_brings_below_zero_gives_no_velocity():
    one = one_reading(readings(several((60.0, 15.0), way=VELOCITY_PRESSURE, probe=0), curves=[correction()]), 0)
    assert one.flow(given_once("repeatability", 1, -20.0)) == pytest.approx([5.0], rel=1e-14)


def test_relative_errors_multiply_the_flow():
    one = one_reading(readings(single(10.0)), 0)
    given = Errors(1, {("dimension", 0): np.array([0.1]), ("method", 0): np.array([-0.5])})
    assert one.flow(given) == pytest.approx([5.5], rel=1e-14)
