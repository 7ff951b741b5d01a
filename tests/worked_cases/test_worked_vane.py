"""ISO/TS 28037:2010, 6.3 applied to the corrections of an invented vane anemometer. Unit: m/s.

Source: tests/worked_cases/worked_vane, class D: invented inputs, results computed in exact fractions without this package.
"""

import numpy as np
import pytest

from calib.curves.choice import Comparisons, choose
from calib.uncertainty.estimate import resolution
from tests.reference import agrees, numbers, printed

RESULT = printed("worked_vane", "results")
X = float(RESULT["x"])


def choice():
    reference, indication, repeatability, observations, u = numbers("worked_vane", "comparisons")
    d = np.sqrt(repeatability**2 / observations + resolution(float(RESULT["resolution"])) ** 2)
    return choose(Comparisons(reference, indication, u, d))


@pytest.mark.parametrize("degree", [0, 1])
def test_chi_squared_of_the_candidates(degree):
    fit = choice().candidates[degree].fit
    assert agrees(fit.chi_squared, RESULT[f"chi2 degree {degree}"])
    assert fit.degrees_of_freedom == int(RESULT[f"nu degree {degree}"])


def test_a_constant_is_rejected_and_the_line_is_kept():
    assert not choice().candidates[0].stands
    assert choice().curve.polynomial.degree == 1
    assert agrees(choice().candidates[1].probability, RESULT["p degree 1"])


def test_the_line_is_not_scaled():
    assert choice().curve.scale == 1.0


def test_coefficients_of_the_line():
    coefficients, _ = choice().curve.polynomial.in_powers_of_x()
    assert agrees(coefficients[0], RESULT["b0"])
    assert agrees(coefficients[1], RESULT["b1"])


def test_the_corrected_value():
    assert agrees(choice().curve.value(X), RESULT["v"])


def test_the_scatter_and_the_reference_are_two_uncertainties():
    curve = choice().curve
    assert agrees(curve.scatter_uncertainty(X), RESULT["u scatter"])
    assert agrees(curve.reference_uncertainty(X), RESULT["u reference"])
