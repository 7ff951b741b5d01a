"""JCGM 101:2008, 9.3: calibration of a mass standard, where the terms of first order that air and densities make are nothing.

    dm = (m_Rc + dm_Rc)(1 + (a - a_0)(1/rho_W - 1/rho_R)) - m_nom,     a_0 = 1.2 kg/m3, m_nom = 100 g

Source: reference_data/jcgm_101_9_3, class C: all from memory, recomputed. u = 0.0754 of the Monte Carlo method is that of the
document; here the second derivatives are worked by hand, and what the terms of second order give is held against both.
"""

import math

import numpy as np
import pytest

from calib.uncertainty.distributions import Normal, Rectangular
from calib.uncertainty.monte_carlo import propagate_distributions
from calib.uncertainty.second_order import Derivatives, middle_of_interval, standard_uncertainty_to_second_order
from tests.reference import agrees, rows

INPUTS = {row["quantity"]: row for row in rows("jcgm_101_9_3", "inputs")}
RESULTS = {row["method"]: row for row in rows("jcgm_101_9_3", "results")}
OUTSIDE = 1.2  # kg/m3, conventional density of air
NOMINAL = 100_000.0  # mg


def of_input(row):
    first, second = float(row["first"]), float(row["second"])
    if row["distribution"] == "normal":
        return Normal(first, second)
    return Rectangular(0.5 * (first + second), 0.5 * (second - first))


def difference(reference, added, a, of_weight, of_reference):
    return (reference + added) * (1 + (a - OUTSIDE) * (1 / of_weight - 1 / of_reference)) - NOMINAL


def derivatives():
    """Worked by hand at a = a_0 and rho_W = rho_R = 8000: all that is left are the masses, and air with each density."""
    bent = NOMINAL / 8000.0**2
    first = np.array([1.0, 1.0, 0.0, 0.0, 0.0])
    second = np.zeros((5, 5))
    second[2, 3] = second[3, 2] = -bent
    second[2, 4] = second[4, 2] = bent
    return Derivatives(first, second, np.zeros((5, 5)))


UNCERTAINTIES = [
    [
        float(row["second"])
        if row["distribution"] == "normal"
        else (float(row["second"]) - float(row["first"])) / math.sqrt(12)
        for row in INPUTS.values()
    ]
]


def test_the_law_of_first_order_leaves_out_the_air():
    of_first = math.hypot(*UNCERTAINTIES[0][:2])
    assert agrees(of_first, RESULTS["law of first order"]["u [mg]"])


def test_terms_of_second_order_give_the_printed_uncertainty():
    u = standard_uncertainty_to_second_order(derivatives(), UNCERTAINTIES)[0]
    assert agrees(u, RESULTS["law with terms of second order"]["u [mg]"])


def test_the_interval_of_the_law_with_them_is_the_printed_one_and_symmetric():
    row = RESULTS["law with terms of second order"]
    u = standard_uncertainty_to_second_order(derivatives(), UNCERTAINTIES)[0]
    assert middle_of_interval(derivatives(), UNCERTAINTIES)[0] == 0.0
    for end, sign in (("low [mg]", -1.0), ("high [mg]", 1.0)):
        assert float(row["dm [mg]"]) + sign * 1.96 * u == pytest.approx(float(row[end]), abs=1e-4)


def test_the_monte_carlo_method_gives_the_printed_uncertainty_too():
    # The scatter of u for 2 million trials is 0.00004.
    inputs = [of_input(row) for row in INPUTS.values()]
    drawn = propagate_distributions(difference, inputs, seed=93, coverage_probability=0.95, trials=2_000_000)
    row = RESULTS["Monte Carlo"]
    assert drawn.standard_uncertainty == pytest.approx(float(row["u [mg]"]), abs=0.0003)
    assert drawn.value == pytest.approx(float(row["dm [mg]"]), abs=0.0003)
