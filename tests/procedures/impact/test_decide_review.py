"""What a person decides in a review holds along every chain: the air, a standard's calibrations, factors found in the field.

Flows as decided are compared with those of records that hold the comparisons as found in the certificate in force, by an evaluation
that knows of no review. Source: ISO/IEC 17025:2017, 7.10.1, from memory; GUM F.2.4.5 for what is widened.
"""

import pytest

from calib.errors import BadInputError
from calib.procedures.impact.decide_review import CurveWanted, decide_review
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.on_record.reviews import reviews
from calib.procedures.people.persons_and_roles import PersonWanted, add_person
from calib.records import database, ledger
from calib.records.tables.factors import FoundFactor
from tests import factor_pairs
from tests.as_found import LATER, added, all_reviews, as_if_found, drifted, listed, review, reviewed, stated_flows
from tests.every_way import every_way
from tests.folders import all_of, records_of, small_job
from tests.procedures.impact.test_open_review import with_factor, with_wide_standard

SAME = {"rel": 1e-9}


def decide(records, curve="as found", from_at=None, by="Q. Person", number=1, now=LATER):
    wanted = CurveWanted(number, curve, from_at, "the dent is old")
    with database.writing(str(records)) as session:
        return decide_review(session, wanted, ledger.Signature(by, now, "review decide"), now)


def assert_as_in(records, other, job, tolerance=SAME):
    flows, expected = stated_flows(records, job), stated_flows(other, job)
    assert flows.keys() == expected.keys()
    for reading, (*figures, statement) in expected.items():
        assert flows[reading][:3] == pytest.approx(figures, **tolerance)
        assert flows[reading][3] == statement


@pytest.mark.parametrize("tag", ["DM-1", "PT-1", "TA-1", "VF-1", "FH-1", "TH-1", "BA-1", "HY-1"])
def test_every_way_of_measuring_follows_it(tmp_path, tag):
    sheets = every_way()
    air = {"pressure_kPa": "96.0"} if tag in ("VF-1", "TA-1", "FH-1") else {}
    second = drifted(sheets, tag, 1.04, "D-1", **air)
    records = reviewed(tmp_path / "records", sheets, second)
    other = records_of(tmp_path / "other", as_if_found(sheets, second))
    decide(records)
    assert_as_in(records, other, "E-1")


@pytest.mark.parametrize("tag", ["DM-1", "PT-1", "VF-1", "FH-1", "TH-1"])
def test_widened_makes_no_u_smaller_and_moves_no_flow(tmp_path, tag):
    sheets = every_way()
    records = reviewed(tmp_path / "records", sheets, drifted(sheets, tag, 1.04, "D-1"))
    before = stated_flows(records, "E-1")
    decide(records, "widened")
    after = stated_flows(records, "E-1")
    touched = {line.record for line in review(records, tag).lines}
    for reading, (value, u, _, _) in before.items():
        assert after[reading][0] == pytest.approx(value, **SAME)
        assert after[reading][1] > u if reading in touched else after[reading][1] == pytest.approx(u, **SAME)


def test_what_a_standard_calibrated_in_house_follows_it(tmp_path):
    sheets = with_wide_standard()
    second = drifted(sheets, "RS-1")
    other = as_if_found(sheets, second)
    for one in other["comparisons.csv"]:
        if one["tag"] == "VA-2":
            one["reference"] = repr(float(one["reference"]) / 1.04)
    records = reviewed(tmp_path / "records", sheets, second)
    decide(records)
    assert_as_in(records, records_of(tmp_path / "other", other), "J-1")


def test_what_a_standard_calibrated_in_house_is_widened_by_the_standard_s_change(tmp_path):
    sheets = with_wide_standard()
    records = reviewed(tmp_path / "records", sheets, drifted(sheets, "RS-1"))
    before = stated_flows(records, "J-1")
    decide(records, "widened")
    after = stated_flows(records, "J-1")
    assert after[3][1] > before[3][1]
    assert after[1] == pytest.approx(before[1])


def test_what_cannot_be_worked_out_anew_refuses_its_readings(tmp_path):
    """PG-1 measures a pressure: what it did to reference velocities is not on record."""
    sheets = small_job()
    sheets["calibrations.csv"][1]["standards"] = "RS-1;PG-1"
    records = reviewed(tmp_path, sheets, drifted(sheets, "PG-1", 1.10))
    decide(records)
    with database.reading(str(records)) as session:
        (refused,) = [one for one in evaluate(session, "J-1", LATER).refused if one.stood]
    assert refused.typed.id == 3
    (reason,) = refused.reasons
    assert reason.startswith(
        "VA-2: certificate C-102 rests on PG-1, for which a review decided on another curve, and cannot be"
    )
    assert reason.endswith("have VA-2 calibrated again")


@pytest.fixture(params=["VB-1", "VA-1"])
def with_found_factor(request, tmp_path):
    """The meter of the traverses, or that at the faces, found 4 % high; and the records as if."""
    sheets = factor_pairs.paired_job()
    second = drifted(sheets, request.param)
    records, other = (
        records_of(tmp_path / "records", sheets),
        records_of(tmp_path / "other", as_if_found(sheets, second)),
    )
    with_factor(records)
    with_factor(other)
    added(records, tmp_path / "second", second)
    return records, other


def test_a_factor_that_rests_on_it_is_found_anew(with_found_factor):
    records, other = with_found_factor
    told = decide(records).remarks
    assert any(one.startswith("factor GR-9: found anew, ") for one in told)
    with database.reading(str(records)) as session:
        *_, last = sorted(all_of(session, FoundFactor), key=lambda each: each.revision)
    with database.reading(str(other)) as session:
        (expected,) = all_of(session, FoundFactor)
    assert last.revision == 2
    assert (last.value, last.relative_instrument) == pytest.approx(
        (expected.value, expected.relative_instrument), **SAME
    )
    assert_as_in(records, other, "J-1")


def test_a_factor_is_found_anew_each_time_somebody_decides_otherwise(with_found_factor):
    records, _ = with_found_factor
    before = stated_flows(records, "J-1")
    decide(records)
    assert stated_flows(records, "J-1") != before
    decide(records, "as before")
    after = stated_flows(records, "J-1")
    assert {reading: each[:2] for reading, each in after.items()} == {
        reading: pytest.approx(each[:2], **SAME) for reading, each in before.items()
    }


def test_a_factor_found_anew_by_the_decision_is_no_line_of_its_review(with_found_factor):
    """What is affected is the factor found before, with its shift; the one found with the curve that holds is the answer to it."""
    records, _ = with_found_factor
    face = next(one for one in factor_pairs.paired_job()["readings.csv"] if one["outlet"] == "S-9")
    for curve, at in (("as found", "13:00"), ("as before", "13:30")):
        decide(records, curve)
        later = {"readings.csv": [face | {"observed_at": factor_pairs.at(at)}]}
        added(records, records.parent / curve, later)
        (reviewed_now,) = all_reviews(records)
        assert [line for line in listed(reviewed_now) if line[0] == "found_factor"] == [("found_factor", 1)]
    with database.reading(str(records)) as session:
        assert len(all_of(session, FoundFactor)) == 3


def with_factor_left_behind(folder):
    """As found VA-1 was compared only above what it showed at the faces, so that its pairs make no factor any more."""
    sheets = factor_pairs.paired_job()
    second = drifted(sheets, "VA-1")
    second["comparisons.csv"] = [
        one for one in second["comparisons.csv"] if one["phase"] == "as-left" or float(one["reference"]) >= 4.9
    ]
    records = records_of(folder / "records", sheets)
    with_factor(records)
    again = next(one for one in sheets["readings.csv"] if one["outlet"] == "S-9")
    added(records, folder / "later", {"readings.csv": [again | {"observed_at": factor_pairs.at("13:00")}]})
    added(records, folder / "second", second)
    return records


def test_a_factor_that_cannot_be_found_anew_is_used_by_no_reading_until_it_is(tmp_path):
    records = with_factor_left_behind(tmp_path)
    told = decide(records).remarks
    assert any(
        "factor GR-9 cannot be found anew, and readings that use it are refused until it is" in one for one in told
    )
    with database.reading(str(records)) as session:
        last = [one for one in evaluate(session, "J-1", LATER).refused if one.typed.id == 13]
    said = "factor GR-9: review 1 decided since that another curve holds for what it was found with: find it again"
    assert said in last[0].reasons
    decide(records, "as before")
    assert 13 in stated_flows(records, "J-1")


def test_a_factor_that_a_decision_found_anew_is_left_behind_by_another_one(tmp_path):
    records = with_factor_left_behind(tmp_path)
    assert any(one.startswith("factor GR-9: found anew, ") for one in decide(records, "widened").remarks)
    assert 13 in stated_flows(records, "J-1")
    decide(records)
    assert 13 not in stated_flows(records, "J-1")


def test_who_is_not_qa_may_not_decide_where_roles_are_checked(tmp_path):
    records = reviewed(tmp_path, small_job(), drifted(small_job(), "VA-1"))
    with database.writing(str(records)) as session:
        signature = ledger.Signature("Q. Person", LATER, "person add")
        add_person(session, PersonWanted("Q. Person", None, ["QA"]), signature)
        add_person(session, PersonWanted("T. One", None, ["technician"]), signature)
    with pytest.raises(BadInputError, match="decide which curve holds"):
        decide(records, by="T. One")
    assert decide(records).review.holds.curve == "as found"


def test_a_review_is_decided_wherever_the_records_live(small_records, tmp_path):
    added(small_records, tmp_path / "second", drifted(small_job(), "VA-1"))
    with database.reading(str(small_records)) as session:
        number = reviews(session)[0].review
    before = stated_flows(small_records, "J-1")
    decide(small_records, number=number)
    assert stated_flows(small_records, "J-1")[1][0] < before[1][0]
