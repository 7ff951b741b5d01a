"""GUM 5.1.2, 5.2.2 and G.4.1: flow of a round duct from a traverse with a pitot-static tube. Units: Pa, m, s.

Source: tests/worked_cases/pitot_traverse_round, class D: illustrative inputs, results computed independently by compute.py
there and written with 12 digits.

The case in the arrays of this project: the manometer's correction and its uncertainty are a curve with a reference part, the same
at all points; the coefficient K is the curve of a probe, its uncertainty a reference part in proportion to the velocity. The noise
of a point is 2 % of its velocity, 4 % of its corrected pressure. The case gives it 15 degrees of freedom as a whole; here each
point has the share that makes 15 by Welch-Satterthwaite. The diameter's uncertainty is taken for that of a rectangular one.
"""

import math
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import stdtrit

from calib.measurement import flows
from calib.measurement.ways import VELOCITY_PRESSURE
from calib.procedures.measure.distributions import model_of
from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.monte_carlo import propagate_distributions
from calib.uncertainty.propagation import combine
from tests.arrays import correction, line, readings, several
from tests.reference import numbers, printed

GIVEN = {symbol: float(text) for symbol, text in printed("pitot_traverse_round", "inputs").items()}
RESULT = {symbol: float(text) for symbol, text in printed("pitot_traverse_round", "results").items()}
_, PRESSURE = numbers("pitot_traverse_round", "pressures")
CORRECTED = PRESSURE + GIVEN["correction"]
TRIALS = 1_000_000
LINES = {
    "manometer calibration": "reference standard",
    "density": "density",
    "pitot coefficient": "probe",
    "duct diameter": "dimension",
    "reading noise": "repeatability",
    "traverse method": "method",
}


def as_printed(number):
    return pytest.approx(number, rel=1e-11)


def duct():
    manometer = correction((GIVEN["correction"],), nodes=((0.0, GIVEN["u correction"]), (100.0, GIVEN["u correction"])))
    probe = correction((0.0, GIVEN["K"] - 1.0), nodes=((0.0, 0.0), (100.0, 100.0 * GIVEN["u K"])))
    one = several(
        PRESSURE.tolist(),
        way=VELOCITY_PRESSURE,
        density=GIVEN["rho"],
        u_density=GIVEN["u rho"] / GIVEN["rho"],
        probe=1,
        area=math.pi / 4 * GIVEN["D"] ** 2,
        dimension=2 * math.sqrt(3) * GIVEN["u D"] / GIVEN["D"],
        method=GIVEN["u method"],
    )
    # What a point brings goes with its velocity, the root of the pressure: fourth powers of one over the square of the sum.
    dof = 15.0 * np.sum(CORRECTED**2) / np.sum(CORRECTED) ** 2
    noise = {"repeatability": 2 * GIVEN["u point"] * CORRECTED, "repeatability_dof": np.full(PRESSURE.size, dof)}
    return replace(readings(one, curves=[manometer, probe]), **noise)


def found():
    return flows(duct())


def combined():
    return combine(found().contributions)


def test_the_mean_velocity_and_the_flow():
    assert found().velocity == as_printed([RESULT["v"]])
    assert duct().area == as_printed([RESULT["A"]])
    assert found().flow == as_printed([RESULT["q"]])
    assert 3600 * found().flow == as_printed([RESULT["q hourly"]])


def test_the_mean_of_the_pressures_would_give_too_much_and_is_not_what_is_taken():
    of_mean = GIVEN["K"] * math.sqrt(2 * np.mean(CORRECTED) / GIVEN["rho"]) * duct().area
    assert of_mean == as_printed([RESULT["q of mean pressure"]])
    assert 100 * (of_mean / found().flow - 1) == pytest.approx([RESULT["excess of mean pressure"]], rel=1e-11)
    assert found().flow < of_mean


@pytest.mark.parametrize("term", LINES)
def test_each_term_of_the_budget(term):
    assert line(found(), LINES[term]) == as_printed([RESULT[f"term {term}"]])


def test_no_other_line_contributes():
    others = {one.name for one in found().contributions} - set(LINES.values())
    assert others == {"resolution", "calibration scatter", "stability", "outlet factor"}
    assert all(line(found(), name) == [0.0] for name in others)


def test_the_combined_uncertainty():
    assert combined().standard_uncertainty == as_printed([RESULT["u_c"]])
    assert 100 * combined().standard_uncertainty / found().flow == as_printed([RESULT["u_c relative"]])


def test_the_effective_degrees_of_freedom():
    assert combined().degrees_of_freedom == as_printed([RESULT["nu_eff"]])


def test_the_coverage_factor_and_the_expanded_uncertainty():
    # The printed k takes 95.45 % by its digits and the degrees of freedom uncut.
    k = stdtrit(combined().degrees_of_freedom, 0.97725)
    assert k == as_printed([RESULT["k"]])
    assert k * combined().standard_uncertainty == as_printed([RESULT["U"]])
    assert 100 * k * combined().standard_uncertainty / found().flow == as_printed([RESULT["U relative"]])


def test_the_coverage_factor_of_whole_degrees_of_freedom_is_barely_different():
    # GUM G.4.1 NOTE 1 cuts 814.48 to 814; Table G.2 takes 95.45 % for two standard deviations.
    assert coverage_factor(combined().degrees_of_freedom) == pytest.approx([RESULT["k"]], rel=1e-4)


@pytest.fixture(scope="module")
def drawn():
    """Every uncertainty taken as exactly known, as the distribution of the case has it: its standard deviation is nearly u_c."""
    known = replace(duct(), repeatability_dof=np.full(PRESSURE.size, math.inf))
    inputs, model = model_of(known, 0)
    return propagate_distributions(model, inputs, seed=20260305, trials=TRIALS)


def test_the_mean_of_the_draws(drawn):
    """Four standard deviations of a mean of as many draws.

    The case has its noise in the velocity. Here it is in the pressure, whose root bends: the mean is lower by (u/dp)^2/8 of it
    (GUM 5.1.2 NOTE).
    """
    scatter = math.sqrt(1 / TRIALS) * RESULT["u_c"]
    lower = (2 * GIVEN["u point"]) ** 2 / 8
    assert drawn.value == pytest.approx(RESULT["mean of the distribution"] * (1 - lower), abs=4 * scatter)


def test_the_standard_deviation_of_the_draws(drawn):
    scatter = math.sqrt(1 / (2 * TRIALS)) * RESULT["u_c"]
    assert drawn.standard_uncertainty == pytest.approx(RESULT["sd of the distribution"], abs=4 * scatter)
