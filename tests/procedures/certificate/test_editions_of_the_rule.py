"""The editions of the rule that makes a certificate's curve: an earlier one is kept, and `verify` fits by the one that made it.

Degrees of freedom of k: GUM Table G.2, from memory (2.87 at 95.45 % is 4, 2.78 at 95 % is 4), and scipy.stats.t.
"""

import json
import math

import pytest
from sqlmodel import select

from calib.procedures.certificate.fit_curve import (
    FIRST_EDITION,
    FOURTH_EDITION,
    SECOND_EDITION,
    THIRD_EDITION,
    curve_record,
    fit_by,
    fit_curve,
)
from calib.procedures.verify.curves_by_rule import curve_findings
from calib.records import database, ledger
from calib.records.record import typed
from calib.records.tables.comparisons import Comparison
from calib.records.tables.curves import StoredCurve
from calib.records.tables.instruments import Instrument
from calib.uncertainty.coverage import coverage_factor
from tests.command import calib
from tests.folders import SIGNED, changed, findings_of, imported, small_job, write

WITHOUT_REPEATABILITY = 2  # key of the certificate of VA-2


def certificate(records, calibration=WITHOUT_REPEATABILITY):
    with database.reading(str(records)) as session:
        comparisons = session.exec(select(Comparison).where(Comparison.calibration_id == calibration)).all()
        return typed(session.get(Instrument, calibration)), [typed(each) for each in comparisons]


def with_cells(comparisons, **cells):
    return [{**each, **{name: values[row] for name, values in cells.items()}} for row, each in enumerate(comparisons)]


def test_a_certificate_s_curve_is_made_by_the_latest_edition_and_says_so(small_records):
    with database.reading(str(small_records)) as session:
        assert {curve.rule_edition for curve in session.exec(select(StoredCurve))} == {4}


def test_a_curve_of_the_first_edition_passes_verify_and_one_that_claims_the_other_does_not(small_records):
    instrument, comparisons = certificate(small_records)
    first = curve_record(WITHOUT_REPEATABILITY, fit_by(FIRST_EDITION, instrument, comparisons))
    assert first.rule_edition is None
    with database.writing(str(small_records)) as session:
        ledger.append_entries(session, [first], SIGNED)
        assert list(curve_findings(session)) == []
    first = curve_record(WITHOUT_REPEATABILITY, fit_by(FIRST_EDITION, instrument, comparisons))
    first.rule_edition = 2
    with database.writing(str(small_records)) as session:
        ledger.append_entries(session, [first], SIGNED)
        (finding,) = curve_findings(session)
    assert "is not the one that the rule makes" in finding.problem


def test_the_editions_differ_in_scatter_alone_where_repeatability_is_not_stated(small_records):
    instrument, comparisons = certificate(small_records)
    first, second = (fit_by(each, instrument, comparisons).choice.curve for each in (FIRST_EDITION, SECOND_EDITION))
    x = [0.6, 3.0, 12.0]
    assert first.value(x).tolist() == second.value(x).tolist()
    expanded = [coverage_factor(each.degrees_of_freedom) * each.scatter_uncertainty(x) for each in (first, second)]
    assert (expanded[1] > expanded[0]).all()
    assert second.degrees_of_freedom < first.degrees_of_freedom == 3


def test_the_editions_are_one_where_repeatability_is_stated_and_k_is_2(small_records):
    instrument, comparisons = certificate(small_records, 1)
    first, second = (fit_by(each, instrument, comparisons).choice.curve for each in (FIRST_EDITION, SECOND_EDITION))
    assert first.as_text() == second.as_text()


@pytest.mark.parametrize(
    ("factors", "percent", "nu"),
    [
        (["2"], None, math.inf),
        (["2.05"], None, math.inf),  # a rounded 2
        (["1.65"], None, math.inf),  # rectangular, say: U/k is exactly known
        (["2.87"], None, 4.0),
        (["2.87", "2.13", "2.00", "2.00", "2.00"], None, 4.0),  # the smallest of all points
        (["2.00"], "95", 60.4),
        (["2.78"], "95", 4.0),
        (["1.96"], "95", math.inf),
        (["2.87"], "95.45", 4.0),
    ],
)
def test_a_certificate_s_k_tells_how_well_its_u_is_known(small_records, factors, percent, nu):
    instrument, comparisons = certificate(small_records)
    cells = with_cells(
        comparisons, coverage_factor=(factors * 5)[:5], coverage_probability_percent=[percent] * len(comparisons)
    )
    found = fit_curve(instrument, cells).choice.curve.reference_degrees_of_freedom
    if math.isinf(nu):
        assert found > 10_000
    else:
        assert found == pytest.approx(nu, rel=0.01)


def test_the_degrees_of_freedom_of_u_enter_the_budget(empty_records, tmp_path):
    cells = [("comparisons.csv", row, "coverage_factor", "2.87") for row in range(2, 9)]
    imported(empty_records, write(tmp_path / "in", changed(*cells)))
    lines = calib("budget", 1, "--json", records=empty_records).document["contributions"]
    (reference,) = (line for line in lines if line["name"] == "reference standard")
    assert reference["degrees_of_freedom"] == pytest.approx(4.0, rel=0.01)


@pytest.mark.parametrize("typed_percent", ["50", "100", "0.95", "two", "-95"])
def test_a_coverage_probability_that_is_none_is_named(empty_records, tmp_path, typed_percent):
    sheets = small_job()
    for row in sheets["comparisons.csv"]:
        row["coverage_probability_percent"] = ""
    sheets["comparisons.csv"][0]["coverage_probability_percent"] = typed_percent
    (finding,) = findings_of(empty_records, write(tmp_path / "in", sheets))
    assert finding.source.endswith("comparisons.csv")
    assert (finding.row, finding.column) == (2, "coverage_probability_percent")
    assert finding.expected == "a percentage above 50 and below 100"


def test_comparisons_whose_rounded_digits_fit_exactly_have_the_scatter_of_their_rounding(small_records):
    """Five points that read 0.02 high throughout, written to 0.01 m/s: u of a correction is 0.01 sqrt(2/12) = 0.0041 m/s."""
    instrument, comparisons = certificate(small_records)
    reference = ["1.00", "2", "4.00", "8.0", "12.00"]
    cells = with_cells(
        comparisons,
        reference=reference,
        indication=[f"{float(each) + 0.02:.2f}" for each in reference],
        unit=["m/s"] * 5,
        expanded_uncertainty=["0.05"] * 5,
    )
    first, second = (fit_by(each, instrument, cells).choice.curve for each in (FIRST_EDITION, SECOND_EDITION))
    exact = [each | {"expanded_uncertainty": "0.001"} for each in cells]
    assert (
        fit_by(SECOND_EDITION, instrument, exact).choice.curve.scatter_uncertainty(4.0) < 1e-12
    )  # no rounding to 0.01
    assert first.scatter_uncertainty(4.0) == pytest.approx(0.0, abs=1e-12)
    assert 0.01 * math.sqrt(2 / 12 / 5) <= second.scatter_uncertainty(4.0) < 0.01
    assert json.loads(second.as_text())["averaged"]["degrees_of_freedom"] == pytest.approx(second.degrees_of_freedom)


# Voltages of King's law with n = 1/2, to 1 mV; velocities to 0.01 m/s.
_VOLTS = ("1.483", "1.549", "1.606", "1.697", "1.808", "1.900")
_VELOCITIES = ("0.50", "1.00", "1.60", "3.00", "5.60", "8.50")


def of_voltage(comparisons):
    like = comparisons[0] | {"unit": "m/s", "indication_unit": "V", "expanded_uncertainty": "0.02"}
    return [like | {"reference": v, "indication": x} for v, x in zip(_VELOCITIES, _VOLTS, strict=True)]


def test_the_third_edition_gives_other_shapes_the_scatter_of_all_candidates_too(small_records):
    instrument, comparisons = certificate(small_records)
    instrument, cells = instrument | {"indication_quantity": "voltage"}, of_voltage(comparisons)
    second, third = (fit_by(each, instrument, cells).choice.curve for each in (SECOND_EDITION, THIRD_EDITION))
    x = [1.5, 1.7, 1.85]
    assert third.value(x).tolist() == second.value(x).tolist()
    expanded = [coverage_factor(each.degrees_of_freedom) * each.scatter_uncertainty(x) for each in (second, third)]
    assert (expanded[1] ** 2).mean() > (expanded[0] ** 2).mean()
    assert "averaged" not in json.loads(second.as_text())


def test_where_the_same_quantity_is_indicated_the_third_edition_is_the_second(small_records):
    instrument, comparisons = certificate(small_records)
    second, third = (fit_by(each, instrument, comparisons).choice.curve for each in (SECOND_EDITION, THIRD_EDITION))
    assert third.as_text() == second.as_text()


def test_voltages_that_fit_a_line_exactly_have_the_scatter_of_their_rounding(small_records):
    """x = 1 V + 0.1 V/(m/s) v, written to 1 mV and 0.01 m/s: u of a voltage is hypot(1 mV, 0.1 0.01 V)/sqrt(12)."""
    instrument, comparisons = certificate(small_records)
    instrument = instrument | {"indication_quantity": "voltage"}
    volts = [f"{1 + 0.1 * float(v):.3f}" for v in _VELOCITIES]
    cells = [each | {"indication": x} for each, x in zip(of_voltage(comparisons), volts, strict=True)]
    second, third = (fit_by(each, instrument, cells).choice.curve for each in (SECOND_EDITION, THIRD_EDITION))
    assert second.scatter_uncertainty(1.3) < 1e-9
    u_v = math.hypot(0.001, 0.1 * 0.01) / math.sqrt(12) / 0.1
    assert u_v / math.sqrt(6) <= third.scatter_uncertainty(1.3) < u_v


# A vane that shows tenths: 0.1 high at each point, U of 2 % of the reference value, nothing said of repeatability.
_TENTHS = ("1.0", "2.0", "3.0", "5.0", "10.0")


def of_a_vane_that_shows_tenths(comparisons, *, places=2, expanded=None):
    cells = {
        "reference": [f"{float(each):.{places}f}" for each in _TENTHS],
        "indication": [f"{float(each) + 0.1:.1f}" for each in _TENTHS],
        "expanded_uncertainty": expanded or [f"{0.02 * float(each):.2f}" for each in _TENTHS],
        "unit": ["m/s"] * 5,
    }
    return with_cells(comparisons, **cells)


@pytest.mark.parametrize(
    ("places", "expanded", "step_of_reference"),
    [(1, None, 0.0), (2, None, 0.01), (1, ["0.05"] * 5, 0.0), (1, ["0.10"] * 5, 0.1), (2, ["0.001"] * 5, 0.0)],
)
def test_the_fourth_edition_takes_the_rounding_of_an_indication_whatever_u_of_the_reference(
    small_records, places, expanded, step_of_reference
):
    """The shift alone would be known to hypot(0.1, step of the reference)/sqrt(12)/sqrt(5); it is never less."""
    instrument, comparisons = certificate(small_records)
    cells = of_a_vane_that_shows_tenths(comparisons, places=places, expanded=expanded)
    fourth = fit_by(FOURTH_EDITION, instrument | {"resolution": "0.1", "unit": "m/s"}, cells).choice.curve
    of_one = math.hypot(0.1, step_of_reference) / math.sqrt(12)
    assert of_one / math.sqrt(5) <= fourth.scatter_uncertainty(3.0) < of_one


def test_earlier_editions_lose_the_rounding_where_u_is_smaller_than_the_step_and_keep_it_elsewhere(small_records):
    instrument, comparisons = certificate(small_records)
    instrument = instrument | {"resolution": "0.1", "unit": "m/s"}
    lost = fit_by(THIRD_EDITION, instrument, of_a_vane_that_shows_tenths(comparisons, places=1)).choice.curve
    assert lost.scatter_uncertainty(3.0) < 1e-12
    cells = of_a_vane_that_shows_tenths(comparisons, expanded=["0.20"] * 5)
    third, fourth = (fit_by(each, instrument, cells).choice.curve for each in (THIRD_EDITION, FOURTH_EDITION))
    assert third.as_text() == fourth.as_text()


def test_an_indication_is_rounded_to_no_more_than_the_instrument_s_resolution(small_records):
    """Who types 2 and 4 for what the meter showed as 2.00 and 4.00 does not round to whole numbers."""
    instrument, comparisons = certificate(small_records)
    whole = ["1", "2", "4", "8", "12"]
    cells = with_cells(
        comparisons, reference=whole, indication=whole, unit=["m/s"] * 5, expanded_uncertainty=["0.05"] * 5
    )
    found = fit_by(FOURTH_EDITION, instrument | {"resolution": "0.01", "unit": "m/s"}, cells).choice.curve
    assert 0.01 / math.sqrt(12 * 5) <= found.scatter_uncertainty(4.0) < 0.01 / math.sqrt(12)


def test_the_resolution_is_one_of_what_is_indicated(small_records):
    """x = 1 V + 0.1 V/(m/s) v to 1 mV, U of 0.001 m/s worth a tenth of that: u of a velocity is 1 mV/sqrt(12)/(0.1 V/(m/s))."""
    instrument, comparisons = certificate(small_records)
    instrument = instrument | {"indication_quantity": "voltage", "unit": "mV", "resolution": "1"}
    volts = [f"{1 + 0.1 * float(v):.3f}" for v in _VELOCITIES]
    cells = [
        each | {"indication": x, "expanded_uncertainty": "0.001"}
        for each, x in zip(of_voltage(comparisons), volts, strict=True)
    ]
    third, fourth = (fit_by(each, instrument, cells).choice.curve for each in (THIRD_EDITION, FOURTH_EDITION))
    u_v = 0.001 / math.sqrt(12) / 0.1
    assert third.scatter_uncertainty(1.3) < 1e-9
    assert u_v / math.sqrt(6) <= fourth.scatter_uncertainty(1.3) < u_v
