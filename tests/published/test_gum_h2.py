"""JCGM 100:2008 (GUM), H.2, Tables H.2 to H.5: resistance, reactance and impedance from correlated observations.

Source: reference_data/gum_h2. Observations and Tables H.2, H.3: class A.
Tables H.4 and H.5: class B, from memory, recomputed.
"""

import numpy as np
import pytest

from calib.uncertainty.estimate import type_a, type_a_covariance
from calib.uncertainty.propagation import propagate
from tests.reference import agrees, numbers, printed, rows

PUBLISHED = printed("gum_h2", "published")
UNCORRELATED = printed("gum_h2", "table_h5")
OBSERVED = np.array(numbers("gum_h2", "observations"))  # V [V], I [mA], phi [rad]
INPUTS, OUTPUTS = ("V", "I", "phi"), ("R", "X", "Z")
PAIRS = [(0, 1), (0, 2), (1, 2)]


def impedance(v, i, phi):
    """R = (V/I) cos(phi), X = (V/I) sin(phi), Z = V/I [ohm]."""
    return 1000 * v / i * np.array([np.cos(phi), np.sin(phi), np.ones_like(phi)])


def outputs(covariance_of_inputs):
    v, i, phi = OBSERVED.mean(axis=1)
    r, x, z = impedance(v, i, phi)
    partial_derivatives = [[r / v, -r / i, -x], [x / v, -x / i, r], [z / v, -z / i, 0.0]]
    return propagate(partial_derivatives, covariance_of_inputs)


def uncertainties(covariance):
    return np.sqrt(np.diag(covariance))


def correlation(covariance, pair):
    return covariance[pair] / np.prod(uncertainties(covariance)[list(pair)])


def named(quantities):
    """Each pair of quantities with the symbol of its correlation coefficient."""
    return [(pair, f"r({quantities[pair[0]]},{quantities[pair[1]]})") for pair in PAIRS]


@pytest.mark.parametrize(("number", "symbol"), list(enumerate(INPUTS)))
def test_means_and_uncertainties_of_the_observed_quantities(number, symbol):
    means, covariance = type_a_covariance(OBSERVED)
    assert agrees(means[number], PUBLISHED[symbol])
    assert agrees(uncertainties(covariance)[number], PUBLISHED[f"u({symbol})"])


@pytest.mark.parametrize(("pair", "symbol"), named(INPUTS))
def test_correlations_of_the_observed_quantities(pair, symbol):
    assert agrees(correlation(type_a_covariance(OBSERVED)[1], pair), PUBLISHED[symbol])


@pytest.mark.parametrize(("number", "symbol"), list(enumerate(OUTPUTS)))
def test_values_of_the_outputs(number, symbol):
    assert agrees(impedance(*type_a_covariance(OBSERVED)[0])[number], PUBLISHED[symbol])


@pytest.mark.parametrize(
    ("number", "symbol", "units"),
    # Exception, one unit for u(X): 0.2956 by this first approach, printed 0.295 as the second approach gives it.
    [(0, "R", "0.5"), (1, "X", "1"), (2, "Z", "0.5")],
)
def test_uncertainties_of_the_outputs(number, symbol, units):
    covariance = outputs(type_a_covariance(OBSERVED)[1])
    assert agrees(uncertainties(covariance)[number], PUBLISHED[f"u({symbol})"], units)


@pytest.mark.parametrize(("pair", "symbol"), named(OUTPUTS))
def test_correlations_of_the_outputs(pair, symbol):
    assert agrees(correlation(outputs(type_a_covariance(OBSERVED)[1]), pair), PUBLISHED[symbol])


@pytest.mark.parametrize(("number", "symbol"), list(enumerate(OUTPUTS)))
def test_uncertainties_were_the_correlations_neglected(number, symbol):
    neglected = np.diag(np.diag(type_a_covariance(OBSERVED)[1]))
    assert agrees(uncertainties(outputs(neglected))[number], UNCORRELATED[f"u({symbol})"])


@pytest.mark.parametrize(("pair", "symbol"), named(OUTPUTS))
def test_correlations_of_the_outputs_were_those_of_the_inputs_neglected(pair, symbol):
    neglected = np.diag(np.diag(type_a_covariance(OBSERVED)[1]))
    assert agrees(correlation(outputs(neglected), pair), UNCORRELATED[symbol])


@pytest.mark.parametrize(("number", "symbol"), list(enumerate(OUTPUTS)))
def test_the_second_approach_evaluates_each_set_of_observations(number, symbol):
    sets = impedance(*OBSERVED)[number]
    estimate = type_a(sets)
    assert all(agrees(one, row[f"{symbol} [ohm]"]) for one, row in zip(sets, rows("gum_h2", "table_h4"), strict=True))
    assert agrees(estimate.value, PUBLISHED[symbol])
    assert agrees(estimate.standard_uncertainty, PUBLISHED[f"u({symbol})"])
