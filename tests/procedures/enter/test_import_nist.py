"""NIST StRD, Linear Least Squares: data sets Norris (a line) and Pontius (a parabola), brought in by `calib import`.

Sources: reference_data/nist_strd_norris and nist_strd_pontius, class A. The curve of a certificate is the correction
c = reference - indication, so x is typed as the indication and y as the reference value of a pressure gauge:
c(x) = B0 + (B1 - 1) x + B2 x^2, with the standard deviations of B. Repeatability is left blank, so the fit is unweighted and
s comes from the residuals; the records add what other candidates say (see `calib help numbers`).

The digits reached are the logarithm of the relative error. 12 are required for parameters and 11 for standard deviations,
not 15: c is a difference of two decimals of which binary floats hold 16 digits, and it is fitted in pascals and brought back.
Pontius's load is typed in millions (an exact shift of the decimal point), so that the correction keeps its digits beside
the reference value.
"""

from collections import defaultdict
from decimal import Decimal

import pytest

from calib.procedures.certificate.fit_curve import FIRST_EDITION, fit_by
from calib.quantities import unit
from tests.command import calib
from tests.folders import HEADERS, write
from tests.reference import digits_reached, rows

# Data set -> power of ten by which x is shifted, degree that the rule must choose.
SETS = {"norris": (0, 1), "pontius": (-6, 2)}
FILES = ("instruments.csv", "comparisons.csv")
PARAMETERS = [(name, row) for name in SETS for row in rows(f"nist_strd_{name}", "certified") if row["estimate"]]
RESIDUAL = [(name, row) for name in SETS for row in rows(f"nist_strd_{name}", "certified") if not row["estimate"]]


def filled(file, **cells):
    """A row with the columns of a file, blank but for some cells."""
    return dict.fromkeys(HEADERS[file], "") | cells


def sheets_of(name):
    """Import files that hold a data set as the certificate of a gauge."""
    power, _ = SETS[name]
    gauge = filled(
        "instruments.csv", tag=name, kind="gauge", maker="M", model="N", serial="1", quantity="pressure", range_low="0",
        range_high="2000", unit="kPa", resolution="0.001", mpe_percent="1", interval_months="12",
    )  # fmt: skip
    certificate = filled("calibrations.csv", tag=name, certificate=name, laboratory="L", calibrated_on="2026-01-12")
    compared = [
        filled(
            "comparisons.csv", tag=name, certificate=name, phase="as-found", reference=row["y"],
            indication=f"{Decimal(row['x']).scaleb(power):f}", unit="kPa", expanded_uncertainty="0.1", coverage_factor="2",
        )
        for row in rows(f"nist_strd_{name}", "data")
    ]  # fmt: skip
    return {"instruments.csv": [gauge], "calibrations.csv": [certificate], "comparisons.csv": compared}


@pytest.fixture(scope="module")
def shown(tmp_path_factory):
    """What `calib calibration show --json` and `candidates --json` say of each data set."""
    folder = tmp_path_factory.mktemp("nist")
    records = folder / "records.sqlite"
    assert calib("init", records=records).status == 0
    folders = [write(folder / name, sheets_of(name)) for name in SETS]
    assert calib("import", *folders, records=records).status == 0
    asked = ("show", "candidates")
    of = {
        (name, each): calib("calibration", each, name, "--json", records=records).document
        for name in SETS
        for each in asked
    }
    return {name: of[name, "show"] | {"candidates": of[name, "candidates"]["candidates"]} for name in SETS}


def coefficient(shown, name, number, among):
    return shown[name]["curve"][among][number] * 10.0 ** (SETS[name][0] * number)


@pytest.mark.parametrize("name", SETS)
def test_the_rule_chooses_the_degree_of_the_data_set(shown, name):
    assert shown[name]["curve"]["degree"] == SETS[name][1]
    assert shown[name]["curve"]["chosen_by"] == "rule"


@pytest.mark.parametrize(("name", "row"), PARAMETERS)
def test_coefficients_reach_12_digits(shown, name, row):
    number = int(row["parameter"][1:])
    found = coefficient(shown, name, number, "coefficients") + (10.0 ** SETS[name][0] if number == 1 else 0.0)
    assert digits_reached(found, row["estimate"]) >= 12


@pytest.mark.parametrize(("name", "row"), PARAMETERS)
def test_their_standard_deviations_reach_11_digits(name, row):
    """By the first edition of the rule: the second adds what the other candidates say of the scatter."""
    gauge, compared = (
        [
            defaultdict(lambda: None, {column: cell for column, cell in typed.items() if cell})
            for typed in sheets_of(name)[file]
        ]
        for file in FILES
    )
    curve = fit_by(FIRST_EDITION, gauge[0], compared).choice.curve
    _, covariance = curve.scattered.in_unit(unit("pressure", "kPa").scale, 0.0).in_powers_of_x()
    number = int(row["parameter"][1:])
    assert (
        digits_reached(covariance[number, number] ** 0.5 * 10.0 ** (SETS[name][0] * number), row["standard deviation"])
        >= 11
    )


@pytest.mark.parametrize(("name", "row"), PARAMETERS)
def test_what_other_candidates_say_only_adds_to_them(shown, name, row):
    of_records = coefficient(shown, name, int(row["parameter"][1:]), "standard_uncertainties")
    assert of_records >= float(row["standard deviation"]) * (1 - 1e-9)


@pytest.mark.parametrize(("name", "row"), RESIDUAL)
def test_the_residual_standard_deviation_reaches_11_digits(shown, name, row):
    chosen = next(one for one in shown[name]["candidates"] if one["degree"] == SETS[name][1])
    s = (chosen["sum_of_squares"] / chosen["degrees_of_freedom"]) ** 0.5
    assert digits_reached(s, row["standard deviation"]) >= 11


@pytest.mark.parametrize("name", SETS)
def test_every_digit_of_the_data_set_is_kept(shown, name):
    power = SETS[name][0]
    typed = [(f"{Decimal(row['x']).scaleb(power):f}", row["y"]) for row in rows(f"nist_strd_{name}", "data")]
    assert [(one["indication"], one["reference"]) for one in shown[name]["comparisons"]] == typed
