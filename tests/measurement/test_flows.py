"""Laws of flows and their contributions: what averages down and what does not, what scales, what cancels.

Sources: JCGM 100:2008, 4.2.3 (mean of repeated observations), 5.1.2 and 5.2.2 (law of propagation, what is shared), F.2.2.1
(resolution), G.4 (degrees of freedom); ISO 3966 for the mean of velocities. Numbers by hand, or from the standard library.
"""

import math
import statistics
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.measurement import FoundFactors, flows
from calib.measurement.ways import CALIBRATED_PAIR, THERMAL, VANE, VELOCITY_PRESSURE
from calib.uncertainty.propagation import combine_totals, covariance
from tests.arrays import correction, line, pair, readings, several, single

SCATTER = [[4e-3, 0.0], [0.0, 4e-6]]
MANOMETER = correction((0.1, 0.01), SCATTER, dof=4.0, nodes=((0.0, 0.1), (500.0, 2.0)))
PROBE = correction((0.0, -0.005), [[1e-4, 0.0], [0.0, 1e-6]], nodes=((0.0, 0.0), (100.0, 0.5)))
DUCT = {
    "u": 0.3,
    "limit": 0.01,
    "step": 0.1,
    "way": VELOCITY_PRESSURE,
    "density": 1.15,
    "u_density": 0.002,
    "probe": 1,
    "probe_limit": 0.005,
    "area": 0.125,
    "dimension": 0.005,
    "method": 0.01,
}
OWN_TO_A_POINT = ("repeatability", "resolution")
pressures = st.lists(st.floats(5.0, 400.0), min_size=1, max_size=12)  # well above zero


def of_duct(*passes, **said):
    return flows(readings(several(*passes, **(DUCT | said)), SINGLE, curves=[MANOMETER, PROBE]))


# Beside each traverse stands a single reading, so that it is always one of many.
SINGLE = single(50.0, **DUCT)


# --- averaging -------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("points", [1, 4, 25])
def test_equal_indications_at_many_points_make_the_flow_of_one(points):
    found = of_duct([50.0] * points)
    assert found.flow[0] == pytest.approx(found.flow[1], rel=1e-13)


@pytest.mark.parametrize("points", [4, 25])
def test_what_is_each_point_s_own_averages_down_and_what_is_shared_does_not(points):
    found = of_duct([50.0] * points)
    for one in found.contributions:
        traverse, alone = line(found, one.name)
        expected = alone / math.sqrt(points) if one.name in OWN_TO_A_POINT else alone
        assert traverse == pytest.approx(expected, rel=1e-12), one.name


@given(pressures)
def test_an_error_of_the_manometer_moves_all_points_the_same_way(indications):
    """GUM 5.2.2: the errors of the points add before they are squared."""
    found = of_duct(indications)
    y = [x + 0.1 + 0.01 * x for x in indications]
    u = np.interp(indications, (0.0, 500.0), (0.1, 2.0))
    by_hand = statistics.fmean(part / math.sqrt(2 * one * 1.15) for part, one in zip(u, y, strict=True)) * 0.995 * 0.125
    assert line(found, "reference standard")[0] == pytest.approx(by_hand, rel=1e-12)


@given(pressures)
def test_the_pattern_over_the_points_is_no_repeatability(indications):
    found = of_duct(indications, u=0.0)
    assert line(found, "repeatability")[0] == 0.0


@given(pressures)
def test_velocities_are_averaged_and_never_pressures(indications):
    """The root is concave: the mean pressure would give more flow, or as much where all are equal (Jensen)."""
    (flow,) = flows(readings(several(indications, way=VELOCITY_PRESSURE, density=1.15))).flow
    assert flow == pytest.approx(statistics.fmean(math.sqrt(2 * x / 1.15) for x in indications), rel=1e-12)
    of_mean_pressure = math.sqrt(2 * statistics.fmean(indications) / 1.15)
    assert flow <= of_mean_pressure * (1 + 1e-12)
    if max(indications) > 1.01 * min(indications):
        assert flow < of_mean_pressure


def test_a_point_without_pressure_counts_with_its_share_of_the_section():
    """What the pressure may be at a point that is only known to 0.1 Pa: some tenths of a metre a second."""
    found = of_duct([50.0, 0.0, 50.0, -0.2])
    low = found.point_velocity[[1, 3]]
    assert np.all((low > 0) & (low < 0.6))
    assert found.flow[0] == pytest.approx(found.flow[1] * (2 + low.sum() / found.point_velocity[0]) / 4, rel=1e-13)


@given(pressures, st.randoms())
def test_the_order_of_the_points_does_not_matter(indications, random):
    shuffled = random.sample(indications, len(indications))
    one, other = of_duct(indications), of_duct(shuffled)
    assert one.flow == pytest.approx(other.flow, rel=1e-12)
    assert [line(one, each.name)[0] for each in one.contributions] == pytest.approx(
        [line(other, each.name)[0] for each in other.contributions], rel=1e-10, abs=1e-15
    )


def test_points_count_by_their_weights():
    said = {"way": VELOCITY_PRESSURE, "density": 1.2, "u": 0.6, "step": 0.1}
    found = flows(readings(several((60.0, 15.0, 15.0), weights=(0.5, 0.3, 0.2), **said)))
    assert found.flow == pytest.approx(
        [0.5 * 10.0 + 0.3 * 5.0 + 0.2 * 5.0], rel=1e-14
    )  # 60 Pa make 10 m/s, 15 Pa 5 m/s
    by_hand = 0.6 * math.hypot(0.5 * 10.0 / 120.0, 0.3 * 5.0 / 30.0, 0.2 * 5.0 / 30.0)
    assert line(found, "repeatability") == pytest.approx([by_hand], rel=1e-13)


# --- passes ----------------------------------------------------------------------------------------------------------------------

FIRST, SECOND, THIRD = (30.0, 42.0, 28.0), (31.0, 41.0, 27.5), (30.2, 43.0, 28.4)


def mean_velocity(indications):
    """By hand, for a correction that is none."""
    return statistics.fmean(math.sqrt(2 * x / 1.2) for x in indications)


def test_passes_show_the_repeatability_of_their_mean():
    found = flows(readings(several(FIRST, SECOND, THIRD, way=VELOCITY_PRESSURE, area=0.5)))
    means = [mean_velocity(one) for one in (FIRST, SECOND, THIRD)]
    assert found.flow == pytest.approx([0.5 * statistics.fmean(means)], rel=1e-14)
    repeatability = found.contributions[0]
    assert repeatability.parts[0, 0] == pytest.approx(0.5 * statistics.stdev(means) / math.sqrt(3), rel=1e-12)
    assert repeatability.degrees_of_freedom.tolist() == [2.0]
    assert repeatability.type_a.tolist() == [True]


def test_one_pass_has_the_declared_repeatability_as_type_b():
    repeatability = flows(readings(several(FIRST, way=VELOCITY_PRESSURE, u=0.3))).contributions[0]
    assert repeatability.type_a.tolist() == [False]
    assert repeatability.degrees_of_freedom.tolist() == [math.inf]


def test_the_same_digits_in_each_pass_are_rounded_the_same():
    """Rounding is an error of the place, not of the pass: more passes do not average it down."""
    one, three = (of_duct(*[FIRST] * count, u=0.0) for count in (1, 3))
    assert line(three, "resolution")[0] == pytest.approx(line(one, "resolution")[0], rel=1e-13)
    assert line(three, "repeatability")[0] == pytest.approx(0.0, abs=1e-16)


def test_rounding_at_a_place_counts_by_its_mean_sensitivity_over_the_passes():
    found = flows(readings(several(FIRST, SECOND, way=VELOCITY_PRESSURE, step=0.1)))
    of_places = [
        statistics.fmean(1 / math.sqrt(2 * x * 1.2) for x in of_place) for of_place in zip(FIRST, SECOND, strict=True)
    ]
    assert line(found, "resolution") == pytest.approx([0.1 / math.sqrt(12) * math.hypot(*of_places) / 3], rel=1e-13)


def test_repeated_pressures_at_one_place_are_passes_of_one_point():
    found = flows(readings(several((30.0,), (42.0,), way=VELOCITY_PRESSURE)))
    velocities = [mean_velocity([x]) for x in (30.0, 42.0)]
    assert found.flow == pytest.approx([statistics.fmean(velocities)], rel=1e-14)
    assert line(found, "repeatability") == pytest.approx([statistics.stdev(velocities) / math.sqrt(2)], rel=1e-12)


# --- scaling ---------------------------------------------------------------------------------------------------------------------


@given(pressures, st.floats(0.01, 10.0), st.floats(0.5, 1.5))
def test_flow_and_contributions_go_with_area_and_factor(indications, area, factor):
    """Half-widths and factors are relative, so that all lines of the budget scale with the flow."""
    one, other = of_duct(indications), of_duct(indications, area=0.125 * area, factor=factor)
    assert other.flow[0] == pytest.approx(area * factor * one.flow[0], rel=1e-12)
    for each in one.contributions:
        expected = area * factor * line(one, each.name)[0]
        assert line(other, each.name)[0] == pytest.approx(expected, rel=1e-12, abs=1e-18)


@given(pressures, st.floats(0.1, 10.0))
def test_a_pressure_scale_enters_by_its_root(indications, scale):
    """The same air faster by the root: for a correction, limits and reference part that are fractions of the indication."""
    curves = [correction((0.0, 0.01), nodes=((0.0, 0.0), (5000.0, 50.0)))]
    said = {"way": VELOCITY_PRESSURE, "limit": 0.02}
    one, other = (
        flows(readings(several([factor * x for x in indications], **said), curves=curves)) for factor in (1.0, scale)
    )
    assert other.flow == pytest.approx(math.sqrt(scale) * one.flow, rel=1e-12)
    for name in ("reference standard", "stability"):
        assert line(other, name) == pytest.approx(math.sqrt(scale) * line(one, name), rel=1e-12)


# --- the density -----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("way", "exponent"), [(VELOCITY_PRESSURE, -0.5), (CALIBRATED_PAIR, -0.5), (THERMAL, -1.0), (VANE, 0.0)]
)
def test_a_relative_error_of_the_density_enters_by_its_exponent(way, exponent):
    """A vane without friction has none (f(x) = x)."""
    found = flows(readings(several((20.0, 40.0, 30.0), way=way, u_density=0.01, density=1.1, area=0.3)))
    assert line(found, "density") == pytest.approx([exponent * 0.01 * found.flow[0]], rel=1e-13, abs=1e-18)


@pytest.mark.parametrize(("conditions", "factor"), [(0, 1.0), (1, 0.0)])
def test_readings_in_the_same_air_share_its_error(conditions, factor):
    """GUM F.1.2.3: a velocity pressure and a thermal anemometer, by -1/2 and by -1."""
    one = single(60.0, way=VELOCITY_PRESSURE, u_density=0.01)
    other = single(8.0, way=THERMAL, u_density=0.01, conditions=conditions)
    found = flows(readings(one, other))
    shared = covariance([each for each in found.contributions if each.name == "density"])[0, 1]
    assert shared == pytest.approx(factor * 0.5 * 0.01**2 * found.flow[0] * found.flow[1], rel=1e-13, abs=1e-18)


def test_the_density_leaves_other_instruments_alone():
    found = flows(readings(single(4.0, density=0.9, u_density=0.05), SINGLE, curves=[MANOMETER, PROBE]))
    assert line(found, "density")[0] == 0.0
    assert found.flow[0] == pytest.approx(4.0 + 0.1 + 0.04, rel=1e-14)


# --- the probe -------------------------------------------------------------------------------------------------------------------


def test_two_readings_with_one_probe_share_all_its_errors():
    one, other = single(50.0, **DUCT), single(80.0, **DUCT)
    found = flows(readings(one, other, curves=[MANOMETER, PROBE]))
    (probe,) = [each for each in found.contributions if each.name == "probe"]
    total = combine_totals([probe], np.zeros(2, dtype=int), np.ones(2), 1)
    together = np.linalg.norm(probe.parts.sum(axis=0))
    assert total.standard_uncertainty == pytest.approx([together], rel=1e-13)
    assert together > 0.99 * np.linalg.norm(probe.parts, axis=1).sum()


# --- hoods -----------------------------------------------------------------------------------------------------------------------


def without_hood(q_1, q_2, r):
    """1/q^2 is linear in the hood's resistance, taken to none."""
    return ((r / q_1**2 - 1 / q_2**2) / (r - 1)) ** -0.5


HOOD = correction(nodes=((0.0, 0.0), (2.0, 0.04)))


def test_a_pair_gives_the_flow_without_the_hood():
    """Made forwards: a plenum at 1 Pa over resistances of 1 + k, k = 0.05 for the hood and r k with its throttle set."""
    opened, throttled = (1 / math.sqrt(1 + resistance) for resistance in (0.05, 0.20))
    found = flows(readings(pair(opened, throttled, 4.0)))
    assert found.flow == pytest.approx([1.0], rel=1e-14)


def test_the_errors_of_a_pair_enter_by_what_differences_show():
    """GUM 5.1.3 NOTE 2: repeatability of either reading by itself, and the resistance ratio."""
    q_1, q_2, r, h = 0.60, 0.54, 4.0, 1e-5
    opened, throttled, ratio = (
        (without_hood(*(np.array([q_1, q_2, r]) + step)) - without_hood(*(np.array([q_1, q_2, r]) - step))) / (2 * h)
        for step in h * np.eye(3)
    )
    found = flows(readings(pair(q_1, q_2, r, u=0.003, u_ratio=0.2)))
    assert line(found, "repeatability") == pytest.approx([0.003 * math.hypot(opened, throttled)], rel=1e-7)
    assert line(found, "back pressure") == pytest.approx([0.2 * ratio], rel=1e-7)
    assert opened > 1
    assert throttled < 0


def test_a_calibration_error_in_proportion_stays_in_proportion():
    """q_0 is homogeneous of degree 1 in the pair (Euler): 2 % in both readings is 2 % in the flow without the hood."""
    found = flows(readings(pair(0.60, 0.54, 4.0, limit=0.03), curves=[HOOD]))
    assert line(found, "reference standard") == pytest.approx([0.02 * found.flow[0]], rel=1e-13)
    assert line(found, "stability") == pytest.approx([0.03 / math.sqrt(3) * found.flow[0]], rel=1e-13)


def test_one_hood_s_resistance_ratio_is_one_error_for_all_its_pairs():
    ones = [pair(0.60, 0.54, 4.0, u_ratio=0.2), pair(0.30, 0.27, 4.0, u_ratio=0.2), single(0.5)]
    found = flows(readings(*ones))
    (back,) = [each for each in found.contributions if each.name == "back pressure"]
    total = combine_totals([back], np.zeros(3, dtype=int), np.ones(3), 1)
    assert total.standard_uncertainty == pytest.approx([abs(line(found, "back pressure").sum())], rel=1e-13)
    assert line(found, "back pressure")[2] == 0.0
    assert found.flow[2] == 0.5


# --- a factor found in the field -------------------------------------------------------------------------------------------------

VANE = correction((0.1, 0.02), SCATTER, nodes=((0.3, 0.01), (15.0, 0.12)))
CALIBRATION = ("calibration scatter", "reference standard")


def with_factor_found_at(x):
    """A reading of 4.2 m/s through an opening whose factor carries what the same calibration did at an indication x."""
    one = single(4.2, u=0.02, limit=0.01, step=0.01, area=0.08, factor=0.84, u_factor=0.02, method=0.02)
    plain = readings(one, single(3.0), curves=[VANE])
    scatter, reference = np.zeros((2, 2)), np.zeros(2)
    scatter[0], reference[0] = VANE.scatter_parts(x) / VANE.value(x), VANE.reference_uncertainty(x) / VANE.value(x)
    return flows(plain), flows(replace(plain, found_factors=FoundFactors(scatter, reference)))


def test_a_factor_found_at_the_same_indication_cancels_the_calibration_s_errors():
    plain, found = with_factor_found_at(4.2)
    for name in CALIBRATION:
        assert line(found, name)[0] == pytest.approx(0.0, abs=1e-15 * line(plain, name)[0])


@pytest.mark.parametrize("x", [1.0, 3.9, 9.0])
def test_at_another_indication_what_differs_in_proportion_is_left(x):
    """The error of the product v K: e(x)/v(x) of the reading less that of the factor."""
    plain, found = with_factor_found_at(x)
    left = float(VANE.reference_uncertainty(4.2) / VANE.value(4.2) - VANE.reference_uncertainty(x) / VANE.value(x))
    assert left != 0
    assert line(found, "reference standard")[0] == pytest.approx(left * found.flow[0], rel=1e-10)
    assert line(found, "calibration scatter")[0] > 0
    assert not np.isclose(line(found, "calibration scatter")[0], line(plain, "calibration scatter")[0], rtol=1e-3)


def test_what_is_no_error_of_the_calibration_stays():
    plain, found = with_factor_found_at(4.2)
    for name in {one.name for one in plain.contributions} - {*CALIBRATION}:
        assert line(found, name) == pytest.approx(line(plain, name), rel=1e-15), name


def test_a_reading_whose_factor_was_not_found_with_its_calibration_keeps_all_of_it():
    plain, found = with_factor_found_at(4.2)
    for name in CALIBRATION:
        assert line(found, name)[1] == line(plain, name)[1] > 0


# --- degrees of freedom ----------------------------------------------------------------------------------------------------------


def test_points_observed_for_themselves_combine_by_welch_satterthwaite():
    """GUM G.4.1: two equal variances with 4 degrees of freedom each make 8."""
    repeatability = flows(readings(several((60.0, 60.0), u=0.3, dof=4.0, way=VELOCITY_PRESSURE))).contributions[0]
    assert repeatability.degrees_of_freedom == pytest.approx([8.0], rel=1e-13)
    assert repeatability.type_a.tolist() == [True]


def test_a_point_without_pressure_has_the_degrees_of_freedom_of_the_curve():
    found = of_duct([0.0, 50.0])
    (scatter,) = [one for one in found.contributions if one.name == "calibration scatter"]
    assert scatter.degrees_of_freedom[0] == 4.0
