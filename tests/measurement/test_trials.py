"""The model on errors of its input quantities: without errors it is the law's, and each error enters where it should."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.curves.response import PROPORTIONAL, ResponseCurve, fit_response
from calib.measurement import AirOfReadings, Calibrations, FoundFactors, ObservedBy, flows
from calib.measurement.trials import (
    NO_ERRORS,
    Errors,
    ReadingModel,
    errors_at,
    one_reading,
    passes_of,
    points_of,
    weights_of,
)
from calib.measurement.ways import THERMAL, VANE, VELOCITY_PRESSURE
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


# --- a traverse with a manometer behind a probe, in which everything errs ---------------------------------------------------------

X = (3.0, 60.0, 135.0, 4.0, 62.0, 130.0)  # [Pa] two passes over three places; the manometer was compared from 5 Pa on
OF_PLACE = (0.2, 0.5, 0.3)
# Corrections c0 + c1 x with their standard uncertainties, indications compared with U/k there.
MANOMETER = ((0.4, 0.02), (0.1, 0.3), ((5.0, 0.02), (50.0, 0.1), (400.0, 0.5)))
IN_DUCT = ((0.05, -0.01), (0.02, 0.04), ((4.0, 0.03), (10.0, 0.05), (30.0, 0.2)))
LIMITS = (0.3, 0.6, 1.2, 0.25, 0.65, 1.1)  # [Pa] of the manometer's change
WIDENED = (0.11, 0.12, 0.13, 0.14, 0.15, 0.16)  # [Pa] by a review
PROBE_LIMIT = (0.01, 0.02)  # of its velocity, and [m/s]
RHO, OPENING = 1.15, 0.2 * 0.9
CARRIED_SCATTER, CARRIED_REFERENCE = (0.004, -0.003), 0.006
SCATTER_IN_AIR, REFERENCE_IN_AIR, CHANGE_IN_AIR = (0.002, 0.005), 0.003 - 0.001, math.sqrt(3.0) * (0.004 + 0.002)

PLACES = [
    *(("repeatability", k) for k in range(6)), *(("resolution", k) for k in range(3)),
    ("scatter", 0), ("scatter", 1), ("reference", 0), ("stability", 0), ("decided", 0), ("density", 0),
    ("probe scatter", 0), ("probe scatter", 1), ("probe reference", 0), ("probe stability", 0), ("probe decided", 0),
    ("passes", 0), ("dimension", 0), ("dimension", 1), ("outlet factor", 0), ("method", 0), ("method common", 0),
    ("method own", 0), ("plant drift", 0),
]  # fmt: skip
IN_PASCAL = ("repeatability", "resolution")


def curve_of(corrections, u, nodes):
    return correction(corrections, np.diag(np.square(u)), nodes=nodes)


def in_air(calibration, scatter, reference, stability):
    """What the calibration with a number brings through the air to the second of three readings."""

    def second(own):
        return np.array([[0.5] * len(own), own, [0.7] * len(own)])

    return ObservedBy(
        np.array([0, calibration, 0]), second((1.0, 1.0)), second(scatter), second(reference), second(stability), np.ones((3, 3))
    )  # fmt: skip


def the_traverse():
    """Three readings of which the second is the traverse."""
    traverse = several(
        X[:3], X[3:], way=VELOCITY_PRESSURE, density=RHO, probe=1, probe_limit=PROBE_LIMIT[0], area=0.2, factor=0.9,
        weights=OF_PLACE, step=0.1,
    )  # fmt: skip
    first, last = single(10.0, way=THERMAL, calibration=2), single(6.0, way=VANE, calibration=2)
    curves = [curve_of(*MANOMETER), curve_of(*IN_DUCT), correction()]
    plain = readings(first, traverse, last, curves=curves)
    none = np.zeros(3)
    influences = AirOfReadings(
        none, np.zeros((3, 0)), np.zeros(3, dtype=np.int64),
        [
            in_air(0, (0.1, 0.2, 0.3), (0.4, 0.5), (0.6, 0.7)),  # by an instrument that shows no velocity
            in_air(1, (*SCATTER_IN_AIR, 0.9), (0.003, -0.001), (0.004, 0.002)),
            in_air(2, (0.1, 0.2, 0.3), (0.4, 0.5), (0.6, 0.7)),  # by nothing
        ],
        none, np.zeros((3, 0)), none, identifiers=(71, 72),
    )  # fmt: skip
    return replace(
        plain,
        stability_limit=np.array([0.9, *LIMITS, 0.8]),
        decided=np.array([0.9, *WIDENED, 0.8]),
        stability_dof=np.array([3.0, 5.0, 7.0]),
        air=replace(plain.air, influences=influences),
        probes=replace(
            plain.probes, stability_absolute=np.array([0.9, PROBE_LIMIT[1], 0.8]), stability_dof=np.array([4.0, 6.0, 8.0])
        ),
        calibrations=Calibrations(np.arange(3), [np.ones(3), np.ones(3), np.ones(2)], (), (72, 73, 74)),
        found_factors=FoundFactors(
            np.array([[0.1, 0.1, 0.1], [*CARRIED_SCATTER, 0.9], [0.1, 0.1, 0.1]]), np.array([0.1, CARRIED_REFERENCE, 0.1])
        ),
    )  # fmt: skip


def polynomial(curve, x, along):
    """x + c(x), each coefficient with its error in standard uncertainties."""
    (c0, c1), (u0, u1), _ = curve
    return x + c0 + along[0] * u0 + (c1 + along[1] * u1) * x


def reference_part(curve, x):
    at, u = zip(*curve[2], strict=True)
    return float(np.interp(max(x, at[0]), at, u))


def pressure_at(k, x, e):
    """What the manometer makes of an indication, with the errors of its calibration: below 5 Pa the correction there is held."""
    along, low = (e["scatter", 0], e["scatter", 1]), MANOMETER[2][0][0]
    corrected = polynomial(MANOMETER, x, along)
    if X[k] < low:
        corrected = polynomial(MANOMETER, low, along) + (x - low)
    changed = LIMITS[k] * e["stability", 0] + WIDENED[k] * e["decided", 0]
    return corrected + reference_part(MANOMETER, X[k]) * e["reference", 0] + changed


def velocity_at(estimate, velocity, e):
    """What the probe makes of a velocity: below 4 m/s its coefficient there is held."""
    along, low = (e["probe scatter", 0], e["probe scatter", 1]), IN_DUCT[2][0][0]
    through = polynomial(IN_DUCT, velocity, along)
    if estimate < low:
        lowest = polynomial(IN_DUCT, low, (0.0, 0.0))
        through = lowest * velocity / low + polynomial(IN_DUCT, low, along) - lowest
    limit = PROBE_LIMIT[0] * max(estimate, low) + PROBE_LIMIT[1]
    return through + reference_part(IN_DUCT, estimate) * e["probe reference", 0] + limit * e["probe stability", 0]


def flow_by_hand(e):
    """The flow [m3/s], one number after the other, from the errors in their places."""
    of_air = e["density", 0] + REFERENCE_IN_AIR * e["reference", 0] + CHANGE_IN_AIR * e["stability", 0]
    of_air += sum(part * e["scatter", j] for j, part in enumerate(SCATTER_IN_AIR))
    rho, nothing = RHO * (1.0 + of_air), dict.fromkeys(PLACES, 0.0)
    mean = e["passes", 0]
    for k in range(6):
        estimate = math.sqrt(2.0 * pressure_at(k, X[k], nothing) / RHO)
        pressure = pressure_at(k, X[k] + e["repeatability", k] + e["resolution", k % 3], e)
        mean += OF_PLACE[k % 3] / 2.0 * velocity_at(estimate, math.sqrt(2.0 * pressure / rho), e)
    carried = 1.0 + CARRIED_REFERENCE * e["reference", 0]
    carried += sum(part * e["scatter", j] for j, part in enumerate(CARRIED_SCATTER))
    flow = mean * OPENING / carried
    relative = ("dimension", 0), ("dimension", 1), *((name, 0) for name in ("outlet factor", "method", "method common"))
    for place in (*relative, ("method own", 0), ("plant drift", 0)):
        flow *= 1.0 + e[place]
    return flow


def test_every_error_of_a_traverse_enters_in_its_place():
    """Of each alone, and of all together, against the model written out by hand."""
    one, nothing = one_reading(the_traverse(), 1), dict.fromkeys(PLACES, 0.0)
    assert one.flow(NO_ERRORS).tolist() == pytest.approx([flow_by_hand(nothing)], rel=1e-12)
    size = {place: (0.2 if place[0] in IN_PASCAL else 0.03) * (1.0 + 0.1 * k) for k, place in enumerate(PLACES)}
    for place, error in size.items():
        found = one.flow(Errors(1, {place: np.array([error])})).tolist()
        assert found == pytest.approx([flow_by_hand(nothing | {place: error})], rel=1e-12), place
    drawn = [np.array([error, -0.7 * error]) for error in size.values()]
    expected = [flow_by_hand({place: factor * error for place, error in size.items()}) for factor in (1.0, -0.7)]
    assert ReadingModel(one, PLACES)(*drawn).tolist() == pytest.approx(expected, rel=1e-12)


def test_what_comes_from_a_history_keeps_its_degrees_of_freedom():
    told = the_traverse()
    one = one_reading(told, 1)
    assert (one.instrument.stability_dof, one.probe.stability_dof) == (5.0, 6.0)
    by_limits = replace(told, stability_dof=None, probes=replace(told.probes, stability_dof=None), decided=None)
    one = one_reading(by_limits, 1)
    assert (one.instrument.stability_dof, one.probe.stability_dof) == (math.inf, math.inf)
    assert one.instrument.decided.tolist() == [0.0] * 6
    assert one.probe.decided.tolist() == [0.0] * 6


@pytest.mark.parametrize("left_out", ["influences", "calibrations", "identifier"])
def test_an_instrument_that_did_not_observe_the_air_brings_nothing_through_it(left_out):
    told = the_traverse()
    without = {
        "influences": replace(told, air=replace(told.air, influences=None)),
        "calibrations": replace(told, calibrations=None),
        "identifier": replace(told, calibrations=replace(told.calibrations, identifier=())),
    }[left_out]
    one = one_reading(without, 1)
    assert (one.scatter_in_air.tolist(), one.reference_in_air, one.stability_in_air) == ([0.0, 0.0], 0.0, 0.0)


def test_the_points_of_a_reading_stand_side_by_side_pass_after_pass():
    told = the_traverse()
    assert [points_of(told, row) for row in range(3)] == [slice(0, 1), slice(1, 7), slice(7, 8)]
    assert [passes_of(told, row) for row in range(3)] == [1, 2, 1]
    assert weights_of(told, slice(1, 7)) == pytest.approx([0.1, 0.25, 0.15, 0.1, 0.25, 0.15], rel=1e-15)
    assert one_reading(told, 1).place.tolist() == [0, 1, 2, 0, 1, 2]


def test_readings_of_one_indication_have_one_point_each():
    told = readings(single(4.0), single(6.0), single(7.0))
    assert [points_of(told, row) for row in range(3)] == [slice(0, 1), slice(1, 2), slice(2, 3)]
    assert passes_of(told, 2) == 1
    one = one_reading(told, 1)
    assert (one.indication.tolist(), one.weight.tolist(), one.place.tolist()) == ([6.0], [1.0], [0])
    assert (one.probe, one.carried_scatter.tolist(), one.carried_reference) == (None, [], 0.0)


def test_a_point_on_the_lowest_comparison_is_not_below_it():
    """There the curve's slope 1.02 counts, just below it the slope 1 of a correction that is held."""
    error = Errors(1, {("repeatability", 0): np.array([0.5])})
    for x, slope in ((5.0, 1.02), (4.999, 1.0)):
        one = one_reading(readings(single(x, way=VELOCITY_PRESSURE, density=2.0), curves=[curve_of(*MANOMETER)]), 0)
        estimate = 5.0 + 0.4 + 0.02 * 5.0 + (x - 5.0)
        assert one.flow(error)[0] == pytest.approx(math.sqrt(estimate + slope * 0.5), rel=1e-12)


def test_no_velocity_before_a_probe_is_none_whatever_its_calibration_errs_by():
    pressure = single(60.0, way=VELOCITY_PRESSURE, calibration=1, probe=0)
    one = one_reading(readings(pressure, curves=[curve_of(*IN_DUCT), correction()]), 0)
    gone = Errors(2, {("repeatability", 0): np.array([-60.0, -60.0]), ("probe reference", 0): np.array([1.0, -1.0])})
    assert one.flow(gone).tolist() == [0.0, 0.0]
    left = Errors(1, {("repeatability", 0): np.array([-59.85])})  # of 60 Pa: half a metre per second at 1.2 kg/m3
    assert one.flow(left)[0] == pytest.approx(polynomial(IN_DUCT, 0.5, (0.0, 0.0)), rel=1e-12)


def test_a_change_of_what_an_instrument_indicates_changes_its_value_by_the_slope():
    """One that shows 2.5 for each m/s: limits of 0.5 of its 5.0 are 0.2 m/s."""
    v = np.array([1.0, 2.0, 4.0])
    curve = ResponseCurve(1.0, True, 2.5 * v, np.full(3, 0.01), fit_response(PROPORTIONAL, v, 2.5 * v, None))
    one = one_reading(readings(single(5.0, limit=0.1), curves=[curve]), 0)
    assert one.flow(given_once("stability", 0, -0.5)) == pytest.approx([2.0 - 0.5 * 0.2], rel=1e-12)


def test_a_vane_is_asked_at_what_the_air_makes_of_its_indication():
    """s = sqrt(rho/rho_cal) = 1.1: v = (x s + c(x s))/s with the reference part at x s."""
    vane = single(6.0, way=VANE, density=1.21 * 1.2, reference_density=1.2)
    one = one_reading(readings(vane, curves=[correction((0.1, 0.05), nodes=((0.5, 0.1), (20.0, 0.4)))]), 0)
    part = 0.1 + 0.3 * (6.6 - 0.5) / 19.5
    found = one.flow(Errors(1, {("reference", 0): np.array([2.0])}))[0]
    assert found == pytest.approx((6.6 + 0.1 + 0.05 * 6.6 + 2.0 * part) / 1.1, rel=1e-12)


def test_the_ratio_of_a_hood_errs_in_the_pair_that_it_stands_in():
    """[(r/q1^2 - 1/q2^2)/(r - 1)]^(-1/2) with r = 4.5, 0.5 more than it is taken as."""
    one = one_reading(readings(pair(0.60, 0.54, 4.0), single(0.5)), 0)
    expected = ((4.5 / 0.60**2 - 1 / 0.54**2) / 3.5) ** -0.5
    assert one.flow(given_once("resistance ratio", 0, 0.5)) == pytest.approx([expected], rel=1e-12)


def test_errors_drawn_in_one_place_are_as_many_as_were_drawn():
    found = errors_at([("scatter", 1)], [np.array([0.1, 0.2])])
    assert found.trials == 2
    assert found.directions("scatter", 2).tolist() == [[0.0, 0.1], [0.0, 0.2]]
