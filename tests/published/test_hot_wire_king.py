"""A real hot-wire calibration comes in through `calib import` and is reproduced to its fit by King's law.

Source: reference_data/hot_wire (data class A; fits class D, computed independently). The file states no uncertainties: the expanded
uncertainty typed with each comparison, 2 % with k = 2, is invented and does not enter the fit.
"""

import pytest

from tests.command import calib
from tests.folders import write
from tests.reference import agrees, printed, rows

INSTRUMENT = {
    "tag": "HW-1", "kind": "hot-wire probe", "maker": "Maker", "model": "M5", "serial": "005", "quantity": "air velocity",
    "indication_quantity": "voltage", "range_low": "1.4", "range_high": "2.2", "unit": "V", "resolution": "0.001",
    "mpe_percent": "", "mpe_absolute": "0.002", "interval_months": "12",
}  # fmt: skip
CALIBRATION = {
    "tag": "HW-1",
    "certificate": "C-201",
    "laboratory": "Laboratory",
    "calibrated_on": "2026-02-25",
    "accepted_on": "2026-02-26",
}


def comparison(row):
    return {
        "tag": "HW-1",
        "certificate": "C-201",
        "phase": "as-found",
        "reference": row["reference_velocity"],
        "indication": row["voltage"],
        "unit": "m/s",
        "indication_unit": "V",
        "expanded_uncertainty": f"{0.02 * float(row['reference_velocity']):.4f}",
        "coverage_factor": "2",
    }


@pytest.fixture
def shown(empty_records, tmp_path):
    sheets = {
        "instruments.csv": [INSTRUMENT],
        "calibrations.csv": [CALIBRATION],
        "comparisons.csv": [comparison(row) for row in rows("hot_wire", "comparisons")],
    }
    assert calib("import", write(tmp_path / "in", sheets), records=empty_records).status == 0
    own = [
        calib("calibration", asked, "HW-1", "--json", records=empty_records).document
        for asked in ("show", "candidates")
    ]
    return own[0] | {"candidates": own[1]["candidates"]}


def test_the_rule_chooses_kings_law_with_its_exponent_free(shown):
    assert (shown["curve"]["shape"], shown["curve"]["chosen_by"]) == ("king", "rule")


def test_the_coefficients_are_those_of_the_independent_fit(shown):
    fits = printed("hot_wire", "fits")
    for name, value in zip("abn", shown["curve"]["coefficients"], strict=True):
        assert agrees(value, fits[f"{name} free"])


def test_the_candidate_with_the_square_root_is_shown_beside_it_with_its_coefficients(shown):
    fits = printed("hot_wire", "fits")
    formula = next(one["formula"] for one in shown["candidates"] if one["shape"] == "king square root")
    a, b = (float(part.split("=")[-1]) for part in formula.partition("with ")[2].split(","))
    assert agrees(a, fits["a square root"])
    assert agrees(b, fits["b square root"])
