"""EA-4/02 M:2013, supplement S9: a multimeter at 100 V against a calibrator, as a calibration in house.

    E = V_iX - V_S + dV_iX - dV_S

Source: reference_data/ea_4_02/s9.csv and results.csv, class C: from memory, recomputed. The calibrator is a reference standard
whose certificate states u(V_S) and whose change since then lies within the limits of dV_S; the digital step of the multimeter is
twice the half-width of dV_iX.
"""

import numpy as np
import pytest

from calib.procedures.calibrate.calibrate_in_house import reference_values
from calib.procedures.certificate.assess import assess
from calib.procedures.certificate.fit_curve import fit_curve
from calib.procedures.measure.indicated import IndicationsObserved, StabilityHere
from calib.records.record import typed
from calib.records.tables.instruments import Instrument
from tests.reference import agrees, rows

INPUTS = {row["symbol"]: row for row in rows("ea_4_02", "s9")}
RESULT = next(row for row in rows("ea_4_02", "results") if row["clause"] == "S9")


def instrument(tag, resolution):
    return Instrument(
        tag=tag, kind="", maker="", model="", serial="", quantity="voltage", range_low="0", range_high="200", unit="V",
        resolution=resolution, mpe_absolute="0.2", interval_months=12,
    )  # fmt: skip


def comparison(reference, indication, U, repeatability=None):
    return {
        "phase": "as-found", "reference": reference, "indication": indication, "unit": "V", "indication_unit": None,
        "expanded_uncertainty": U, "coverage_factor": "2", "repeatability": repeatability, "observations": None,
    }  # fmt: skip


@pytest.fixture
def reference():
    """The calibrator's value at 100 V with its uncertainty."""
    calibrator = instrument("CAL", "0.000001")
    u = float(INPUTS["VS"]["u"])
    on_certificate = [comparison(point, point, f"{2 * u}") for point in ("50", "100", "150", "200")]
    curve = fit_curve(typed(calibrator), on_certificate).choice.curve
    seen = IndicationsObserved(np.array([100.0]), np.zeros(1), np.array([False]), np.array([np.inf]))
    limits = StabilityHere(np.array([float(INPUTS["dVS"]["half-width"])]), np.array([np.inf]))
    return reference_values(calibrator, curve, seen, limits, 0.0)


def test_the_reference_value_carries_the_certificate_and_the_drift_of_the_calibrator(reference):
    assert reference.value[0] == pytest.approx(float(INPUTS["VS"]["estimate"]), abs=1e-9)
    # u(V_S) = 0.001 V and 0.011 V/sqrt(3) = 0.0064 V, as printed.
    assert reference.standard_uncertainty[0] == pytest.approx(np.hypot(0.001, 0.011 / np.sqrt(3)), rel=1e-6)


def test_the_error_of_the_multimeter_has_the_printed_value_and_uncertainty(reference):
    step = f"{2 * float(INPUTS['dViX']['half-width'])}"
    multimeter = typed(instrument("DMM", step))
    U = f"{reference.expanded_uncertainty[0]:.9f}"
    found = assess(
        multimeter, [comparison("100.0", INPUTS["ViX"]["estimate"], U, "0")], "as-found", "simple", "indication"
    )
    assert agrees(found.judged.errors.error[0], RESULT["value"])
    assert agrees(found.judged.errors.standard_uncertainty[0], RESULT["u"])
