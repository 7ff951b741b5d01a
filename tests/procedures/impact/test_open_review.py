"""Impact reviews: opened where an instrument was found beyond its limits, with exactly what hangs on it, worked out anew.

Sources: ISO/IEC 17025:2017, 6.4.9 (examine the effect of a defect) and 7.10.1 (evaluate the significance, on previous results too),
from memory. Flows as found are compared with those of records that were imported with the comparisons as found in the certificate
in force, by an evaluation that knows of no review.
"""

import copy
import json
import math

import pytest

from calib.faces.files import import_folders
from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.impact.trace import trace_down, trace_up
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.instrument_history import instrument_history
from calib.procedures.report.collect import report as report_of
from calib.records import database, ledger
from calib.records.tables.factors import FoundFactor
from calib.records.tables.reports import IssuedReport
from calib.records.tables.reviews import ImpactLine, ImpactReview
from tests import factor_pairs
from tests.as_found import (
    LATER,
    added,
    all_reviews,
    as_if_found,
    drifted,
    finding,
    listed,
    review,
    reviewed,
    stated_flows,
    stated_in,
)
from tests.every_way import every_way
from tests.folders import SIGNED, all_of, changed, ledger_head, records_of, small_job, write

SAME = {"rel": 1e-9}


def assert_as_if(one, expected, numbers, when="after"):
    """Each line's flow, U, k and statement are those of an evaluation."""
    for number in numbers:
        *figures, statement = stated_in(finding(one, "reading", number), when)
        *wanted, word = expected[number]
        assert figures == pytest.approx(wanted, **SAME)
        assert statement == word


# --- exactly what hangs on it ----------------------------------------------------------------------------------------------------


def long_history():
    """VA-1 with an earlier certificate, in force until C-101 was accepted; readings 1 to 4 are those of the small job."""
    sheets = small_job()
    earlier = drifted(sheets, "VA-1", 1.0, "C-001", "2025-02-10", "2025-02-12")
    row = sheets["readings.csv"][0]
    times = ("2025-06-02T09:00+02:00", "2026-01-11T09:00+01:00", "2026-01-12T09:00+01:00", "2026-01-15T09:00+01:00")
    times += ("2026-03-21T09:00+01:00", "2026-03-25T09:00+01:00")
    sheets["readings.csv"] += [row | {"observed_at": time} for time in times]
    return sheets | {name: sheets[name] + earlier[name] for name in earlier}


@pytest.fixture(scope="module")
def of_long_history(tmp_path_factory):
    folder = tmp_path_factory.mktemp("long")
    sheets = long_history()
    second = drifted(sheets, "VA-1", accepted_on="2026-03-24")
    second["calibrations.csv"] = [second["calibrations.csv"][0]]
    records = records_of(folder, {**sheets, "readings.csv": sheets["readings.csv"][:8]}, now=LATER)
    added(records, folder / "second", second)
    added(records, folder / "third", {"readings.csv": sheets["readings.csv"][8:]})
    return records


def test_the_list_is_exactly_the_readings_since_the_last_calibration_in_order(of_long_history):
    """1, 2, 4: under C-101; 7, 8: while C-101 waited to be accepted; 9: while D-1 did. 5 and 6 are older, 10 newer, 3 of VA-2."""
    found = review(of_long_history, "VA-1")
    assert sorted(listed(found)) == [("reading", number) for number in (1, 2, 4, 7, 8, 9)]


def test_what_was_used_after_the_calibration_is_said(of_long_history):
    found = review(of_long_history, "VA-1")
    said = {line.record: line.finding["notes"] for line in found.lines}
    assert [
        number for number, notes in said.items() if any("if it was adjusted there first" in one for one in notes)
    ] == [9]


def test_a_reading_typed_later_becomes_a_line(of_long_history):
    """Reading 9 was imported after the review was opened."""
    assert review(of_long_history, "VA-1").lines[-1].record == 9


def test_earlier_readings_on_the_calibration_that_waited_have_a_line_worked_out_too(of_long_history):
    one = finding(review(of_long_history, "VA-1"), "reading", 8)
    assert one["shift"] < 0 < one["after"]["value"]


# --- flows as found --------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def small(tmp_path_factory):
    sheets = small_job()
    second = drifted(sheets, "VA-1")
    folder = tmp_path_factory.mktemp("small")
    return reviewed(folder / "records", sheets, second), records_of(folder / "other", as_if_found(sheets, second))


def test_flows_are_those_of_the_as_found_curve_in_force(small):
    records, other = small
    assert_as_if(review(records, "VA-1"), stated_flows(other, "J-1"), (1, 2, 4))


def test_flows_before_are_those_of_the_records(small):
    records, _ = small
    assert_as_if(review(records, "VA-1"), stated_flows(records, "J-1"), (1, 2, 4), "before")


def test_the_shift_is_after_less_before_and_over_the_u_before(small):
    one = finding(review(small[0], "VA-1"), "reading", 1)
    assert one["shift"] == one["after"]["value"] - one["before"]["value"]
    assert one["shift_over_U"] == pytest.approx(one["shift"] / one["before"]["expanded_uncertainty"])


def test_a_meter_found_four_percent_high_gave_flows_about_four_percent_high(small):
    """By hand: x' = 1.04 x at each comparison, so the value at one indication falls by about 1/1.04."""
    one = finding(review(small[0], "VA-1"), "reading", 1)
    assert one["after"]["value"] / one["before"]["value"] == pytest.approx(1 / 1.04, rel=2e-3)


def test_statements_change_where_the_flow_leaves_its_interval(small):
    one = review(small[0], "VA-1")
    said = {number: finding(one, "reading", number) for number in (1, 2, 4)}
    changed_ones = {number: each["statement_changed"] for number, each in said.items()}
    assert changed_ones == {1: True, 2: False, 4: False}
    assert (said[1]["statement_before"], said[1]["statement_after"]) == ("conditional pass", "pass")


def test_nothing_is_changed_automatically(tmp_path):
    sheets = small_job()
    records = records_of(tmp_path, sheets)
    before = stated_flows(records, "J-1")
    added(records, tmp_path / "second", drifted(sheets, "VA-1"))
    assert stated_flows(records, "J-1") == before
    with database.reading(str(records)) as session:
        assert ledger.verify(session.connection()) == ()


def test_working_out_leaves_no_record_behind(tmp_path):
    """One certificate with its 14 comparisons and its curve, the review, three lines: nothing else is in the ledger."""
    sheets = small_job()
    records = records_of(tmp_path, sheets)
    before, _ = ledger_head(records)
    added(records, tmp_path / "second", drifted(sheets, "VA-1"))
    assert ledger_head(records)[0] - before == 1 + 14 + 1 + 1 + 3


AIR = ["conditions of the air"]
WAYS = {
    # instrument -> how readings 1 to 7 (D-1, D-2, D-3, S-1, S-2, S-3, X-1) rest on it
    "DM-1": {1: ["meter", *AIR], 2: AIR},
    "PT-1": {1: ["probe"]},
    "TA-1": {2: ["meter"], 3: ["meter"]},
    "VF-1": {4: ["meter"], 7: ["meter"]},
    "FH-1": {5: ["meter"], 6: ["meter"]},
    "TH-1": {1: AIR, 2: AIR, 3: AIR, 4: AIR},
    "BA-1": {1: AIR, 2: AIR},
    "HY-1": {1: AIR, 2: AIR},
}


@pytest.mark.parametrize("tag", WAYS)
def test_every_way_of_measuring_is_listed_and_worked_out(tmp_path, tag):
    """Also the air: the second certificate was made at 960 hPa, and a vane is corrected for the density of its calibration."""
    sheets = every_way()
    air = {"pressure_kPa": "96.0"} if tag in ("VF-1", "TA-1", "FH-1") else {}
    second = drifted(sheets, tag, 1.04, "D-1", **air)
    records = reviewed(tmp_path / "records", sheets, second)
    other = records_of(tmp_path / "other", as_if_found(sheets, second))
    found = review(records, tag)
    assert {line.record: line.finding["relied_on_as"] for line in found.lines} == WAYS[tag]
    assert_as_if(found, stated_flows(other, "E-1"), WAYS[tag])


def test_a_reading_outside_the_comparisons_as_found_is_not_worked_out_and_says_why(tmp_path):
    sheets = small_job()
    second = drifted(sheets, "VA-1")
    second["comparisons.csv"] = [
        one for one in second["comparisons.csv"] if one["phase"] == "as-left" or float(one["reference"]) >= 2.5
    ]
    records = reviewed(tmp_path, sheets, second)
    one = finding(review(records, "VA-1"), "reading", 4)  # 2.52 m/s, below 1.04 times 2.49 m/s
    assert one["after"] is None
    assert one["shift"] is None
    assert "2.52 m/s is outside the calibrated measuring interval" in one["reasons_after"][0]


def test_comparisons_as_found_that_make_no_curve_leave_the_lines_to_be_judged_by_hand(tmp_path):
    sheets = small_job()
    second = drifted(sheets, "VA-1")
    second["comparisons.csv"] = second["comparisons.csv"][2:3] + second["comparisons.csv"][7:]
    found = review(reviewed(tmp_path, sheets, second), "VA-1")
    assert [line.record for line in found.lines] == [1, 2, 4]
    assert all(line.finding["after"] is None for line in found.lines)
    assert all("make no curve" in line.finding["notes"][0] for line in found.lines)


# --- standards -------------------------------------------------------------------------------------------------------------------


def with_wide_standard():
    """RS-1 compared from 0.4 to 16 m/s without error, so that it covers every reference value of VA-2."""
    sheets = small_job()
    rows = [one for one in sheets["comparisons.csv"] if one["tag"] == "RS-1"]
    values = ("0.400", "2.000", "6.000", "10.000", "16.000")
    own = [rows[0] | {"reference": value, "indication": value, "expanded_uncertainty": "0.02"} for value in values]
    sheets["comparisons.csv"] = [one for one in sheets["comparisons.csv"] if one["tag"] != "RS-1"] + own
    return sheets


@pytest.fixture(scope="module")
def nested(tmp_path_factory):
    """RS-1 found reading 4 % high; and the records as if: its certificate as found, the reference values of C-102 over 1.04."""
    sheets, folder = with_wide_standard(), tmp_path_factory.mktemp("nested")
    second = drifted(sheets, "RS-1")
    other = as_if_found(sheets, second)
    for one in other["comparisons.csv"]:
        if one["tag"] == "VA-2":
            one["reference"] = repr(float(one["reference"]) / 1.04)
    return reviewed(folder / "records", sheets, second), records_of(folder / "other", other)


def test_a_calibration_by_the_instrument_and_what_hangs_on_that_are_listed(nested):
    assert listed(review(nested[0], "RS-1")) == [("reading", 3), ("calibration", 2)]


def test_flows_by_way_of_a_standard_are_those_of_its_as_found_curve(nested):
    records, other = nested
    assert_as_if(review(records, "RS-1"), stated_flows(other, "J-1"), [3])


def test_the_line_of_a_calibration_names_the_largest_shift_of_its_curve(nested):
    one = finding(review(nested[0], "RS-1"), "calibration", 2)
    assert (one["instrument"], one["certificate"], one["unit"]) == ("VA-2", "C-102", "fpm")
    assert one["relied_on_as"] == ["reference standard"]
    assert one["after"]["value"] / one["before"]["value"] == pytest.approx(1 / 1.04, rel=1e-3)


def test_a_standard_of_a_standard_is_followed(tmp_path):
    """VA-1 calibrated in house by VA-2, which RS-1 calibrated."""
    sheets = with_wide_standard()
    row = next(one for one in sheets["calibrations.csv"] if one["tag"] == "VA-1")
    row |= {"standards": "VA-2", "calibrated_on": "2026-02-10", "accepted_on": "2026-02-11"}
    second = drifted(sheets, "RS-1")
    found = review(reviewed(tmp_path / "records", sheets, second), "RS-1")
    other = as_if_found(sheets, second)
    for one in other["comparisons.csv"]:
        one["reference"] = repr(float(one["reference"]) / (1.04 if one["tag"] == "VA-2" else 1.0))
    assert set(listed(found)) == {("calibration", 1), ("calibration", 2), *(("reading", one) for one in (1, 2, 3, 4))}
    assert_as_if(found, stated_flows(records_of(tmp_path / "other", other), "J-1"), [3])
    # VA-2's curve before and as found differ by nearly 1/1.04 everywhere, and so do the reference values of VA-1.
    one = finding(found, "reading", 1)
    assert one["after"]["value"] / one["before"]["value"] == pytest.approx(1 / 1.04, rel=5e-3)


def test_reference_values_beyond_the_standard_s_comparisons_move_by_its_shift_at_the_end(tmp_path):
    sheets = small_job()  # RS-1 was compared up to 8 m/s, VA-2 up to 3000 fpm = 15.24 m/s
    found = review(reviewed(tmp_path, sheets, drifted(sheets, "RS-1")), "RS-1")
    one = finding(found, "calibration", 2)
    assert "nearer end" in one["notes"][0]
    assert one["shift"] < 0


def test_a_standard_of_another_quantity_is_left_to_be_judged_by_hand(tmp_path):
    sheets = small_job()
    sheets["calibrations.csv"][1]["standards"] = "RS-1;PG-1"
    found = review(reviewed(tmp_path, sheets, drifted(sheets, "PG-1", 1.10)), "PG-1")
    assert set(listed(found)) == {("calibration", 2), ("reading", 3)}
    assert all(line.finding["after"] is None for line in found.lines)
    assert all("judge it by hand" in line.finding["notes"][0] for line in found.lines)


def in_house(sheets, standard):
    """VA-2's certificate as an in-house calibration writes it: beside each reference value what the standard showed."""
    for one in sheets["comparisons.csv"]:
        basis = {"standard": standard, "indication": one["reference"], "indication_unit": "fpm"}
        own = one["tag"] == "VA-2"
        one["standard_indication"] = one["reference"] if own else ""
        one["basis"] = json.dumps(basis | {"contributions": []}) if own else ""
    return sheets


def test_a_calibration_that_names_another_standard_beside_each_value_is_not_moved(tmp_path):
    sheets = in_house(small_job(), "VA-1")
    sheets["calibrations.csv"][1]["standards"] = "RS-1;VA-1"
    found = review(reviewed(tmp_path, sheets, drifted(sheets, "RS-1")), "RS-1")
    assert finding(found, "calibration", 2)["shift"] == pytest.approx(0, abs=1e-9)


def test_what_the_standard_showed_is_taken_as_it_was_typed(tmp_path):
    """In house: reference = what RS-1's certificate makes of its indication; as found RS-1 showed 1.04 times too much."""
    sheets = in_house(with_wide_standard(), "RS-1")
    second = drifted(sheets, "RS-1")
    other = as_if_found(sheets, second)
    for one in other["comparisons.csv"]:
        if one["tag"] == "VA-2":
            one["reference"] = repr(float(one["reference"]) / 1.04)
    found = review(reviewed(tmp_path / "records", sheets, second), "RS-1")
    assert_as_if(found, stated_flows(records_of(tmp_path / "other", other), "J-1"), [3])


# --- factors ---------------------------------------------------------------------------------------------------------------------


def with_factor(records):
    """Find the factor of S-9 and give it to the outlet."""
    factor_pairs.factor(records)
    with database.writing(str(records)) as session:
        amend_outlet(session, "J-1", "S-9", [*factor_pairs.BLANK, "found_factor=GR-9"], "found in the field", SIGNED)


@pytest.fixture(scope="module", params=["VB-1", "VA-1"])
def found_factor(request, tmp_path_factory):
    """The meter of the traverses, or that at the faces, found 4 % high; and the records as if."""
    sheets, folder = factor_pairs.paired_job(), tmp_path_factory.mktemp("factor")
    second = drifted(sheets, request.param)
    records, other = records_of(folder / "a", sheets), records_of(folder / "b", as_if_found(sheets, second))
    for one in (records, other):
        with_factor(one)
    added(records, folder / "second", second)
    return request.param, records, other


def test_a_factor_found_with_it_and_the_readings_that_use_it_are_listed(found_factor):
    tag, records, _ = found_factor
    own = range(1, 7) if tag == "VB-1" else range(7, 13)
    readings = sorted({*own, 7, 8, 9, 10})  # those of S-9 use the factor
    assert listed(review(records, tag)) == [*(("reading", one) for one in readings), ("found_factor", 1)]


def test_a_factor_is_found_anew_from_its_pairs(found_factor):
    tag, records, other = found_factor
    one = finding(review(records, tag), "found_factor", 1)
    with database.reading(str(other)) as session:
        (expected,) = all_of(session, FoundFactor)
        value = expected.value
    assert one["after"]["value"] == pytest.approx(value, **SAME)
    assert math.copysign(1, one["shift"]) == (-1 if tag == "VB-1" else 1)


def test_readings_with_the_factor_are_those_of_the_factor_found_anew(found_factor):
    """At the face the meter's error cancels: what VA-1 shows too high, its factor makes good."""
    tag, records, other = found_factor
    found = review(records, tag)
    assert_as_if(
        found, stated_flows(other, "J-1"), [line.record for line in found.lines if line.record_table == "reading"]
    )
    if tag == "VA-1":
        assert finding(found, "reading", 7)["shift_over_U"] == pytest.approx(0, abs=0.01)
        assert abs(finding(found, "reading", 11)["shift_over_U"]) > 0.1


def test_a_factor_superseded_is_listed_and_not_worked_out(tmp_path):
    sheets = factor_pairs.paired_job()
    records = records_of(tmp_path, sheets)
    factor_pairs.factor(records)
    factor_pairs.factor(records, pairs=factor_pairs.OF_S9[:3], reason="without the last")
    added(records, tmp_path / "second", drifted(sheets, "VB-1"))
    found = review(records, "VB-1")
    first, second = (finding(found, "found_factor", number) for number in (1, 2))
    assert (first["counts"], first["after"], first["notes"][0][:10]) == (False, None, "superseded")
    assert second["counts"]
    assert second["after"]["value"] < second["before"]["value"]


def test_a_factor_found_later_becomes_a_line_and_so_do_the_readings_that_come_to_use_it(tmp_path):
    sheets = factor_pairs.paired_job()
    records = reviewed(tmp_path, sheets, drifted(sheets, "VB-1"))
    own = [("reading", number) for number in range(1, 7)]
    assert listed(review(records, "VB-1")) == own
    factor_pairs.factor(records)
    assert listed(review(records, "VB-1")) == [*own, ("found_factor", 1)]
    factor_pairs.amended(records, "S-9", *factor_pairs.BLANK, "found_factor=GR-9")
    of_the_outlet = [("reading", number) for number in range(7, 11)]
    assert listed(review(records, "VB-1")) == [*own, ("found_factor", 1), *of_the_outlet]


# --- reports ---------------------------------------------------------------------------------------------------------------------


def issue(records, revision=1, now=LATER):
    """A report as another procedure would keep it."""
    with database.writing(str(records)) as session:
        head = ledger.ledger_head(session)[1]
        one = IssuedReport(
            job_id=1,
            revision=revision,
            issued_at=now.isoformat(),
            reason=None if revision == 1 else "measured again",
            ledger_digest=head,
        )
        ledger.append_entries(session, [one], ledger.Signature("An Engineer", now, "report"))


def test_a_report_whose_statement_changes_is_to_be_reissued(tmp_path):
    sheets = small_job()
    records = records_of(tmp_path, sheets)
    issue(records)
    added(records, tmp_path / "second", drifted(sheets, "VA-1"))
    one = finding(review(records, "VA-1"), "issued_report", 1)
    assert (one["report"], one["readings"]) == ("J-1 revision 1", [1, 2, 4])
    assert one["statements_changed"] == ["reading 1"]
    assert one["reissue"]
    assert one["largest_shift_over_U"] == pytest.approx(0.567, abs=1e-3)


def test_a_report_is_not_to_be_reissued_where_nothing_changes(tmp_path):
    sheets = changed(("outlets.csv", 2, "tolerance_percent", "25"))
    records = records_of(tmp_path, sheets)
    issue(records)
    added(records, tmp_path / "second", drifted(sheets, "VA-1"))
    one = finding(review(records, "VA-1"), "issued_report", 1)
    assert one["statements_changed"] == []
    assert not one["reissue"]


def test_totals_that_change_are_among_what_a_report_states(tmp_path):
    sheets = small_job()
    total = {"job": "J-1", "system": "AH-1", "service": "supply", "design_flow": "1450", "flow_unit": "m3/h"}
    sheets["systems.csv"] = [total | {"tolerance_percent": "9"}]
    records = records_of(tmp_path / "a", sheets)
    issue(records)
    second = drifted(sheets, "VA-1")
    added(records, tmp_path / "second", second)
    one = finding(review(records, "VA-1"), "issued_report", 1)
    with database.reading(str(records_of(tmp_path / "b", as_if_found(sheets, second)))) as session:
        expected = evaluate(session, "J-1", LATER).of_systems.flow.value[0] * 3600
    assert one["totals"]["AH-1 supply"]["after"]["value"] == pytest.approx(expected, **SAME)


def test_a_report_issued_since_is_no_line(tmp_path):
    """It names the open review itself."""
    sheets = small_job()
    records = reviewed(tmp_path, sheets, drifted(sheets, "VA-1"))
    issue(records)
    again = sheets["readings.csv"][0] | {"observed_at": "2026-03-06T09:10+01:00"}
    added(records, tmp_path / "more", {"readings.csv": [again]})
    assert listed(review(records, "VA-1")) == [("reading", number) for number in (1, 2, 4, 5)]


# --- whether a review is opened --------------------------------------------------------------------------------------------------


def test_the_first_certificate_of_an_instrument_opens_none(tmp_path):
    """VA-1's own first comparisons lie beyond its limits; nothing can have been measured with it before."""
    assert all_reviews(records_of(tmp_path, small_job())) == []


def in_order():
    """VB-1 of the paired job, whose errors lie within its limits."""
    return factor_pairs.paired_job()


def test_a_certificate_in_order_opens_none(tmp_path):
    sheets = in_order()
    assert all_reviews(reviewed(tmp_path, sheets, drifted(sheets, "VB-1", 1.0))) == []


def test_errors_near_the_limit_are_said_where_none_is_beyond(tmp_path):
    sheets = in_order()
    records, told = records_of(tmp_path, sheets), []
    folder = write(tmp_path / "second", drifted(sheets, "VB-1", 0.998))
    with database.writing(str(records)) as session:
        import_folders(session, [folder], ledger.Signature("A. Person", LATER, "import"), LATER, told.append)
    assert all_reviews(records) == []
    assert any("lie within U of the limit" in one for one in told)


def test_an_instrument_without_a_maximum_permissible_error_opens_none(tmp_path):
    sheets = changed(
        *(("instruments.csv", 2, name, "") for name in ("mpe_percent", "mpe_absolute")),
    )
    sheets["instruments.csv"] = [
        one
        | {
            "stability_percent": "1" if one["tag"] == "VA-1" else "",
            "stability_basis": "x" if one["tag"] == "VA-1" else "",
        }
        for one in sheets["instruments.csv"]
    ]
    assert all_reviews(reviewed(tmp_path, sheets, drifted(sheets, "VA-1", 1.2))) == []


def test_the_criterion_and_what_is_assumed_are_kept(small):
    one = review(small[0], "VA-1")
    assert "error of the indication within ± (1.0 % of the indication + 0.03 m/s), simple acceptance" in one.criterion
    assert "the curve as found is taken for the whole time" in one.assessment["assumption"]
    assert one.assessment["since"] == {
        "certificate": "C-101",
        "calibrated_on": "2026-01-12",
        "accepted_on": "2026-01-19",
    }


def test_each_comparison_as_found_is_judged_by_its_error(small):
    """By hand: 1.04 times 2.49 is 2.5896; the error 0.0896, the limit 0.01 times 2.5896 + 0.03."""
    by_indication = review(small[0], "VA-1").assessment["judgements"][0]
    one = by_indication["comparisons"][2]
    assert (by_indication["judged"], one["reference"], one["beyond"]) == ("indication", "2.50", True)
    assert one["error"] == pytest.approx(0.0896)
    assert one["limit"] == pytest.approx(0.055896)


def test_an_instrument_that_changed_within_its_limits_is_found_by_what_its_curve_made_of_it(tmp_path):
    """VB-1 showed -0.6 % at 12 m/s; as found +0.7 %. Both are within 0.8 % + 0.02 m/s, the change is not."""
    sheets = in_order()
    second = drifted(sheets, "VB-1", 1.0135)
    found = review(reviewed(tmp_path, sheets, second), "VB-1")
    by_indication, by_value = found.assessment["judgements"]
    assert (by_indication["judged"], by_value["judged"]) == ("indication", "corrected value")
    assert [one["beyond"] for one in by_indication["comparisons"]][3] is False
    assert [one["beyond"] for one in by_value["comparisons"]][2] is True


def test_what_was_accepted_on_its_corrected_value_is_judged_so_alone(tmp_path):
    """VA-1's indications always lay beyond its limits; its corrected values, on which it was accepted, do not."""
    sheets = small_job()
    sheets["calibrations.csv"] = [
        one
        | {
            "decision_rule": "simple" if one["tag"] == "VA-1" else "",
            "judged": "corrected value" if one["tag"] == "VA-1" else "",
        }
        for one in sheets["calibrations.csv"]
    ]
    same, other = drifted(sheets, "VA-1", 1.0), drifted(sheets, "VA-1", 1.04)
    for second in (same, other):
        second["calibrations.csv"][0] |= {"decision_rule": "", "judged": ""}
    assert all_reviews(reviewed(tmp_path / "same", sheets, same)) == []
    found = review(reviewed(tmp_path / "other", sheets, other), "VA-1")
    assert [one["judged"] for one in found.assessment["judgements"]] == ["corrected value"]


def test_a_certificate_and_its_readings_in_one_import_make_the_same_review(tmp_path, small):
    sheets = small_job()
    second = drifted(sheets, "VA-1")
    together = copy.deepcopy(sheets)
    for name, rows in second.items():
        together[name] = together[name] + rows
    found = review(records_of(tmp_path, together, now=LATER), "VA-1")
    assert listed(found) == listed(review(small[0], "VA-1"))
    assert finding(found, "reading", 1)["shift"] == pytest.approx(
        finding(review(small[0], "VA-1"), "reading", 1)["shift"]
    )


def test_an_import_says_what_it_opened(tmp_path):
    sheets = small_job()
    records = records_of(tmp_path, sheets)
    counts = added(records, tmp_path / "second", drifted(sheets, "VA-1")).records
    assert (counts["impact_review"], counts["impact_line"]) == (1, 3)
    again = sheets["readings.csv"][0] | {"observed_at": "2026-03-06T09:10+01:00"}
    counts = added(records, tmp_path / "more", {"readings.csv": [again]}).records
    assert "impact_review" not in counts
    assert counts["impact_line"] == 1


def test_a_review_on_which_nothing_hangs_is_kept_and_done(tmp_path):
    sheets = small_job()
    records = reviewed(tmp_path, sheets, drifted(sheets, "PG-1", 1.10))
    found = review(records, "PG-1")
    assert (found.lines, found.is_open) == ((), False)


def test_review_and_lines_are_in_the_ledger_with_who_recorded_the_certificate(small):
    with database.reading(str(small[0])) as session:
        (opened,) = all_of(session, ImpactReview)
        assert ledger.written(session, "impact_review", opened.id) == ("A. Person", LATER.isoformat())
        assert {ledger.written(session, "impact_line", one.id)[0] for one in all_of(session, ImpactLine)} == {
            "A. Person"
        }


def test_what_only_reads_writes_nothing_on_the_way(small_records, tmp_path):
    """A session that reads may write nothing on a server, not even in a savepoint: there this would be an error."""
    added(small_records, tmp_path / "second", drifted(small_job(), "VA-1"))
    before = ledger_head(small_records)
    with database.reading(str(small_records)) as session:
        gaps = trace_up(session, ["reading", "1"], LATER.date()).gaps
        hanging = trace_down(session, ["VA-1"], LATER.date()).knots
        shown = report_of(session, "J-1", LATER)
        history = instrument_history(session, "VA-1", LATER)
    assert len(gaps) == 2  # a review is open, and the certificate states no accreditation
    assert {("reading", 1), ("reading", 2), ("reading", 4)} <= hanging.keys()
    assert [one.tag for one in shown.open_reviews] == ["VA-1"]
    assert [one["open_lines"] for one in history.reviews] == [3]
    assert ledger_head(small_records) == before


def test_the_same_review_is_made_wherever_the_records_live(small_records, small, tmp_path):
    before = stated_flows(small_records, "J-1")
    added(small_records, tmp_path / "second", drifted(small_job(), "VA-1"))
    here, in_a_file = review(small_records, "VA-1"), review(small[0], "VA-1")
    assert listed(here) == listed(in_a_file)
    for one, other in zip(here.lines, in_a_file.lines, strict=True):
        assert one.finding["after"] == pytest.approx(other.finding["after"], **SAME)
        assert one.finding["statement_after"] == other.finding["statement_after"]
    assert stated_flows(small_records, "J-1") == before
