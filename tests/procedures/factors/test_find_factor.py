"""A factor found from pairs: by hand with numpy, by a worked case, and by the laws of what cancels.

Sources: tests/worked_cases/outlet_factor_vector (class D) for the worked case; the rest is worked out here from the sheets of
tests/factor_pairs.py, without the package.
"""

import json
import math
import re
from datetime import datetime

import numpy as np
import pytest

from calib.airflow.factor import found_factor
from calib.errors import BadInputError, CalibError
from calib.procedures.measure.evaluate import evaluate
from calib.records import database, ledger
from calib.records.tables.factors import FactorPair, FoundFactor
from tests.command import copied
from tests.every_way import every_way
from tests.factor_pairs import (
    BLANK,
    OF_S9,
    OF_TYPE,
    TRAVERSED,
    added,
    amended,
    at,
    expected_pairs,
    factor,
    line,
    paired_job,
    sweep,
)
from tests.folders import NOW, SIGNED, all_of, ledger_head, records_of
from tests.reference import numbers, printed

LATER = datetime.fromisoformat("2026-05-06T09:00+00:00")


@pytest.fixture(scope="module")
def sheets():
    return paired_job()


@pytest.fixture(scope="module")
def made(tmp_path_factory, sheets):
    return records_of(tmp_path_factory.mktemp("pairs"), sheets)


@pytest.fixture
def records(made, tmp_path):
    return copied(made, tmp_path / "records.sqlite")


# --- by hand ---------------------------------------------------------------------------------------------------------------------


def test_each_pair_has_its_factor(records, sheets):
    flow, face, area = expected_pairs(sheets)
    found = factor(records)
    with database.reading(str(records)) as session:
        pairs = all_of(session, FactorPair)
        assert [one.value for one in pairs] == pytest.approx(flow / (face * area), rel=1e-9)
        assert [(one.traverse_reading_id, one.face_reading_id) for one in pairs] == [(1, 7), (2, 8), (3, 9), (4, 10)]
        assert {one.found_factor_id for one in pairs} == {found["id"]}


def test_the_factor_is_the_mean_with_the_spread_of_the_mean(records, sheets):
    flow, face, area = expected_pairs(sheets)
    each = flow / (face * area)
    found = factor(records)
    assert found["value"] == pytest.approx(np.mean(each), rel=1e-9)
    assert found["relative_spread"] == pytest.approx(np.std(each, ddof=1) / 2 / np.mean(each), rel=1e-6)
    assert found["degrees_of_freedom"] == 3


def test_a_factor_for_an_outlet_has_its_effective_area(records):
    found = factor(records)
    assert found["effective_area"] == pytest.approx(found["value"] * 0.4 * 0.2, rel=1e-12)
    assert (found["scope"], found["outlet_type"]) == ("this outlet", None)


def test_a_factor_for_a_type_multiplies_the_area_of_each_outlet(records, sheets):
    flow, face, area = expected_pairs(sheets, 6)
    found = factor(records, pairs=OF_TYPE, scope="type")
    assert found["value"] == pytest.approx(np.mean(flow / (face * area)), rel=1e-9)
    assert (found["scope"], found["outlet_type"], found["effective_area"]) == ("this type", "grille G", None)


def test_another_outlet_of_a_type_may_differ_from_the_mean_as_the_pairs_do(records, sheets):
    """The variance of a further value about a mean of n is s^2 (1 + 1/n)."""
    flow, face, area = expected_pairs(sheets, 6)
    each = flow / (face * area)
    found = factor(records, pairs=OF_TYPE, scope="type")
    expected = np.std(each, ddof=1) * math.sqrt(1 + 1 / 6) / np.mean(each)
    assert found["relative_spread"] == pytest.approx(expected, rel=1e-6)


def test_a_hood_at_the_outlet_changes_no_flow_of_the_vane(records, tmp_path):
    factor(records)
    amended(records, "S-9", *BLANK, "found_factor=GR-9")
    before = {
        one.reading.id: evaluation(records).flow.value[row] for row, one in enumerate(evaluation(records).measured)
    }
    ways = every_way()
    hood = {name: [row for row in ways[name] if row["tag"] == "FH-1"] for name in _REGISTER}
    hood["methods.csv"] = [row for row in ways["methods.csv"] if row["method"] == "hood"]
    hood["readings.csv"] = [sweep("S-9", at("11:30"), "740;745;742", "FH-1", "hood") | {"unit": "m3/h"}]
    added(records, tmp_path / "hood", hood)
    after = evaluation(records)
    again = {one.reading.id: after.flow.value[row] for row, one in enumerate(after.measured)}
    assert len(again) == len(before) + 1
    assert {number: again[number] for number in before} == before


_REGISTER = ("instruments.csv", "calibrations.csv", "comparisons.csv")


def test_openings_of_a_type_have_an_area_each():
    with pytest.raises(CalibError, match="one area, or one of each pair"):
        found_factor(np.ones(3), np.ones(3), np.ones(2))
    with pytest.raises(CalibError, match="above 0"):
        found_factor(np.ones(2), np.ones(2), np.array([0.1, 0.0]))


def test_the_mean_indications_at_the_face_are_kept(records):
    kept = json.loads(factor(records)["face_indications"])
    assert kept == pytest.approx(
        [(3.11 + 3.14 + 3.12) / 3, (3.17 + 3.14 + 3.18) / 3, 3.31 / 3 + 2, 9.40 / 3], rel=1e-12
    )


def column(sheets, tag, name):
    return np.array([float(row[name]) for row in sheets["comparisons.csv"] if row["tag"] == tag])


def scatter(sheets, tag, x):
    """Standard uncertainty of the straight line at a mean indication (GUM H.3), from its normal equations."""
    s, n = column(sheets, tag, "repeatability"), column(sheets, tag, "observations")
    of_line = np.column_stack([np.ones(s.size), column(sheets, tag, "indication")])
    covariance = np.linalg.inv(of_line.T @ (of_line / (s**2 / n + 0.01**2 / 12)[:, np.newaxis]))
    return math.sqrt(np.array([1, x]) @ covariance @ np.array([1, x]))


def reference(sheets, tag, x):
    u = column(sheets, tag, "expanded_uncertainty") / column(sheets, tag, "coverage_factor")
    return np.mean(np.interp(x, column(sheets, tag, "indication"), u))


def of_traverse(sheets, place):
    """Relative standard uncertainty of a traverse without repeatability and resolution."""
    (duct, _), text = list(TRAVERSED.items())[place]
    x = np.array([float(one) for one in text.split()])
    v = np.mean(x + np.polyval(line(sheets, "VB-1"), x))
    stability = np.mean(0.008 * x + 0.02) / math.sqrt(3)
    sides = (300, 200) if duct == "D-9" else (250, 200)
    of_calibration = (scatter(sheets, "VB-1", np.mean(x)) / v, reference(sheets, "VB-1", x) / v, stability / v)
    return math.hypot(*of_calibration, *(1 / side / math.sqrt(3) for side in sides), 0.01)


def test_the_traverses_share_all_but_repeatability_and_resolution(records, sheets):
    by_hand = np.mean([of_traverse(sheets, place) for place in range(4)])
    assert factor(records)["relative_reference"] == pytest.approx(by_hand, rel=1e-6)


def test_a_type_bears_the_dimensions_of_the_openings_besides(records, sheets):
    openings = [math.hypot(1 / 400, 1 / 200) / math.sqrt(3)] * 4 + [math.hypot(1 / 300, 1 / 200) / math.sqrt(3)] * 2
    by_hand = np.mean([math.hypot(of_traverse(sheets, place), one) for place, one in enumerate(openings)])
    assert factor(records, pairs=OF_TYPE, scope="type")["relative_reference"] == pytest.approx(by_hand, rel=1e-6)


def test_the_calibration_at_the_face_is_scatter_reference_and_stability(records, sheets):
    found = factor(records)
    x = np.array(json.loads(found["face_indications"]))
    v = x + np.polyval(line(sheets, "VA-1"), x)
    parts = [
        math.hypot(scatter(sheets, "VA-1", one), reference(sheets, "VA-1", one), (0.01 * one + 0.03) / math.sqrt(3))
        for one in x
    ]
    assert found["relative_instrument"] == pytest.approx(np.mean(parts / v), rel=1e-6)


def test_what_is_recorded_stands_in_the_ledger(records):
    factor(records)
    engine = database.open_records(str(records))
    with engine.connect() as connection:
        assert ledger.verify(connection) == ()
    engine.dispose()


# --- the air ---------------------------------------------------------------------------------------------------------------------


def thermal_job(conditions):
    """TA-1, a thermal anemometer, in the ducts D-2 and D-3 and at the face of S-1, in air of the conditions named for the faces."""
    sheets = every_way()
    ducts = [row | {"conditions": "rooms"} for row in sheets["readings.csv"] if row["outlet"] in ("D-2", "D-3")]
    face = ducts[0] | {"outlet": "S-1", "method": "sweep", "conditions": conditions, "observations": "3.91;3.95;3.93"}
    face |= dict.fromkeys(("traverse_rule", "traverse_lines", "traverse_points"), "")
    faces = [face | {"observed_at": at(time)} for time in ("09:25", "09:35")]
    rooms = [row for row in sheets["conditions.csv"] if row["conditions"] == "rooms"]
    again = [row | {"conditions": "same"} for row in rooms]
    stated = {
        "conditions": "stated",
        "instrument": "",
        "standard_uncertainty": "1.5",
        "source": "the building's own gauges",
    }
    again += [row | stated for row in rooms]
    return sheets | {
        "readings.csv": [*ducts, *faces],
        "traverses.csv": [row for row in sheets["traverses.csv"] if row["outlet"] in ("D-2", "D-3")],
        "conditions.csv": [*sheets["conditions.csv"], *again],
    }


def thermal_factor(folder, conditions):
    return factor(records_of(folder, thermal_job(conditions)), pairs=("1:3", "2:4"))


def test_two_densities_by_the_same_instruments_cancel_but_for_what_each_showed_by_chance(tmp_path):
    one, two = thermal_factor(tmp_path / "one", "rooms"), thermal_factor(tmp_path / "two", "same")
    with database.reading(str(tmp_path / "one" / "records.sqlite")) as session:
        air = evaluate(session, "E-1", NOW).measured[0].air
    assert one["value"] == pytest.approx(two["value"], rel=1e-12)
    left = two["relative_reference"] ** 2 - one["relative_reference"] ** 2
    assert 0 < left < 0.05 * 2 * (air.standard_uncertainty / air.density) ** 2


# --- a worked case from end to end -----------------------------------------------------------------------------------------------

AREA = {symbol: float(text) for symbol, text in printed("outlet_factor_vector", "effective_area").items()}
FLOW = {symbol: float(text) for symbol, text in printed("outlet_factor_vector", "flow").items()}
Q_REFERENCE, V_FACE = numbers("outlet_factor_vector", "pairs")
(GRID,) = numbers("outlet_factor_vector", "grid")
TIMES = ("09:10", "09:20", "09:30", "09:40")


def comparison(tag, certificate, value, indication, expanded):
    cells = {"tag": tag, "certificate": certificate, "phase": "as-found", "unit": "m/s", "coverage_factor": "2"}
    cells |= {"reference": repr(value), "indication": repr(indication), "expanded_uncertainty": repr(expanded)}
    return cells | {"repeatability": "0", "observations": "6"}


def worked_job(resolution, drift_percent):
    """The worked case as sheets: a duct of 1 m2 read by a perfect instrument, and a vane with u = 1.2 % of its reference value."""
    sheets = paired_job({}, {})
    perfect = [comparison("VB-1", "C-201", x, x, 1e-9) for x in (0.1, 0.2, 0.5, 1.0)]
    shift, u = FLOW["correction"], AREA["u vane"]
    vane = [
        comparison("VA-1", "C-101", x + shift, x, 2 * u * (x + shift))
        for x in np.geomspace(0.5, 15, 40).round(2).tolist()
    ]
    for row in sheets["instruments.csv"]:
        is_vane = row["tag"] == "VA-1"
        row |= {"resolution": repr(resolution) if is_vane else "1e-9", "repeatability": "1e-9", "mpe_absolute": "0"}
        row |= {"mpe_percent": repr(drift_percent) if is_vane else "0"}
    grid = {
        "method": "grid",
        "basis": "worked case",
        "degrees_of_freedom": repr(FLOW["dof repeatability"]),
        "pattern": "",
    }
    traverse = grid | {"method": "traverse", "degrees_of_freedom": ""}
    column = "relative_standard_uncertainty_percent"
    methods = [
        grid | {column: repr(100 * FLOW["u repeatability"])},
        traverse | {column: repr(100 * AREA["u traverse"])},
    ]
    duct, outlet = (row for row in sheets["outlets.csv"] if row["outlet"] in ("D-9", "S-9"))
    duct |= {"width": "1000", "height": "1000", "dimension_limit": "0"}
    outlet |= {"width": "600", "height": "300"}  # 0.18 m2
    readings = [
        sweep("D-9", at(time), repr(q), "VB-1", "traverse") for time, q in zip(TIMES, Q_REFERENCE.tolist(), strict=True)
    ]
    faces = (V_FACE - shift).tolist()
    readings += [sweep("S-9", at(time), repr(v), "VA-1", "grid") for time, v in zip(TIMES, faces, strict=True)]
    kept = {
        "comparisons.csv": [*perfect, *vane],
        "methods.csv": methods,
        "outlets.csv": [duct, outlet],
        "readings.csv": readings,
    }
    return {name: rows for name, rows in (sheets | kept).items() if name != "traverses.csv"}


WORKED_PAIRS = ("1:5", "2:6", "3:7", "4:8")


def test_the_worked_case_has_its_effective_area(tmp_path):
    found = factor(records_of(tmp_path, worked_job(1e-7, 0.0)), pairs=WORKED_PAIRS)
    assert found["effective_area"] == pytest.approx(AREA["Ak"], rel=1e-9)
    assert found["value"] == pytest.approx(AREA["Ak over gross"], rel=1e-9)
    assert found["relative_spread"] * found["effective_area"] == pytest.approx(AREA["s of mean"], rel=1e-7)
    assert found["degrees_of_freedom"] == AREA["dof"]
    assert found["relative_reference"] == pytest.approx(AREA["u traverse"], rel=1e-9)
    assert found["relative_instrument"] == pytest.approx(AREA["u vane"], rel=1e-9)
    same, other = (
        100 * math.hypot(found["relative_spread"], found["relative_reference"], one)
        for one in (0, found["relative_instrument"])
    )
    assert (same, other) == (
        pytest.approx(AREA["u same vane"], rel=1e-9),
        pytest.approx(AREA["u other instrument"], rel=1e-9),
    )


def test_a_later_reading_with_the_same_vane_has_the_worked_budget(tmp_path):
    """Relative tolerance 1e-5: the vane's scatter, which the worked case leaves out, does not cancel to the last digit."""
    later = repr(float(np.mean(GRID)))
    of_value = 100 * FLOW["drift limit"] * FLOW["v mean corrected"] / float(later)  # limits are of the indication
    job = worked_job(FLOW["resolution step"], of_value)
    records = records_of(tmp_path, job)
    factor(records, pairs=WORKED_PAIRS)
    amended(records, "S-9", *BLANK, "found_factor=GR-9")
    added(records, tmp_path / "later", {"readings.csv": [sweep("S-9", at("11:00"), later, "VA-1", "grid")]})
    found = evaluation(records)
    assert found.flow.value[-1] == pytest.approx(FLOW["q"], rel=1e-9)
    names = [one.name for one in found.flows.contributions]
    u = dict(zip(names, found.flow.combined.uncertainties[-1], strict=True))
    assert u["outlet factor"] == pytest.approx(FLOW["term Ak"], rel=1e-5)
    assert u["method"] == pytest.approx(FLOW["term repeatability"], rel=1e-9)
    assert u["resolution"] == pytest.approx(FLOW["term resolution"], rel=1e-9)
    assert u["stability"] == pytest.approx(FLOW["term drift"], rel=1e-9)
    assert found.flow.combined.standard_uncertainty[-1] == pytest.approx(FLOW["u_c"], rel=1e-5)
    assert found.flow.combined.degrees_of_freedom[-1] == pytest.approx(FLOW["nu_eff"], rel=1e-4)


# --- what cancels ----------------------------------------------------------------------------------------------------------------


def evaluation(records, now=NOW):
    with database.reading(str(records)) as session:
        return evaluate(session, "J-1", now)


def certificate_of_vane(certificate, error):
    """Comparisons of VA-1 on a straight line, with reference values wrong by a factor."""
    points = [(x, round(error * (1.01 * x + 0.02), 9)) for x in (0.6, 1.2, 2.5, 4.0, 6.0, 9.0, 14.0)]
    return [comparison("VA-1", certificate, value, x, round(0.016 * value + 0.01, 9)) for x, value in points]


def world(folder, error):
    """A job whose vane was calibrated wrongly by a factor, its factor found and used, and later a right calibration."""
    sheets = paired_job()
    others = [row for row in sheets["comparisons.csv"] if row["tag"] != "VA-1"]
    records = records_of(folder, sheets | {"comparisons.csv": [*others, *certificate_of_vane("C-101", error)]})
    factor(records)
    amended(records, "S-9", *BLANK, "found_factor=GR-9")
    again = next(row for row in sheets["calibrations.csv"] if row["tag"] == "VA-1")
    again |= {"certificate": "C-301", "calibrated_on": "2026-04-20", "accepted_on": "2026-04-21"}
    readings = [sweep("S-9", at("10:00", day), "3.01;3.04;3.02") for day in ("2026-04-10", "2026-05-05")]
    later = {
        "calibrations.csv": [again],
        "comparisons.csv": certificate_of_vane("C-301", 1.0),
        "readings.csv": readings,
    }
    added(records, folder / "later", later, LATER)
    return evaluation(records, LATER)


def of_s9(found, day):
    (row,) = [row for row, one in enumerate(found.measured) if one.reading.observed_at.startswith(day)]
    return float(found.flow.value[row]), float(found.flow.combined.standard_uncertainty[row]), row


@pytest.fixture(scope="module")
def right(tmp_path_factory):
    return world(tmp_path_factory.mktemp("right"), 1.0)


@pytest.fixture(scope="module")
def wrong(tmp_path_factory):
    return world(tmp_path_factory.mktemp("wrong"), 1.03)


def test_an_error_of_the_vane_leaves_the_flow_alone_where_the_factor_has_it_too(right, wrong):
    assert of_s9(wrong, "2026-04-10")[0] == pytest.approx(of_s9(right, "2026-04-10")[0], rel=1e-9)


def test_after_a_recalibration_the_factor_still_has_the_error(right, wrong):
    assert of_s9(wrong, "2026-05-05")[0] == pytest.approx(of_s9(right, "2026-05-05")[0] / 1.03, rel=1e-9)


def test_a_right_vane_gives_one_flow_before_and_after_its_recalibration(right):
    assert of_s9(right, "2026-04-10")[0] == pytest.approx(of_s9(right, "2026-05-05")[0], rel=1e-9)


def contributions(found, day):
    row = of_s9(found, day)[2]
    names = [one.name for one in found.flows.contributions]
    return dict(zip(names, found.flow.combined.uncertainties[row] / found.flow.value[row], strict=True))


def test_u_is_smaller_with_the_same_calibration(right):
    same, other = contributions(right, "2026-04-10"), contributions(right, "2026-05-05")
    assert of_s9(right, "2026-04-10")[1] < of_s9(right, "2026-05-05")[1]
    found = next(one.factor for one in right.measured if one.factor is not None)
    assert same["outlet factor"] == pytest.approx(math.hypot(found.relative_spread, found.relative_reference), rel=1e-9)
    assert other["outlet factor"] == pytest.approx(
        math.hypot(same["outlet factor"], found.relative_instrument), rel=1e-9
    )
    # The reading bears its calibration only where the factor does not carry it with the other sign.
    v = 1.01 * (3.01 + 3.04 + 3.02) / 3 + 0.02
    assert other["reference standard"] == pytest.approx((0.008 * v + 0.005) / v, rel=1e-6)
    assert same["reference standard"] < 0.05 * other["reference standard"]


# --- revisions -------------------------------------------------------------------------------------------------------------------


def test_a_name_that_is_there_gets_its_next_revision(records):
    first, second = factor(records), factor(records, pairs=OF_S9[:3], reason="pair 4:10 was disturbed")
    assert (first["revision"], second["revision"]) == (1, 2)
    assert second["degrees_of_freedom"] == 2
    with database.reading(str(records)) as session:
        assert [one.reason for one in all_of(session, FoundFactor)] == [
            "D-9 feeds S-9 alone",
            "pair 4:10 was disturbed",
        ]


def test_readings_are_evaluated_with_the_latest_revision(records):
    factor(records)
    amended(records, "S-9", *BLANK, "found_factor=GR-9")
    last = factor(records, pairs=OF_S9[2:], reason="the other pairs were disturbed")
    found = evaluation(records)
    row = next(row for row, one in enumerate(found.measured) if one.reading.id == 7)
    assert found.flow.value[row] == pytest.approx(last["effective_area"] * found.velocity.value[row], rel=1e-12)


def test_a_factor_found_anew_does_not_feed_on_itself(records):
    first = factor(records)
    amended(records, "S-9", *BLANK, "found_factor=GR-9")
    assert factor(records, reason="again")["value"] == pytest.approx(first["value"], rel=1e-12)


def without_section(sheets):
    """The job with an effective area typed for S-9, and no section."""
    blank = ("shape", "width", "height", "dimension_unit", "dimension_limit")
    no_area = dict.fromkeys(("effective_area", "effective_area_unit", "effective_area_standard_uncertainty"), "")
    outlets = [row | no_area for row in sheets["outlets.csv"]]
    row = next(row for row in outlets if row["outlet"] == "S-9")
    row |= dict.fromkeys((*blank, "outlet_factor", "outlet_factor_standard_uncertainty"), "")
    row |= {"effective_area": "680", "effective_area_unit": "cm2", "effective_area_standard_uncertainty": "30"}
    return sheets | {"outlets.csv": outlets}


def test_an_outlet_without_a_section_has_a_factor_of_its_effective_area(tmp_path, sheets):
    flow, face, _ = expected_pairs(sheets)
    records = records_of(tmp_path, without_section(sheets))
    found = factor(records)
    assert found["effective_area"] == pytest.approx(np.mean(flow / face), rel=1e-9)
    assert found["value"] == pytest.approx(np.mean(flow / face) / 0.068, rel=1e-9)
    blank = ("effective_area=", "effective_area_unit=", "effective_area_standard_uncertainty=", "outlet_factor_source=")
    amended(records, "S-9", *blank, "found_factor=GR-9")
    again = factor(records, reason="again")
    assert again["effective_area"] == pytest.approx(found["effective_area"], rel=1e-12)
    assert again["value"] == pytest.approx(1.0, rel=1e-12)  # of the area that the first revision found


# --- what cannot be --------------------------------------------------------------------------------------------------------------


def findings(records, **typed):
    """What is said of a factor that cannot be, one line each; nothing is written then."""
    before = ledger_head(records)
    with pytest.raises(BadInputError) as caught:
        factor(records, **typed)
    assert ledger_head(records) == before
    return [str(one) for one in caught.value.findings]


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (
            {"pairs": ("1:7", "2-8")},
            "pair: '2-8'; expected two numbers of readings, the one in the duct first, as 3:8",
        ),
        ({"pairs": ("1:7", "2:99")}, "pair: '2:99'; expected readings that stand; no reading 99 in the records"),
        ({"pairs": ("1:7", "2:999999999999999999")}, "expected readings that stand; no reading 999999999999999999"),
        ({"pairs": ("1:7", "0:8")}, "expected readings that stand; no reading 0 in the records"),
        (
            {"pairs": ("1:7", "1:8")},
            "pair: '1:8'; expected each reading once, since pairs are independent; reading 1 stands in",
        ),
        (
            {"pairs": ("1:7", "2:7")},
            "expected each reading once, since pairs are independent; reading 7 stands in 1:7 already",
        ),
        ({"pairs": ("1:7", "8:2")}, "expected the reading in the duct first; reading 8 was taken at outlet S-9"),
        ({"pairs": ("1:7", "2:3")}, "expected the reading at an outlet second; reading 3 was taken in the duct D-9"),
        ({"pairs": ("1:7",)}, "pair: '1:7'; expected at least 2 pairs, since one shows no spread"),
        (
            {"pairs": ("1:7", "5:11")},
            "pair: '5:11'; expected readings at S-9 alone, or the scope type; reading 11 was taken at S-10",
        ),
        ({"scope": "both"}, "scope: 'both'; expected one of outlet, type"),
        ({"outlet_type": "grille G"}, "outlet_type: 'grille G'; expected nothing beside the scope outlet"),
        ({"name": " "}, "name: ' '; expected a name for the factor"),
        ({"reason": ""}, "reason: blank; expected why, in a few words"),
    ],
)
def test_one_wrong_thing_is_named_in_one_line(records, typed, said):
    (told,) = findings(records, **typed)
    assert re.match(r"(pair|scope|outlet_type|name|reason): ", told)
    assert said in told


def test_all_that_is_wrong_is_named_at_once(records):
    told = findings(records, pairs=("1:7", "q", "5:77"), scope="both", reason="")
    assert len(told) == 4


def test_a_type_must_be_on_record_and_be_the_same(tmp_path, sheets):
    job = {name: [dict(row) for row in rows] for name, rows in sheets.items()}
    records = records_of(tmp_path, job)
    (told, *rest) = findings(records, pairs=OF_S9, scope="type", outlet_type="grille H")
    assert "expected readings at outlets of the type 'grille H'; S-9 has 'grille G'" in told
    assert len(rest) == 3
    amended(records, "S-10", "outlet_type=")
    told = findings(records, pairs=("1:7", "5:11"), scope="type")
    assert told == ["pair: '5:11'; expected readings at outlets of the type 'grille G'; S-10 has none"]
    (told,) = findings(records, pairs=("5:11", "1:7"), scope="type")
    assert told == "outlet_type: expected the type; none is on record for outlet S-10: amend it"


def test_a_name_keeps_its_meaning(records):
    factor(records)
    (told,) = findings(records, pairs=OF_TYPE, scope="type")
    assert told.endswith(
        "name: 'GR-9'; expected another name; GR-9 is on record for outlet S-9 with VA-1, method sweep, and readings rely on that"
    )
    factor(records, "G", OF_TYPE, "type")
    (told,) = findings(records, name="G")
    assert "G is on record for outlets of the type 'grille G' with VA-1" in told


def another_face(**cells):
    """A sweep that is unlike the others, reading 13, and a reading in the duct for it, reading 14."""
    face = sweep("S-9", at("12:00"), "3.11;3.14;3.12") | cells
    return {"readings.csv": [face, sweep("D-9", at("12:10"), "3.4;3.5", "VB-1", "spot")]}


@pytest.mark.parametrize("cells", [{"instrument": "VB-1"}, {"method": "spot"}])
def test_the_faces_have_one_instrument_and_one_method(records, tmp_path, cells):
    added(records, tmp_path / "more", another_face(**cells))
    (told,) = findings(records, pairs=("1:7", "14:13"))
    used = {"instrument": "VA-1", "certificate": "C-101", "method": "sweep"} | cells
    used["certificate"] = "C-201" if used["instrument"] == "VB-1" else "C-101"
    assert "expected at every face the same (VA-1, certificate C-101, method sweep)" in told
    assert told.endswith(
        "reading 13 was taken with {instrument}, certificate {certificate}, method {method}".format(**used)
    )


def test_the_faces_have_one_calibration(records, tmp_path, sheets):
    again = next(dict(row) for row in sheets["calibrations.csv"] if row["tag"] == "VA-1")
    again |= {"certificate": "C-301", "calibrated_on": "2026-04-20", "accepted_on": "2026-04-21"}
    readings = [
        sweep("S-9", at("10:00", "2026-05-05"), "3.11;3.14"),
        sweep("D-9", at("10:10", "2026-05-05"), "3.4;3.5", "VB-1", "spot"),
    ]
    more = {"calibrations.csv": [again], "comparisons.csv": certificate_of_vane("C-301", 1.0), "readings.csv": readings}
    added(records, tmp_path / "more", more, LATER)
    (told,) = findings(records, pairs=("1:7", "14:13"), signed=ledger.Signature("A. Person", LATER, "factor find"))
    assert "reading 13 was taken with VA-1, certificate C-301, method sweep" in told


def test_a_hood_finds_no_factor(tmp_path):
    records = records_of(tmp_path, every_way())
    told = findings(records, pairs=("1:4", "2:5"))
    assert (
        "expected an instrument for air velocity at the face; reading 5 was taken with FH-1, for volume flow" in told[0]
    )


def test_standing_air_finds_no_factor(tmp_path, sheets):
    still = [
        dict(row, indications="0") if row["observed_at"] == at("09:10") else row for row in sheets["traverses.csv"]
    ]
    # A certificate through nought, so that nothing indicated is nothing moved.
    exact = [comparison("VB-1", "C-201", x, x, 0.02) for x in (0.0, 1.0, 3.0, 6.0, 12.0)]
    others = [row for row in sheets["comparisons.csv"] if row["tag"] != "VB-1"]
    (told,) = findings(records_of(tmp_path, sheets | {"traverses.csv": still, "comparisons.csv": [*others, *exact]}))
    assert "pair: '1:7'; expected air that moves: 0 m3/s in the duct" in told


def test_a_reading_that_does_not_stand_is_named_with_the_reasons(records):
    from calib.procedures.fleet.record_event import record_event

    with database.writing(str(records)) as session:
        dropped = datetime.fromisoformat("2026-03-05T09:30+01:00")
        record_event(session, "VA-1", "suspension", dropped, "dropped", SIGNED)
    told = findings(records)
    assert [one.partition("; ")[0] for one in told] == [f"pair: '{pair}'" for pair in OF_S9[1:]]
    assert "expected readings that stand; reading 8 yields no flow: VA-1: suspended" in told[0]


def test_readings_of_another_job_may_be_paired(records, tmp_path, sheets):
    job = dict(sheets["jobs.csv"][0], job="J-2")
    duct = next(dict(row, job="J-2") for row in sheets["outlets.csv"] if row["outlet"] == "D-9")
    readings = [dict(sweep("D-9", at("13:00"), "3.4;3.5;3.45", "VB-1", "spot"), job="J-2")]
    added(records, tmp_path / "more", {"jobs.csv": [job], "outlets.csv": [duct], "readings.csv": readings})
    x = np.array([3.4, 3.5, 3.45])
    flow, face, area = expected_pairs(sheets)
    flow[1] = np.mean(x + np.polyval(line(sheets, "VB-1"), x)) * 0.06
    found = factor(records, pairs=("1:7", "13:8"))
    assert found["value"] == pytest.approx(np.mean((flow / (face * area))[:2]), rel=1e-9)
