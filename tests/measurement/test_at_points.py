"""Values of points and what each influence does to them: by hand, by differences, and beside each point alone.

The equations are those of `calib.airflow.velocity`, whose own tests compare them with ISO 3966 and with similarity.
"""

import math
from dataclasses import fields, replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import MeasuringIntervalError
from calib.measurement.at_points import at_points, indication_scale
from calib.measurement.ways import CALIBRATED_PAIR, INDICATED_VELOCITY, THERMAL, VANE, VELOCITY_PRESSURE
from tests.arrays import correction, readings, several, single

# u of the reference part 1 % of the value, a correction of its own kind, and scatter in two directions.
CURVE = correction((0.1, 0.02), [[4e-4, -1e-5], [-1e-5, 1e-6]], nodes=((0.0, 0.0), (1000.0, 10.0)))
PROBE = correction((0.05, -0.01), [[1e-4, 0.0], [0.0, 1e-6]], nodes=((0.0, 0.0), (100.0, 0.5)))
WAYS = [INDICATED_VELOCITY, VELOCITY_PRESSURE, THERMAL, VANE, CALIBRATED_PAIR]


def test_a_pressure_is_the_velocity_that_makes_it():
    """60 Pa at 1.2 kg/m3: the root of 2 x 60/1.2 is 10 m/s; dv/dp = v/(2 p)."""
    found = at_points(readings(single(60.0, way=VELOCITY_PRESSURE)))
    assert found.value == pytest.approx([10.0], rel=1e-15)
    assert found.sensitivity == pytest.approx([10.0 / 120.0], rel=1e-15)


def test_a_thermal_anemometer_sees_the_mass_flow():
    found = at_points(readings(single(10.0, way=THERMAL, density=1.0)))
    assert found.value == pytest.approx([12.0], rel=1e-15)
    assert found.sensitivity == pytest.approx([1.2], rel=1e-15)


def test_only_the_friction_of_a_vane_depends_on_the_density():
    """For f(x) = a + b x the velocity is a sqrt(rho_0/rho) + b x."""
    found = at_points(readings(single(4.0, way=VANE, density=1.0), curves=[CURVE]))
    assert found.value == pytest.approx([0.1 * math.sqrt(1.2) + 1.02 * 4.0], rel=1e-15)
    assert found.sensitivity == pytest.approx([1.02], rel=1e-15)


def test_a_probe_calibrated_with_its_manometer_goes_with_the_root_of_the_density():
    found = at_points(readings(single(4.0, way=CALIBRATED_PAIR, density=1.0), curves=[CURVE]))
    assert found.value == pytest.approx([4.18 * math.sqrt(1.2)], rel=1e-15)


def test_the_density_counts_nowhere_else():
    found = at_points(readings(single(4.0, density=0.9), single(60.0, way=VELOCITY_PRESSURE)))
    assert found.value[0] == 4.0
    assert found.density[0] == 0.0


@pytest.mark.parametrize("way", WAYS)
def test_what_an_error_of_the_density_does_is_what_differences_show(way):
    """GUM 5.1.3 NOTE 2."""

    def value(density):
        return at_points(readings(single(7.0, way=way, density=density), curves=[CURVE])).value[0]

    h = 1e-5
    by_differences = (value(1.1 * (1 + h)) - value(1.1 * (1 - h))) / (2 * h)
    (found,) = at_points(readings(single(7.0, way=way, density=1.1), curves=[CURVE])).density
    assert found == pytest.approx(by_differences, rel=1e-8, abs=1e-12)


@pytest.mark.parametrize("probe", [-1, 1])
@pytest.mark.parametrize("way", WAYS)
def test_what_an_error_of_the_indication_does_is_what_differences_show(way, probe):
    # A probe belongs to a velocity pressure; in the arrays it may follow any of them.
    def value(indication):
        one = single(indication, way=way, density=1.1, probe=probe)
        return at_points(readings(one, PRESSURE, curves=[CURVE, PROBE])).value[0]

    h = 1e-4
    by_differences = (value(30 + h) - value(30 - h)) / (2 * h)
    one = single(30.0, way=way, density=1.1, probe=probe)
    found = at_points(readings(one, PRESSURE, curves=[CURVE, PROBE])).sensitivity[0]
    assert found == pytest.approx(by_differences, rel=1e-8)


PRESSURE = single(60.0, way=VELOCITY_PRESSURE)


def test_a_corrected_pressure_has_its_calibration_s_errors_as_velocities():
    """1 % of 60 Pa is 0.5 % of the velocity; scatter and limits of change go the same way."""
    one = single(60.0, way=VELOCITY_PRESSURE, limit=0.02)
    found = at_points(readings(one, curves=[CURVE]))
    slope = math.sqrt(2 * 61.3 / 1.2) / (2 * 61.3)
    assert found.reference == pytest.approx([0.6 * slope], rel=1e-14)
    assert found.stability == pytest.approx([0.02 * 60.0 * slope], rel=1e-14)
    scatter = math.sqrt(4e-4 - 2 * 60.0 * 1e-5 + 60.0**2 * 1e-6)
    assert np.linalg.norm(found.scatter) == pytest.approx(scatter * slope, rel=1e-12)


# --- no pressure ----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("indication", [0.0, -0.4])
def test_no_pressure_has_the_uncertainty_of_the_lowest_comparison(indication):
    above_zero = correction((0.1,), [[1e-4]], nodes=((5.0, 0.2), (500.0, 0.8)))
    one = single(indication, u=0.2, way=VELOCITY_PRESSURE, u_density=0.01, probe=1)
    found = at_points(readings(one, curves=[above_zero, PROBE]))
    assert found.corrected_uncertainty == pytest.approx([math.sqrt(0.2**2 + 0.2**2 + 1e-4)], rel=1e-14)
    parts = (found.sensitivity[0] * 0.2, found.reference[0], np.linalg.norm(found.scatter[0]))
    assert np.linalg.norm(parts) == pytest.approx(found.value_uncertainty[0], rel=1e-12)
    assert found.scatter_dof.tolist() == [5.0]


def test_a_pressure_that_the_correction_brings_below_zero_is_standing_air():
    found = at_points(readings(single(0.3, way=VELOCITY_PRESSURE), curves=[correction((-0.5,))]))
    assert found.value.tolist() == found.sensitivity.tolist() == [0.0]


def test_other_instruments_are_asked_below_zero_too():
    assert at_points(readings(single(-2.0, way=THERMAL))).value.tolist() == [-2.0]


@pytest.mark.parametrize(
    ("way", "slope"), [(THERMAL, 1.25), (CALIBRATED_PAIR, math.sqrt(1.25)), (VANE, math.sqrt(1.25))]
)
def test_an_indication_of_nothing_is_as_uncertain_as_any_other(way, slope):
    """A velocity of 0 has the sensitivity that the density gives it: a velocity is proportional to what is indicated."""
    still = single(0.0, way=way, density=1.2, reference_density=1.5)
    found = at_points(readings(still, curves=[correction((0.0,), [[4e-4]])]))
    assert (found.value[0], np.linalg.norm(found.scatter[0])) == (0.0, pytest.approx(0.02 * slope, rel=1e-14))


# --- the probe -------------------------------------------------------------------------------------------------------------------


def test_the_probe_s_curve_takes_the_velocity_that_a_coefficient_of_1_gives():
    one = single(60.0, way=VELOCITY_PRESSURE, probe=1, probe_limit=0.01)
    found = at_points(readings(one, curves=[correction(), PROBE]))
    assert found.value == pytest.approx([10.0 + 0.05 - 0.1], rel=1e-15)
    assert found.sensitivity == pytest.approx([0.99 * 10.0 / 120.0], rel=1e-15)
    *scatter, reference, stability = found.probe[0]
    assert np.linalg.norm(scatter) == pytest.approx(math.sqrt(1e-4 + 100.0 * 1e-6), rel=1e-12)
    assert reference == pytest.approx(0.05, rel=1e-14)
    assert stability == pytest.approx(0.1 / math.sqrt(3), rel=1e-14)


def test_a_probe_whose_curve_stands_first_is_one_as_any_other():
    """0.4 Pa at 1.25 kg/m3 make 0.8 m/s; the curve of the probe takes 0.05 - 0.01 x 0.8 to that."""
    slow = single(0.4, way=VELOCITY_PRESSURE, density=1.25, calibration=1, probe=0)
    found = at_points(readings(slow, curves=[PROBE, correction()]))
    assert found.value == pytest.approx([0.8 + 0.05 - 0.008], rel=1e-14)
    assert found.probe[0, -2] == pytest.approx(0.8 * 0.005, rel=1e-14)


@pytest.mark.parametrize("indication", [0.0, -0.5])  # [m/s]
def test_a_probe_says_nothing_of_standing_air_that_is_known(indication):
    still = single(indication, way=THERMAL, probe=1, probe_limit=0.01)
    found = at_points(readings(still, curves=[correction(), correction((0.2, 0.3), SCATTERED, nodes=EVERYWHERE)]))
    assert found.value.tolist() == [indication]
    assert found.probe.tolist() == [[0.0] * 4]


SCATTERED, EVERYWHERE = [[1e-2, 0.0], [0.0, 1e-2]], ((-10.0, 0.4), (10.0, 0.4))


def test_without_a_probe_there_are_no_parts_of_one():
    assert at_points(readings(single(60.0, way=VELOCITY_PRESSURE))).probe.shape == (1, 0)


def test_where_nothing_is_known_of_the_air_an_indication_stands_as_it_is():
    vane = replace(readings(single(4.0, way=VANE, density=1.0), curves=[CURVE]), air=None)
    assert indication_scale(vane).tolist() == [1.0]
    assert at_points(vane).value == pytest.approx([4.18], rel=1e-15)


def test_a_reading_without_a_probe_is_left_alone_beside_one_that_has_one():
    without, with_one = single(60.0, way=VELOCITY_PRESSURE), single(60.0, way=VELOCITY_PRESSURE, probe=1)
    found = at_points(readings(without, with_one, curves=[correction(), PROBE]))
    assert found.value == pytest.approx([10.0, 9.95], rel=1e-15)
    assert not np.any(found.probe[0])
    assert found.probe_dof[0] == math.inf


# --- measuring intervals ---------------------------------------------------------------------------------------------------------

NARROW = correction(nodes=((2.0, 0.0), (10.0, 0.0)))


def test_every_point_lies_within_the_measuring_interval():
    with pytest.raises(MeasuringIntervalError, match=r"10\.5"):
        at_points(readings(several((3.0, 10.5, 9.0)), curves=[NARROW]))


def test_a_vane_is_asked_at_the_density_of_its_calibration():
    """9.9 m/s in air of 1.3 kg/m3 turns the vane as 10.3 m/s at 1.2 kg/m3 does."""
    with pytest.raises(MeasuringIntervalError, match=r"10\.3"):
        at_points(readings(single(9.9, way=VANE, density=1.3), curves=[NARROW]))


def test_a_probe_is_asked_at_its_velocity():
    with pytest.raises(MeasuringIntervalError, match=r"12\.9"):
        at_points(readings(single(100.0, way=VELOCITY_PRESSURE, probe=1), curves=[correction(), NARROW]))


# --- side by side ----------------------------------------------------------------------------------------------------------------


@st.composite
def one_of_any_kind(draw):
    way = draw(st.sampled_from(WAYS))
    said = {
        "density": draw(st.floats(0.9, 1.4)),
        "reference_density": draw(st.floats(0.9, 1.4)),
        "calibration": draw(st.integers(0, 1)),
        "limit": draw(st.floats(0, 0.05)),
        "probe": draw(st.sampled_from([-1, 1])) if way is VELOCITY_PRESSURE else -1,
    }
    return several(draw(st.lists(st.floats(1.0, 60.0), min_size=1, max_size=4)), way=way, **said)


@given(st.lists(one_of_any_kind(), min_size=2, max_size=5))
def test_readings_side_by_side_are_what_each_is_by_itself(ones):
    together = at_points(readings(*ones, curves=[CURVE, PROBE]))
    # Beside it stands one reading of pressure with a probe, so that every array is there.
    always = replace(PRESSURE, probe=1)
    alone = [at_points(readings(one, always, curves=[CURVE, PROBE])) for one in ones]
    for each in fields(together):
        expected = np.concatenate([getattr(one, each.name)[:-1] for one in alone])
        found = getattr(together, each.name)
        if found.shape == expected.shape:  # the probe's parts are absent where no reading has one
            assert found == pytest.approx(expected, rel=1e-12, abs=1e-15), each.name
        else:
            assert not np.any(expected)
