"""GUM 5.1.2 and G.4.1: flow of a grille measured with the vane that its effective area was found with. Units: m, s.

Source: tests/worked_cases/outlet_factor_vector, class D: illustrative inputs, results computed independently and written
with 12 digits. tests/worked_cases/test_outlet_factor_from_traverse.py has the area and the budget by hand;
here the same stands in the arrays of this project, and the vane has a calibration whose errors have to cancel.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from calib.airflow.factor import found_factor
from calib.measurement import FoundFactors, flows
from calib.uncertainty.propagation import combine, welch_satterthwaite
from tests.arrays import correction, line, readings, single
from tests.reference import numbers, printed

(GRID,) = numbers("outlet_factor_vector", "grid")
AREA = {symbol: float(text) for symbol, text in printed("outlet_factor_vector", "effective_area").items()}
FLOW = {symbol: float(text) for symbol, text in printed("outlet_factor_vector", "flow").items()}
X = float(np.mean(GRID))
V = X + FLOW["correction"]
# 1.2 % of the velocity at the indication of the grid, and scatter that the case does not have.
VANE = correction((FLOW["correction"],), [[1e-4]], nodes=((X, AREA["u vane"] * V), (20.0, 0.3)))
LINES = {
    "Ak": "outlet factor",
    "repeatability": "repeatability",
    "resolution": "resolution",
    "drift": "stability",
}


def as_printed(number):
    return pytest.approx(number, rel=1e-11)


def of_area():
    """Relative uncertainties of the area and their degrees of freedom: the mean of four pairs, and the traverse."""
    area = found_factor(*numbers("outlet_factor_vector", "pairs"), 1.0)
    u = [area.standard_uncertainty_of_mean / area.value, AREA["u traverse"]]
    return area.value, math.hypot(*u), float(welch_satterthwaite(u, [area.degrees_of_freedom, math.inf]))


def grille(*, same_calibration):
    area, u, dof = of_area()
    one = single(
        X,
        u=FLOW["u repeatability"] * V,
        dof=FLOW["dof repeatability"],
        limit=FLOW["drift limit"] * V / X,
        step=FLOW["resolution step"],
        area=area,
        u_factor=u,
    )
    carried = np.array([[1e-2 / V]]), np.array([AREA["u vane"]])
    factor = FoundFactors(*carried) if same_calibration else None
    return flows(replace(readings(one, curves=[VANE]), outlet_factor_dof=np.array([dof]), found_factors=factor))


def test_the_flow():
    found = grille(same_calibration=True)
    assert found.velocity == as_printed([FLOW["v mean corrected"]])
    assert found.flow == as_printed([FLOW["q"]])


@pytest.mark.parametrize("term", LINES)
def test_each_term_of_the_budget(term):
    assert line(grille(same_calibration=True), LINES[term]) == as_printed([FLOW[f"term {term}"]])


def test_nothing_is_left_of_the_vane_s_calibration():
    found = grille(same_calibration=True)
    assert line(found, "reference standard") == pytest.approx([0.0], abs=1e-15)
    assert line(found, "calibration scatter") == pytest.approx([0.0], abs=1e-15)


def test_the_combined_uncertainty_and_its_degrees_of_freedom():
    combined = combine(grille(same_calibration=True).contributions)
    assert combined.standard_uncertainty == as_printed([FLOW["u_c"]])
    assert combined.degrees_of_freedom == as_printed([FLOW["nu_eff"]])


def test_with_another_calibration_all_of_it_would_count():
    found = grille(same_calibration=False)
    assert line(found, "reference standard") == as_printed([AREA["u vane"] * FLOW["q"]])
    assert combine(found.contributions).standard_uncertainty > FLOW["u_c"]
