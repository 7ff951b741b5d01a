"""GUM 4.2.3, 5.1.2 and G.4.1: effective area of a grille from four duct traverses, and a flow measured with it. Units: m, s.

Source: tests/worked_cases/outlet_factor_vector, class D: illustrative inputs, results computed independently by compute.py
there and written with 12 digits.
"""

import math

import numpy as np
import pytest
from scipy.special import stdtrit

from calib.airflow.factor import found_factor
from calib.airflow.outlet import volume_flow
from calib.procedures.pairs.factor_uncertainty import OTHER, SAME, factor_results
from calib.records.tables.factors import FoundFactor
from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.estimate import rectangular, resolution, type_a
from calib.uncertainty.propagation import welch_satterthwaite
from tests.reference import numbers, printed

Q_REFERENCE, V_FACE = numbers("outlet_factor_vector", "pairs")
(GRID,) = numbers("outlet_factor_vector", "grid")
AREA = {symbol: float(text) for symbol, text in printed("outlet_factor_vector", "effective_area").items()}
FLOW = {symbol: float(text) for symbol, text in printed("outlet_factor_vector", "flow").items()}


def as_printed(number):
    return pytest.approx(number, rel=1e-11)


def found():
    return found_factor(Q_REFERENCE, V_FACE, 1.0)


def of_factor(*, same_calibration):
    area = found()
    factor = FoundFactor(
        value=area.value,
        relative_spread=area.standard_uncertainty_of_mean / area.value,
        degrees_of_freedom=area.degrees_of_freedom,
        relative_reference=AREA["u traverse"],
        relative_instrument=AREA["u vane"],
    )
    row = SAME if same_calibration else OTHER
    return float(factor_results(factor).combined.standard_uncertainty[row]) / area.value


def velocity():
    return float(np.mean(GRID)) + FLOW["correction"]


def flow():
    return volume_flow(velocity(), found().value, 1.0)


def terms():
    """The budget's terms, all in m3/s."""
    return {
        "Ak": flow() * of_factor(same_calibration=True),
        "repeatability": flow() * FLOW["u repeatability"],
        "resolution": found().value * resolution(FLOW["resolution step"]),
        "drift": flow() * rectangular(FLOW["drift limit"]),
    }


def u_c():
    return math.hypot(*terms().values())


def effective_degrees_of_freedom():
    # The area's term is two: the mean of four pairs with 3 degrees of freedom, and the traverse taken as exactly known.
    of_mean = flow() * found().standard_uncertainty_of_mean / found().value
    of_traverse = flow() * AREA["u traverse"]
    rest = [terms()[name] for name in ("repeatability", "resolution", "drift")]
    degrees = [found().degrees_of_freedom, math.inf, FLOW["dof repeatability"], math.inf, math.inf]
    return float(welch_satterthwaite([of_mean, of_traverse, *rest], degrees))


def test_the_effective_area_is_the_mean_of_the_pairs():
    assert found().value == as_printed(AREA["Ak"])
    assert found().standard_uncertainty_of_mean == as_printed(AREA["s of mean"])
    assert found().degrees_of_freedom == AREA["dof"]


def test_the_outlet_factor_is_the_effective_area_over_the_gross_area():
    assert found_factor(Q_REFERENCE, V_FACE, AREA["gross area"]).value == as_printed(AREA["Ak over gross"])


def test_the_vanes_calibration_counts_where_another_instrument_uses_the_factor():
    assert 100 * of_factor(same_calibration=False) == as_printed(AREA["u other instrument"])


def test_the_vanes_calibration_cancels_where_the_same_vane_uses_the_factor():
    assert 100 * of_factor(same_calibration=True) == as_printed(AREA["u same vane"])


def test_the_flow_through_the_grille():
    assert velocity() == as_printed(FLOW["v mean corrected"])
    assert flow() == as_printed(FLOW["q"])


@pytest.mark.parametrize("name", ["Ak", "repeatability", "resolution", "drift"])
def test_each_term_of_the_budget(name):
    assert terms()[name] == as_printed(FLOW[f"term {name}"])


def test_the_combined_uncertainty():
    assert u_c() == as_printed(FLOW["u_c"])
    assert 100 * u_c() / flow() == as_printed(FLOW["u_c relative"])


def test_the_effective_degrees_of_freedom():
    assert effective_degrees_of_freedom() == as_printed(FLOW["nu_eff"])


def test_the_coverage_factor_and_the_expanded_uncertainty():
    # The printed k takes 95.45 % by its digits and the degrees of freedom uncut.
    k = float(stdtrit(effective_degrees_of_freedom(), 0.97725))
    assert k == as_printed(FLOW["k"])
    assert 100 * k * u_c() / flow() == as_printed(FLOW["U relative"])


def test_the_coverage_factor_of_whole_degrees_of_freedom_is_barely_larger():
    # Table G.2 takes 95.45 % for two standard deviations; GUM G.4.1 NOTE 1 would cut 99.86 to 99.
    interpolated, cut = coverage_factor([effective_degrees_of_freedom(), math.floor(effective_degrees_of_freedom())])
    assert FLOW["k"] == pytest.approx(interpolated, rel=1e-4)
    assert interpolated < cut < interpolated * 1.0002


def test_the_spread_over_the_grid_is_the_profile_and_no_uncertainty_of_the_mean():
    # The trap: s/sqrt(n) over the grid would take the pattern of the flow for scatter about one quantity.
    assert 100 * np.std(GRID, ddof=1) / np.mean(GRID) == as_printed(FLOW["spatial sd"])
    trap = type_a(GRID.tolist()).standard_uncertainty / velocity()
    assert 100 * trap == as_printed(FLOW["trap"])
    assert trap > terms()["repeatability"] / flow()
