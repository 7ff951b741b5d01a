"""Calibration in house: the standard's indications become reference values with their whole uncertainty.

Source: EA-4/02 M:2013, 4 and GUM 5, written out here with GTC from the small job's certificate C-103 of RS-1 (three points, degree
0): an independent computation. The gate on the standard: `calib help` (certificates).
"""

import json
from datetime import date

import numpy as np
import pytest
from GTC import rp, type_b, ureal
from hypothesis import given
from hypothesis import strategies as st

from calib.errors import BadInputError, NotInRecordsError, RefusedError
from calib.faces.files import file_content
from calib.procedures.calibrate.add_calibration import add_calibration
from calib.procedures.calibrate.calibrate_in_house import (
    PlaceDifference,
    in_house,
    in_house_columns,
    reference_values,
)
from calib.procedures.certificate.fit_curve import fit_curve
from calib.procedures.fleet.ready import ready
from calib.procedures.fleet.record_event import record_event
from calib.procedures.measure.indicated import IndicationsObserved, StabilityHere
from calib.procedures.on_record.calibrations import calibration_on_file
from calib.procedures.typed.comparison_sheets import read_comparisons
from calib.procedures.typed.sheets import TypedRow
from calib.records import database
from calib.records.record import typed
from calib.records.tables.instruments import Instrument
from tests.folders import NOW, SIGNED, changed, ledger_head, records_of

DAY = date.fromisoformat("2026-02-20")
POINTS = (("0.604", "0.66"), ("2.500", "2.49"), ("5.000", "4.87"), ("7.900", "7.66"))

# Certificate C-103 of RS-1, as tests/folders.py has it.
REFERENCE = np.array([0.5, 2.0, 8.0])
INDICATION = np.array([0.504, 1.999, 7.976])
U_OVER_K = np.array([0.012, 0.019, 0.052]) / 2
REPEATABILITY, OBSERVATIONS, STEP = np.array([0.003, 0.004, 0.010]), 10, 0.001


def row(number, **cells):
    usual = {"phase": "as-left", "unit": "m/s", "repeatability": "0.012", "observations": "6"}
    return TypedRow("bench.csv", number, {"tag": "VA-1", "certificate": "IN-1"} | usual | cells)


def rows(**cells):
    return [
        row(number, reference_indication=one, indication=other, **cells)
        for number, (one, other) in enumerate(POINTS, start=2)
    ]


def made(records, typed_rows, standard="RS-1", on=DAY, place=None):
    with database.reading(str(records)) as session:
        return in_house(session, "VA-1", standard, on, typed_rows, place)


def by_hand(indication, repeatability, observations=None, place=0.0):
    """Value and uncertain number of the standard's corrected indication, from the digits above."""
    d = np.sqrt(REPEATABILITY**2 / OBSERVATIONS + STEP**2 / 12)
    weights, c = 1 / d**2, REFERENCE - INDICATION
    mean = np.sum(weights * c) / np.sum(weights)
    dof = len(c) - 1
    chi_squared = np.sum(weights * (c - mean) ** 2)
    assert chi_squared > 5.99  # 95 % quantile for 2 degrees of freedom: the scatter is enlarged
    scatter = np.sqrt(chi_squared / dof / np.sum(weights))
    limit = 0.005 * indication + 0.01  # its maximum permissible error: it has no history
    u_repeatability = repeatability / np.sqrt(observations or 1)
    return (
        indication
        + ureal(0, u_repeatability, (observations or np.inf) - 1, label="repeatability")
        + ureal(0, type_b.uniform(STEP / 2), label="resolution")
        + ureal(mean, scatter, dof, label="scatter")
        + ureal(0, float(np.interp(indication, INDICATION, U_OVER_K)), label="reference")
        + ureal(0, type_b.uniform(limit), label="stability")
        + ureal(0, place * (indication + mean), label="place")
    )


def basis(one):
    return json.loads(one.cells["basis"])


def test_reference_values_and_uncertainties_are_those_of_gtc(small_records):
    for one, (indication, _) in zip(made(small_records, rows()), POINTS, strict=True):
        expected = by_hand(float(indication), 0.003)
        assert basis(one)["value"] == pytest.approx(expected.x, abs=1e-12)
        assert basis(one)["standard_uncertainty"] == pytest.approx(expected.u, rel=1e-9)
        assert basis(one)["effective_degrees_of_freedom"] == pytest.approx(expected.df, rel=1e-6)


def test_repeated_indications_of_the_standard_count_with_their_own_spread(small_records):
    typed_rows = rows(reference_repeatability="0.020", reference_observations="5")
    for one, (indication, _) in zip(made(small_records, typed_rows), POINTS, strict=True):
        expected = by_hand(float(indication), 0.020, 5)
        assert basis(one)["standard_uncertainty"] == pytest.approx(expected.u, rel=1e-9)
        assert basis(one)["effective_degrees_of_freedom"] == pytest.approx(expected.df, rel=1e-6)


def test_the_difference_between_the_places_adds_its_relative_part(small_records):
    place = PlaceDifference("0.8", "24 velocity maps of the working section")
    one = made(small_records, rows(), place=place)[2]
    assert basis(one)["standard_uncertainty"] == pytest.approx(by_hand(5.0, 0.003, place=0.008).u, rel=1e-9)
    assert basis(one)["place_basis"] == "24 velocity maps of the working section"


def test_the_parts_are_kept_by_name_and_make_the_whole(small_records):
    one = basis(made(small_records, rows())[0])
    parts = {part["name"]: part["standard_uncertainty"] for part in one["contributions"]}
    expected = by_hand(0.604, 0.003)
    names = {"scatter": "calibration scatter", "reference": "reference standard"}
    for component in rp.budget(expected):
        if component.label != "place":
            assert parts[names.get(component.label, component.label)] == pytest.approx(component.u, rel=1e-9)
    assert sum(u**2 for u in parts.values()) == pytest.approx(one["standard_uncertainty"] ** 2)
    assert (one["standard"], one["certificate"], one["calibrated_on"]) == ("RS-1", "C-103", "2026-01-14")


def test_what_is_kept_is_rounded_far_below_what_is_printed(small_records):
    for one in made(small_records, rows()):
        u = float(one.cells["expanded_uncertainty"]) / float(one.cells["coverage_factor"])
        assert u == pytest.approx(basis(one)["standard_uncertainty"], rel=6e-4)
        assert float(one.cells["reference"]) == pytest.approx(basis(one)["value"], abs=1e-3 * u)


def test_both_indications_are_kept_as_typed(small_records):
    first = made(small_records, rows())[0].cells
    assert (first["standard_indication"], first["indication"]) == ("0.604", "0.66")
    assert (first["repeatability"], first["observations"]) == ("0.012", "6")


def test_other_units_are_told_apart(small_records):
    in_fpm = [row(2, reference_indication="492.126", indication="2.49", unit="fpm", indication_unit="m/s")]
    in_si = [row(2, reference_indication="2.5", indication="2.49", unit="m/s")]
    one, other = (made(small_records, typed_rows)[0] for typed_rows in (in_fpm, in_si))
    assert (one.cells["unit"], one.cells["indication_unit"]) == ("fpm", "m/s")
    assert float(one.cells["reference"]) * 0.00508 == pytest.approx(float(other.cells["reference"]), abs=1e-5)


# --- the gate on the standard ----------------------------------------------------------------------------------------------------


def refused(records, match, typed_rows=None, **call):
    before = ledger_head(records)
    with pytest.raises(RefusedError, match=match):
        made(records, typed_rows or rows(), **call)
    assert ledger_head(records) == before


def test_a_standard_that_was_not_in_calibration_that_day_refuses(small_records):
    refused(small_records, "RS-1: no calibration accepted on or before 2026-01-19", on=date(2026, 1, 19))


def test_a_standard_that_was_due_before_refuses(tmp_path):
    # Calibrated 2025-02-10 with 12 months: valid to 2026-02-10.
    cells = [("calibrations.csv", 4, column, "2025-02-10") for column in ("calibrated_on", "accepted_on")]
    cells.append(("calibrations.csv", 3, "standards", ""))
    refused(records_of(tmp_path, changed(*cells)), "was due on 2026-02-10, 10 days before 2026-02-20")


def test_a_suspended_standard_refuses(small_records):
    at = NOW.replace(month=2, day=19)
    with database.writing(str(small_records)) as session:
        record_event(session, "RS-1", "suspension", at, "dropped", SIGNED)
    refused(small_records, "RS-1: suspended since")


def test_an_indication_outside_the_standard_s_interval_refuses(small_records):
    outside = [row(2, reference_indication="8.10", indication="8.0")]
    refused(
        small_records,
        "indication 8.10 m/s is outside the calibrated measuring interval 0.504 m/s to 7.976 m/s",
        outside,
    )


# --- wrong input -----------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("typed_rows", "call", "columns"),
    [
        (rows()[:1], {"standard": "VA-1"}, ["standard"]),
        (rows()[:1], {"standard": "PG-1"}, ["standard", "unit"]),
        (rows()[:1], {"place": PlaceDifference("one", "maps")}, ["place_percent"]),
        (rows()[:1], {"place": PlaceDifference("-1", "maps")}, ["place_percent"]),
        (rows()[:1], {"place": PlaceDifference("1", None)}, ["place_basis"]),
        (rows(unit="Pa")[:1], {}, ["unit"]),
        (rows(phase="later")[:1], {}, ["phase"]),
        (rows(reference_repeatability="0.02")[:1], {}, ["reference_observations"]),
        (rows(reference_repeatability="0.02", reference_observations="1")[:1], {}, ["reference_observations"]),
        ([row(2, indication="0.66")], {}, ["reference_indication"]),
        ([], {}, ["comparisons"]),
    ],
)
def test_each_wrong_cell_is_named(small_records, typed_rows, call, columns):
    fresh = [TypedRow(one.source, one.row_number, dict(one.cells)) for one in typed_rows]
    with pytest.raises(BadInputError) as caught:
        made(small_records, fresh, **call)
    assert [one.column for one in caught.value.findings] == columns


def test_an_unknown_standard_is_named(small_records):
    with pytest.raises(NotInRecordsError, match="no instrument 'RS-9'"):
        made(small_records, rows(), standard="RS-9")


# --- the whole way ---------------------------------------------------------------------------------------------------------------


def test_from_the_bench_s_sheet_to_an_accepted_calibration_that_rests_on_the_standard(small_records, tmp_path):
    sheet = tmp_path / "bench.csv"
    lines = [f"as-left,{one},{other},m/s,0.012,6" for one, other in POINTS]
    sheet.write_text(
        "\n".join(["phase,reference_indication,indication,unit,repeatability,observations", *lines]), encoding="utf-8"
    )
    read, findings = read_comparisons(file_content(sheet), "VA-1", "IN-1", in_house_columns())
    assert findings == []
    cells = {
        "tag": "VA-1", "certificate": "IN-1", "laboratory": "own bench", "calibrated_on": "2026-02-20",
        "standards": "RS-1", "accepted_on": "2026-02-21", "reason": "late", "accepted_by": "B. Person", "judged": "corrected value",
        "departure_reason": "as used",
    }  # fmt: skip
    with database.writing(str(small_records)) as session:
        in_rows = in_house(session, "VA-1", "RS-1", DAY, read)
        add_calibration(session, cells, in_rows, None, SIGNED, NOW)
    with database.reading(str(small_records)) as session:
        kept = calibration_on_file(session, "VA-1", "IN-1")
        answer = ready(session, ["VA-1"], NOW, NOW, "2.49 m/s")[0]
    assert kept.standards == ("RS-1",)
    assert [one.standard_indication for one in kept.comparisons] == [one for one, _ in POINTS]
    assert answer.decision.calibration.certificate == "IN-1"
    at = dict(zip(answer.at.names, answer.at.result.combined.uncertainties[0], strict=True))
    # At a compared indication the reference part is that of the standard, all of it.
    assert at["reference standard"] == pytest.approx(by_hand(2.5, 0.003).u, rel=6e-4)


def standard_curve():
    instrument = Instrument(
        tag="RS", kind="", maker="", model="", serial="", quantity="air velocity", range_low="0", range_high="20", unit="m/s",
        resolution="0.001", mpe_absolute="0.02", interval_months=12, repeatability="0.003",
    )  # fmt: skip
    comparisons = [
        {
            "phase": "as-found", "reference": f"{x + 0.01 * x:.4f}", "indication": f"{x}", "unit": "m/s", "indication_unit": None,
            "expanded_uncertainty": f"{0.01 + 0.005 * x}", "coverage_factor": "2", "repeatability": "0.003", "observations": "10",
        }
        for x in (0.5, 2, 5, 10, 15)
    ]  # fmt: skip
    return instrument, fit_curve(typed(instrument), comparisons).choice.curve


STANDARD, CURVE = standard_curve()


@given(st.floats(0.5, 15.0), st.floats(0.0, 0.1), st.floats(0.0, 0.2), st.floats(0.0, 0.03))
def test_a_reference_value_is_never_better_known_than_the_standard_s_own_certificate(x, repeatability, limit, place):
    seen = IndicationsObserved(np.array([x]), np.array([repeatability]), np.array([False]), np.array([np.inf]))
    found = reference_values(STANDARD, CURVE, seen, StabilityHere(np.array([limit]), np.array([np.inf])), place)
    assert found.standard_uncertainty[0] >= CURVE.reference_uncertainty(x) - 1e-15
    assert found.standard_uncertainty[0] >= limit / np.sqrt(3)
    assert found.coverage_factor[0] >= 2.0
