"""A report on a meter that shows a pressure and was calibrated as velocity: its budget in full, worked out from the page.

Source: ISO 3966, v = sqrt(2 dp/rho): the comparisons lie on v = 1 m/s sqrt(dp/Pa), and the velocity goes with rho^(-1/2).
"""

import math
import re

import pytest

from tests.every_way import every_way
from tests.folders import records_of
from tests.report_forms import Page, report_of

PRESSURES = (4, 16, 64, 144, 400)
METER = {
    "tag": "PM-1", "kind": "meter and tube", "maker": "Maker", "model": "M1", "serial": "301", "quantity": "air velocity",
    "range_low": "1", "range_high": "1000", "unit": "Pa", "resolution": "0.1", "mpe_percent": "1", "mpe_absolute": "0.5",
    "interval_months": "24", "repeatability": "0.2", "density_effect": "velocity pressure", "indication_quantity": "pressure",
}  # fmt: skip
CERTIFICATE = {"tag": "PM-1", "certificate": "E-201"}
CALIBRATION = {
    "laboratory": "North Laboratory", "calibrated_on": "2026-01-12", "accepted_on": "2026-01-19", "temperature_degC": "20.0",
    "pressure_kPa": "101.325", "humidity_percent": "40",
}  # fmt: skip
OUTLET = {
    "job": "E-1", "outlet": "S-9", "system": "AH-9", "service": "supply", "shape": "rectangular", "width": "400",
    "height": "250", "dimension_unit": "mm", "dimension_limit": "1", "outlet_factor": "1", "outlet_factor_source": "data sheet",
    "outlet_factor_standard_uncertainty": "0.02", "design_flow": "3600", "flow_unit": "m3/h", "tolerance_percent": "10",
}  # fmt: skip
READING = {
    "job": "E-1", "outlet": "S-9", "instrument": "PM-1", "observed_at": "2026-03-05T10:50+01:00", "unit": "Pa",
    "observations": "99;101;100", "method": "sweep", "operator": "T. One", "conditions": "rooms",
}  # fmt: skip


def with_meter():
    """The job in every way, and a grille at which the meter shows 100 Pa."""
    sheets = every_way()
    added = {"instruments.csv": [METER], "calibrations.csv": [CERTIFICATE | CALIBRATION], "outlets.csv": [OUTLET]}
    added["readings.csv"] = [READING]
    added["comparisons.csv"] = [
        CERTIFICATE
        | {
            "phase": "as-found", "reference": f"{math.sqrt(dp):g}", "indication": f"{dp}", "unit": "m/s", "indication_unit": "Pa",
            "expanded_uncertainty": f"{0.01 * math.sqrt(dp):g}", "coverage_factor": "2", "repeatability": "0.1",
            "observations": "5",
        }
        for dp in PRESSURES
    ]  # fmt: skip
    for name, rows in added.items():
        columns = dict.fromkeys([*sheets[name][0], *rows[0]], "")
        sheets[name] = [columns | row for row in (*sheets[name], *rows)]
    return sheets


@pytest.fixture(scope="module")
def page(tmp_path_factory):
    folder = tmp_path_factory.mktemp("meter")
    return report_of(records_of(folder, with_meter()), folder / "report", "html", "E-1")["html"]


def test_the_flow_is_worked_out_from_the_page(page):
    (_, part) = re.split(r"A\d+\. Probe and meter calibrated together[^<]*response curve", page)
    text = Page.of(re.split(r"<h[23]", part)[0])
    rows = {row[0]: row for row in text.rows if len(row) > 2}
    rho, rho_0 = float(rows["ρ"][1]), float(re.search(r"ρ_0 = (\S+)", text.text)[1])
    velocity = math.sqrt(100) * math.sqrt(rho_0 / rho)
    assert float(rows["v̄"][1]) == pytest.approx(velocity, rel=2e-6)
    assert float(rows["q_V"][1]) == pytest.approx(velocity * 0.1 * 3600, rel=2e-6)
