"""What one instrument is wrong by, in a reading and in the air of that reading: one error with two sensitivities (GUM 5.2.2)."""

import math
from dataclasses import replace

import numpy as np
import pytest

from calib.measurement import Air, AirOfReadings, Calibrations, ObservedBy, flows
from calib.measurement.readings import StandardBehind
from calib.measurement.velocity_pressure import VELOCITY_PRESSURE
from calib.uncertainty.propagation import combine_totals
from tests.arrays import correction, readings, single

PASCAL, DENSITY = 50.0, 1.2
BY_DENSITY = -0.5 * math.sqrt(2 * PASCAL / DENSITY)  # dv/d ln rho of v = sqrt(2 dp/rho)
SLOPE = 0.5 * math.sqrt(2 * PASCAL / DENSITY) / PASCAL  # dv/d dp
U_REFERENCE = 0.3  # Pa, at all comparisons
OF_AIR = 0.004  # of ln rho, what the same reference part does to the density
NODES = ((10.0, U_REFERENCE), (100.0, U_REFERENCE), (400.0, U_REFERENCE))


def air(n, calibration=7, reference=OF_AIR, at=240.0, scatter=0.0):
    none, numbers = np.zeros((n, 1)), np.zeros(n, dtype=np.int64)
    observed = ObservedBy(
        numbers, np.full((n, 1), at), np.full((n, 1), scatter), np.full((n, 1), reference), none,
        np.full((n, 3), math.inf),
    )  # fmt: skip
    return AirOfReadings(
        np.full(n, DENSITY), none, numbers, [observed], np.zeros(n), none, np.zeros(n), identifiers=(calibration,)
    )


def pressures(*values, standards=(), identifier=(7,), curves=None, **of_air):
    """Velocity pressures that are read by the calibration 7, in air that some calibration observed too."""
    every = [single(value, way=VELOCITY_PRESSURE, density=DENSITY) for value in values]
    own = [correction(nodes=NODES)] if curves is None else curves
    n = len(values)
    conditions, unity = np.zeros(n, dtype=np.int64), np.ones(n)
    return replace(
        readings(*every, curves=own),
        air=Air(np.full(n, DENSITY), np.zeros(n), conditions, unity, influences=air(n, **of_air)),
        calibrations=Calibrations(np.zeros(len(own), dtype=np.int64), [np.ones(3)] * len(own), standards, identifier),
    )


def line(found, name):
    (parts,) = (each.parts for each in found.contributions if each.name == name)
    return np.linalg.norm(parts, axis=1)


def test_the_reference_part_of_both_uses_adds_with_its_signs():
    """A pressure that is read high makes more velocity, a density that is told high less."""
    found = flows(pressures(PASCAL))
    assert line(found, "reference standard") == pytest.approx([SLOPE * U_REFERENCE + BY_DENSITY * OF_AIR], rel=1e-12)
    assert line(found, "density") == pytest.approx([0.0], abs=1e-15)


@pytest.mark.parametrize(("calibration", "observers"), [(7, 0), (8, 3)])
def test_calibrations_that_all_show_a_flow_leave_nothing_to_observers(calibration, observers):
    """Of the others three lines: scatter, reference part, change."""
    (density,) = (
        each for each in flows(pressures(PASCAL, calibration=calibration)).contributions if each.name == "density"
    )
    assert len([share for share in density.shared if share.pool]) == observers


def test_the_scatter_of_both_uses_adds_along_the_directions_of_the_curve():
    curve = correction(covariance=[[0.04]], nodes=NODES)
    found = flows(pressures(PASCAL, curves=[curve], scatter=0.001, reference=0.0))
    assert line(found, "calibration scatter") == pytest.approx([SLOPE * 0.2 + BY_DENSITY * 0.001], rel=1e-12)


def test_a_scatter_in_fewer_directions_than_the_curve_has_adds_in_those():
    """A curve of two directions, of which the air tells the first alone."""
    curve = correction((0.0, 0.0), [[0.04, 0.0], [0.0, 1e-6]], nodes=NODES)
    plain, found = (
        flows(pressures(PASCAL, 200.0, curves=[curve], scatter=scatter, reference=0.0)) for scatter in (0.0, 0.001)
    )
    before, after = (
        next(each.parts for each in of.contributions if each.name == "calibration scatter") for of in (plain, found)
    )
    of_air = 0.001 * -0.5 * found.flow
    assert after - before == pytest.approx(np.column_stack([of_air, np.zeros(2)]), rel=1e-9, abs=1e-15)


def test_another_instrument_s_part_stays_in_the_line_of_the_density():
    found = flows(pressures(PASCAL, calibration=8))
    assert line(found, "reference standard") == pytest.approx([SLOPE * U_REFERENCE], rel=1e-12)
    assert line(found, "density") == pytest.approx([abs(BY_DENSITY) * OF_AIR], rel=1e-12)


def test_what_the_calibration_bears_of_a_standard_adds_in_its_own_parts():
    """The standard behind it is worth 0.6 of the reference value at every comparison: so it is of both uses together."""
    share = np.array([[0.6, 0.0, 0.0]] * 3)
    behind = [StandardBehind(1, share, np.zeros((3, 1)), np.zeros((3, 3)))], []
    curves = [correction(nodes=NODES)] * 2
    found = flows(pressures(PASCAL, standards=behind, identifier=(7, 9), curves=curves))
    (reference,) = (each for each in found.contributions if each.name == "reference standard")
    together = SLOPE * U_REFERENCE + BY_DENSITY * OF_AIR
    assert line(found, "reference standard") == pytest.approx([together], rel=1e-12)
    assert np.sort(np.abs(reference.parts[0]))[-2:] == pytest.approx([0.6 * together, 0.8 * together], rel=1e-12)


@pytest.mark.parametrize("sign", [1.0, -1.0])
def test_a_total_bears_both_uses_at_the_comparisons_where_they_stand(sign):
    """50 and 200 Pa beside a static pressure of 250 Pa, errors at 10, 100 and 400 Pa: by hat functions between them, P^2 + N^2."""
    found = flows(pressures(PASCAL, 200.0, at=250.0))

    def at_nodes(pascal, worth):
        return worth * np.array([np.interp(pascal, [10, 100, 400], hat) for hat in np.eye(3)])

    worth = np.zeros(3)
    for pascal, of in ((PASCAL, 1.0), (200.0, sign)):
        v = math.sqrt(2 * pascal / DENSITY)
        worth += of * (at_nodes(pascal, 0.5 * v / pascal * U_REFERENCE) + at_nodes(250.0, -0.5 * v * OF_AIR))
    expected = worth[worth > 0].sum() ** 2 + worth[worth < 0].sum() ** 2
    own = line(found, "reference standard")
    combined = combine_totals(found.contributions, np.zeros(2, dtype=np.int64), np.array([1.0, sign]), 1)
    assert combined.standard_uncertainty**2 == pytest.approx([max(expected, float(own @ own))], rel=1e-9)
