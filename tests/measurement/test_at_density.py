"""Flows at one density: what the instruments' own exponents make of each error of the air, against GTC.

GTC (GUM Tree Calculator) is told the inputs and their correlations, and differentiates the whole chain by itself, the formula of
CIPM-2007 written out (reference_data/cipm_2007, class C).
"""

import math
from dataclasses import replace

import GTC
import numpy as np
import pytest

from calib.airflow.air import FORMULA_RELATIVE_UNCERTAINTY, density, density_sensitivities
from calib.measurement import AirOfReadings, Flows, ObservedBy, influences_of_air
from calib.measurement import at_density as taken_to_density
from calib.measurement.influences_of_air import InfluencesOfAir
from calib.uncertainty.propagation import combine, combine_totals
from tests.contributions import contribution
from tests.reference import printed

K = {symbol: float(text) for symbol, text in printed("cipm_2007", "coefficients").items()}
M3_H = 1 / 3600
RHO_0 = 1.2

# Supply by a vane, return by a velocity pressure, exhaust by a thermal anemometer: [degC], [1], [m3/h], d ln q/d ln rho.
TEMPERATURES, HUMIDITIES = np.array([14.0, 22.0, 24.0]) + 273.15, np.array([0.8, 0.5, 0.45])
FLOWS, EXPONENTS = np.array([3141.0, 2650.0, 240.0]) * M3_H, np.array([0.0, -0.5, -1.0])
OWN = np.array([0.02, 0.015, 0.03])  # of each flow, relative
PRESSURE = 97.5e3
# One thermometer, one barometer; of each the calibration, and the single indication; humidities are stated.
U_THERMOMETER, U_INDICATION, U_BAROMETER, U_SHOWN, U_HUMIDITY = 0.25, 0.06, 60.0, 4.0, 0.08
SIGNS = np.array([1.0, -1.0, -1.0])


def observed_by(calibration, relative):
    """What the reference part of one calibration does to ln rho of n readings."""
    n, none = relative.size, np.zeros((relative.size, 1))
    numbers = np.full(n, calibration)
    return ObservedBy(numbers, none, none, relative[:, np.newaxis], none, np.full((n, 3), math.inf))


def air():
    """The air of the three readings, each of conditions of its own; one calibration of the thermometer and one of the barometer."""
    rho = density(TEMPERATURES, PRESSURE, HUMIDITIES)
    by_t, by_p, by_h = (each / rho for each in density_sensitivities(TEMPERATURES, PRESSURE, HUMIDITIES))
    column = np.ones(3)
    return AirOfReadings(
        rho,
        np.column_stack([by_t * U_INDICATION, by_p * U_SHOWN]),
        np.arange(3),
        [observed_by(0, by_t * U_THERMOMETER), observed_by(1, by_p * U_BAROMETER)],
        0.0 * column,
        np.column_stack([by_h * U_HUMIDITY, FORMULA_RELATIVE_UNCERTAINTY * column]),
        0.0 * column,
        identifiers=(7, 8),
    )


def flows():
    """The three as measured, each with an error of its own."""
    return Flows(FLOWS, (), FLOWS, (contribution(FLOWS * OWN),), np.empty(0), EXPONENTS * FLOWS)


def at_density(of_flows, of_air, densities, compared=None):
    return taken_to_density(of_flows, influences_of_air(of_air), densities, compared)


def total(found, signs, members=(0, 0, 0)):
    """Value and standard uncertainty of one total."""
    members, signs = np.array(members), np.asarray(signs, dtype=float)
    combined = combine_totals(found.contributions, members, signs, 1)
    return float(np.sum((found.flow * signs)[members == 0])), float(combined.standard_uncertainty[0])


def formula(t_k, p, h):
    """CIPM-2007 on uncertain numbers."""
    t = t_k - 273.15
    saturation = GTC.exp(K["A"] * t_k * t_k + K["B"] * t_k + K["C"] + K["D"] / t_k)
    x = h * (K["alpha"] + K["beta"] * p + K["gamma"] * t * t) * saturation / p
    first = K["a0"] + K["a1"] * t + K["a2"] * t * t + (K["b0"] + K["b1"] * t) * x + (K["c0"] + K["c1"] * t) * x * x
    z = 1 - p / t_k * first + (p / t_k) * (p / t_k) * (K["d"] + K["e"] * x * x)
    return p * K["Ma"] / (z * K["R"] * t_k) * (1 - x * (1 - K["Mv"] / K["Ma"]))


def by_gtc(signs):
    """The same total by GTC: values of one sign share the errors of stated humidities and of the formula, others do not."""
    thermometer, barometer = GTC.ureal(0, U_THERMOMETER), GTC.ureal(0, U_BAROMETER)
    stated = {sign: (GTC.ureal(0, U_HUMIDITY), GTC.ureal(1, FORMULA_RELATIVE_UNCERTAINTY)) for sign in (1.0, -1.0)}
    whole = 0
    for row, sign in enumerate(signs):
        if sign == 0:
            continue
        humid, of_formula = stated[sign]
        temperature = TEMPERATURES[row] + thermometer + GTC.ureal(0, U_INDICATION)
        pressure = PRESSURE + barometer + GTC.ureal(0, U_SHOWN)
        rho = formula(temperature, pressure, HUMIDITIES[row] + humid) * of_formula
        at_estimate = float(GTC.value(rho))
        as_measured = FLOWS[row] * GTC.ureal(1, OWN[row]) * (rho / at_estimate) ** EXPONENTS[row]
        whole = whole + sign * as_measured * rho / RHO_0
    return GTC.value(whole), GTC.uncertainty(whole)


@pytest.mark.parametrize("signs", [(1, 0, 0), (0, 1, 0), (0, 0, 1), (1, -1, -1), (1, 1, 1), (1, -1, 0), (1, 1, -1)])
def test_totals_at_a_density_are_those_of_gtc_with_correlated_inputs(signs):
    found = at_density(flows(), air(), np.full(3, RHO_0))
    value, u = total(found, signs, [0 if sign else -1 for sign in signs])
    expected, u_expected = by_gtc([float(sign) for sign in signs])
    assert value == pytest.approx(expected, rel=1e-12)
    assert u == pytest.approx(u_expected, rel=1e-9)


def test_a_velocity_pressure_has_half_the_density_s_error_and_a_thermal_anemometer_none():
    rho = air().density
    relative = np.linalg.norm(
        np.column_stack([air().own, air().stated, *(by.reference for by in air().of_calibrations)]), axis=1
    )
    found = at_density(flows(), air(), np.full(3, RHO_0))
    (of_air,) = [each for each in found.contributions if each.name == "density"]
    expected = FLOWS * rho / RHO_0 * relative * np.array([1.0, 0.5, 0.0])
    assert np.linalg.norm(of_air.parts, axis=1) == pytest.approx(expected, rel=1e-12)


def test_as_measured_they_stay_what_they_are():
    found = at_density(flows(), air(), np.full(3, np.nan))
    assert found.flow.tolist() == FLOWS.tolist()
    (of_air,) = [each for each in found.contributions if each.name == "density"]
    assert np.linalg.norm(of_air.parts[0]) == 0.0


def only(**parts):
    """Air of two readings with one influence alone."""
    plain = {
        "own": np.zeros((2, 1)), "of_calibrations": [], "pressure": np.zeros(2), "stated": np.zeros((2, 1)),
        "not_observed": np.zeros(2),
    }  # fmt: skip
    return AirOfReadings(density=np.array([1.2, 1.2]), conditions=np.array([0, 1]), **(plain | parts))


def difference(one_air):
    """u of the difference of two vanes that measured 100 each, in percent of it."""
    pair = Flows(np.full(2, 100.0), (), np.full(2, 100.0), (contribution([0.0, 0.0]),), np.empty(0), np.zeros(2))
    found = at_density(pair, one_air, np.full(2, 1.2))
    return total(found, (1.0, -1.0), (0, 0))[1], total(found, (1.0, 1.0), (0, 0))[1]


def test_the_altitude_cancels_from_a_net_flow_and_adds_up_in_a_sum():
    net, summed = difference(only(pressure=np.full(2, 0.01)))
    assert (net, summed) == (pytest.approx(0.0, abs=1e-12), pytest.approx(2.0))


def test_a_declared_temperature_never_cancels_between_two_streams_of_air():
    net, summed = difference(only(not_observed=np.full(2, 0.01)))
    assert (net, summed) == (pytest.approx(math.sqrt(2.0)), pytest.approx(2.0))


def test_what_one_indication_has_by_itself_is_independent_of_another():
    assert difference(only(own=np.full((2, 1), 0.01))) == pytest.approx((math.sqrt(2.0), math.sqrt(2.0)))


def test_one_thermometer_in_two_sets_of_conditions_cancels_from_a_net_flow():
    thermometer = [observed_by(0, np.full(2, 0.01))]
    net, summed = difference(only(of_calibrations=thermometer, identifiers=(7,)))
    assert (net, summed) == (pytest.approx(0.0, abs=1e-12), pytest.approx(2.0))


def test_one_thermometer_in_another_slot_is_the_same_one():
    """The first of one set of conditions, the second of another: 0.01 and -0.01 of the densities."""
    first, second = observed_by(0, np.array([0.01, 0.0])), observed_by(0, np.array([0.0, -0.01]))
    net, summed = difference(only(of_calibrations=[first, second], identifiers=(7,)))
    assert (net, summed) == (pytest.approx(2.0), pytest.approx(0.0, abs=1e-12))


def test_few_comparisons_leave_few_degrees_of_freedom_of_the_density():
    """Welch-Satterthwaite (GUM G.2b): 3 of 5 parts of the variance with 4 degrees of freedom, (5/3)^2 4."""
    of_scatter = replace(
        observed_by(0, np.zeros(2)),
        scatter=np.full((2, 1), math.sqrt(3.0)),
        degrees_of_freedom=np.array([[4.0, math.inf, math.inf]] * 2),
    )
    lines = influences_of_air(only(of_calibrations=[of_scatter], own=np.full((2, 1), math.sqrt(2.0)), identifiers=(7,)))
    assert lines.of_air.degrees_of_freedom == pytest.approx([100 / 9, 100 / 9], rel=1e-12)


def test_a_design_as_measured_that_goes_with_the_density_takes_its_error_out_of_the_difference():
    """Q - D with D = d rho/rho_0: a vane that reads the design has no error of the density in it."""
    vane = Flows(np.full(2, 100.0), (), np.full(2, 100.0), (contribution([0.0, 0.0]),), np.empty(0), np.zeros(2))
    found = at_density(vane, only(own=np.full((2, 1), 0.01)), np.full(2, 1.2), np.array([1.0, 0.5]))
    assert combine(found.contributions).standard_uncertainty == pytest.approx([0.0, 0.5], abs=1e-12)


def test_a_meter_that_observed_its_own_air_errs_by_both_together():
    """Alone it errs by 3 of 100; its error of ln rho is 0.04, with the exponent -1/2 as measured and +1/2 at a density."""
    as_measured = contribution([3.0 - 0.5 * 0.04 * 100.0])
    meter = Flows(np.array([100.0]), (), np.array([100.0]), (as_measured,), np.empty(0), np.array([-50.0]))
    nothing = contribution([0.0])
    by_meter = InfluencesOfAir(np.array([1.2]), (contribution([0.04]),), nothing, nothing)
    found = taken_to_density(meter, by_meter, np.array([1.2]))
    assert found.contributions[0].parts == pytest.approx(np.array([[3.0 + 0.5 * 0.04 * 100.0]]), rel=1e-12)
