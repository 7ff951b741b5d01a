"""What was amended in a job: both values, the reason, who and when, and the flow before; what no longer stands is refused.

Sources: ISO/IEC 17025:2017, 7.5.2 and 7.8.8 (amended reports; from memory). The flows before are those of the evaluation before.
"""

import json
from datetime import datetime, timedelta

import pytest

from calib.procedures.enter.amend_outlet import amend_outlet
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.report.amendments import amendments_of
from calib.procedures.report.collect import report
from calib.records import database, ledger
from tests import factor_pairs
from tests.command import calib, copied
from tests.every_way import changed, every_way
from tests.folders import NOW, ledger_head, records_of

SAME = 1e-12
LATER = NOW + timedelta(days=9)


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    """The job with a second, later reading at S-1."""
    sheets = every_way()
    again = {"observed_at": "2026-03-05T15:10+01:00", "observations": "4.29;4.32;4.29"}
    sheets["readings.csv"].append(sheets["readings.csv"][3] | again)
    return records_of(tmp_path_factory.mktemp("ways"), sheets)


@pytest.fixture
def records(job, tmp_path):
    return copied(job, tmp_path / "records.sqlite")


def amend(records, outlet, *changes, reason="measured again", by="A. Person", at=NOW):
    with database.writing(str(records)) as session:
        amend_outlet(session, "E-1", outlet, changes, reason, ledger.Signature(by, at, "outlet amend"), sure=True)


def evaluated(records, name="E-1", probability=0.9545):
    """The job evaluated, with its amendments."""
    with database.reading(str(records)) as session:
        found = evaluate(session, name, LATER, probability)
        return found, amendments_of(session, found, LATER)


def flows_at(found, outlet):
    """Value, u, k and degrees of freedom of each reading at an outlet."""
    rows = [row for row, one in enumerate(found.measured) if one.outlet.outlet == outlet]
    return [of(found.flow, row) for row in rows]


def of(results, row=0):
    combined = results.combined
    figures = results.value, combined.standard_uncertainty, combined.degrees_of_freedom, results.coverage_factor
    return [each[row] for each in figures]


def test_a_job_as_first_typed_has_no_amendments(records):
    assert evaluated(records)[1] == ()


def test_an_amendment_has_both_values_reason_person_and_time(records):
    at = datetime.fromisoformat("2026-03-09T17:05:00+01:00")
    amend(records, "S-1", "width=410", "room=", reason="the first time at the frame", by="B. Person", at=at)
    (one,) = evaluated(records)[1]
    assert (one.record, one.revision) == ("outlet S-1", 2)
    assert one.changes == {"width": ("400", "410"), "room": ("Store", "")}
    assert (one.reason, one.person, one.time) == (
        "the first time at the frame",
        "B. Person",
        "2026-03-09T17:05:00+01:00",
    )


@pytest.mark.parametrize(
    ("outlet", "changes"),
    [("S-1", ["width=410"]), ("S-1", ["design_flow=1200"]), ("D-1", ["diameter=410"]), ("S-2", ["room=Wash"])],
)
def test_the_flows_before_are_those_of_the_evaluation_before(records, outlet, changes):
    before, _ = evaluated(records)
    amend(records, outlet, *changes)
    after, (one,) = evaluated(records)
    assert [of(each.flows, each.place) for each in one.flows_before] == [
        pytest.approx(figures, rel=SAME) for figures in flows_at(before, outlet)
    ]
    assert [after.measured[each.row] for each in one.flows_before] == [each.measured for each in one.flows_before]
    assert {each.measured.outlet.outlet for each in one.flows_before} == {outlet}


def test_the_flow_before_has_the_repeatability_that_was_pooled_over_the_job(tmp_path):
    """Five readings with the vane and more: S-1's own three observations alone would say less, and otherwise."""
    sheets = every_way()
    first = sheets["readings.csv"][3]
    spread = ("4.20;4.40;4.30", "4.31;4.30;4.29", "4.25;4.36;4.33", "4.28;4.34;4.31")
    sheets["readings.csv"] += [
        first | {"observed_at": f"2026-03-05T16:{10 + place}+01:00", "observations": each}
        for place, each in enumerate(spread)
    ]
    records = records_of(tmp_path, sheets)
    before, _ = evaluated(records)
    amend(records, "S-1", "width=410")
    _, (one,) = evaluated(records)
    assert [of(each.flows, each.place) for each in one.flows_before] == [
        pytest.approx(figures, rel=SAME) for figures in flows_at(before, "S-1")
    ]


def test_the_flow_before_has_the_coverage_probability_that_is_asked_for(records):
    before, _ = evaluated(records, probability=0.99)
    amend(records, "S-1", "width=410")
    _, (one,) = evaluated(records, probability=0.99)
    assert of(one.flows_before[0].flows, one.flows_before[0].place) == pytest.approx(
        flows_at(before, "S-1")[0], rel=SAME
    )
    assert one.flows_before[0].flows.coverage_probability == 0.99
    assert one.flows_before[0].flows.coverage_factor[0] > 2.57  # of the normal distribution, GUM Table G.1


def test_the_flow_before_the_last_of_two_amendments_is_that_of_the_first(records):
    amend(records, "S-1", "width=410")
    between, _ = evaluated(records)
    amend(records, "S-1", "height=210", at=NOW + timedelta(hours=1))
    first, last = evaluated(records)[1]
    assert (first.revision, first.changes, first.flows_before) == (2, {"width": ("400", "410")}, ())
    assert (last.revision, last.changes) == (3, {"height": ("200", "210")})
    assert of(last.flows_before[0].flows, last.flows_before[0].place) == pytest.approx(
        flows_at(between, "S-1")[0], rel=SAME
    )


def test_amendments_stand_in_the_order_in_which_they_were_written_whatever_the_zone(records):
    for outlet, at in (
        ("S-3", "2026-03-08T23:30:00+09:00"),  # 14:30 in Greenwich
        ("S-1", "2026-03-08T15:00:00+00:00"),
        ("S-2", "2026-03-08T10:30:00-05:00"),  # 15:30
    ):
        amend(records, outlet, "room=Hall", at=datetime.fromisoformat(at))
    assert [one.record for one in evaluated(records)[1]] == ["outlet S-3", "outlet S-1", "outlet S-2"]


def test_the_amendments_of_another_job_are_not_this_one_s(tmp_path):
    sheets = every_way()
    sheets["jobs.csv"].append(sheets["jobs.csv"][0] | {"job": "E-2"})
    sheets["outlets.csv"].append(sheets["outlets.csv"][3] | {"job": "E-2"})
    records = records_of(tmp_path, sheets)
    amend(records, "S-1", "width=410")
    assert evaluated(records, "E-2")[1] == ()
    assert [one.record for one in evaluated(records)[1]] == ["outlet S-1"]


# --- what no longer stands -------------------------------------------------------------------------------------------------------

WITHOUT_FACTOR = [
    f"{column}="
    for column in (
        "outlet_factor", "outlet_factor_standard_uncertainty", "outlet_factor_source", "shape", "width", "height",
        "dimension_unit", "dimension_limit",
    )
]  # fmt: skip


def test_readings_that_an_amendment_leaves_without_a_factor_are_refused(records):
    before, _ = evaluated(records)
    amend(records, "S-1", *WITHOUT_FACTOR, reason="the factor is of another grille")
    after, (one,) = evaluated(records)
    assert [each.outlet.outlet for each in after.refused] == ["S-1", "S-1"]
    assert all("S-1: no outlet factor and no effective area" in each.reasons[0] for each in after.refused)
    assert one.flows_before == ()  # there is no flow after to stand beside it
    assert len(after.measured) == len(before.measured) - 2


def test_such_a_reading_stands_again_when_the_factor_is_put_back(records):
    before, _ = evaluated(records)
    amend(records, "S-1", *WITHOUT_FACTOR)
    row = every_way()["outlets.csv"][3]
    amend(records, "S-1", *(f"{cell[:-1]}={row[cell[:-1]]}" for cell in WITHOUT_FACTOR), reason="it was right")
    after, (_, last) = evaluated(records)
    assert after.refused == ()
    assert flows_at(after, "S-1") == flows_at(before, "S-1")
    assert last.flows_before == ()  # before it there was none


@pytest.mark.parametrize("shape", [["shape=rectangular", "width=400", "height=300", "diameter="], ["diameter=9000"]])
def test_a_job_is_reported_whatever_its_duct_is_amended_to(records, tmp_path, shape):
    """Two diameters by the log-linear rule are no traverse of a rectangular duct."""
    amend(records, "D-1", *shape)
    found, _ = evaluated(records)
    fits = shape == ["diameter=9000"]
    assert ("D-1" in {one.outlet.outlet for one in found.measured}) == fits
    assert [(one.outlet.outlet, one.reasons) for one in found.refused] == (
        [] if fits else [("D-1", ("DM-1: 2 lines by the log-linear rule in a rectangular duct: use 4",))]
    )
    assert calib("report", "E-1", "--into", tmp_path / "out", records=records).status == 0


def test_a_traverse_whose_air_does_not_count_is_refused_as_well(tmp_path):
    """VF-1 in place of TA-1, without conditions: 5 lines by the log-Tchebycheff rule are no traverse of a round duct."""
    sheets = changed(("readings.csv", 3, "instrument", "VF-1"), ("readings.csv", 3, "conditions", ""))
    for row in sheets["traverses.csv"]:
        row["instrument"] = "VF-1" if row["outlet"] == "D-2" else row["instrument"]
    records = records_of(tmp_path, sheets)
    amend(records, "D-2", "shape=round", "width=", "height=", "diameter=440")
    found, _ = evaluated(records)
    assert [one.outlet.outlet for one in found.refused] == ["D-2"]
    assert len(found.measured) == 6


# --- factors found in the field --------------------------------------------------------------------------------------------------


@pytest.fixture
def with_factor(tmp_path):
    """A factor of S-9 that its readings use, found again from fewer pairs."""
    records = records_of(tmp_path, factor_pairs.paired_job())
    first = factor_pairs.factor(records)
    factor_pairs.amended(records, "S-9", *factor_pairs.BLANK, "found_factor=GR-9")
    at = NOW + timedelta(hours=2)
    signed = ledger.Signature("C. Person", at, "factor find")
    pairs = factor_pairs.OF_S9[:3]
    return records, first, factor_pairs.factor(records, pairs=pairs, reason="one pair taken out", signed=signed)


def test_a_factor_found_again_is_an_amendment_of_the_jobs_that_use_it(with_factor):
    records, first, second = with_factor
    assert first["value"] != second["value"]
    outlet, factor = evaluated(records, "J-1")[1]
    assert (outlet.record, outlet.changes["found_factor"]) == ("outlet S-9", ("", "GR-9"))
    assert (factor.record, factor.revision, factor.flows_before) == ("factor GR-9", 2, ())
    assert factor.changes == {"value": (f"{first['value']:.4g}", f"{second['value']:.4g}")}
    assert (factor.reason, factor.person) == ("one pair taken out", "C. Person")
    assert factor.time == (NOW + timedelta(hours=2)).isoformat()


def test_a_factor_that_no_reading_uses_is_no_amendment(tmp_path):
    records = records_of(tmp_path, factor_pairs.paired_job())
    factor_pairs.factor(records)
    factor_pairs.factor(records, pairs=factor_pairs.OF_S9[:3])
    assert evaluated(records, "J-1")[1] == ()


# --- the report ------------------------------------------------------------------------------------------------------------------


def test_the_report_lists_the_amendments_and_is_another_revision_only_once_it_was_issued(records, tmp_path):
    amend(records, "S-1", "width=410")
    amend(records, "S-2", "design_flow=480", at=NOW + timedelta(hours=1))
    content = written(records, tmp_path / "two")
    assert content["revision"] == 1
    assert [one["record"] for one in content["amendments"]] == ["outlet S-1", "outlet S-2"]


def test_the_report_shows_the_flow_before_and_after(records, tmp_path):
    before = written(records, tmp_path / "before")
    amend(records, "S-1", "width=410", reason="the first time at the frame")
    after = written(records, tmp_path / "after")
    (one,) = after["amendments"]
    assert one["changes"] == [{"column": "width", "before": "400", "after": "410"}]
    assert (one["reason"], one["by"], one["at"]) == ("the first time at the frame", "A. Person", NOW.isoformat())
    for part, content in (("before", before), ("after", after)):
        flows = {each["reading"]: each["flow"] for each in content["readings"] if each["outlet"] == "S-1"}
        assert {each["reading"]: each[part] for each in one["flows"]} == flows
    ratio = one["flows"][0]["after"]["value"] / one["flows"][0]["before"]["value"]
    assert ratio == pytest.approx(410 / 400, rel=SAME)


def test_the_records_verify_after_amendments_and_a_report_writes_nothing(records, tmp_path):
    amend(records, "S-1", "width=410")
    before = ledger_head(records)
    written(records, tmp_path)
    assert ledger_head(records) == before
    with database.reading(str(records)) as session:
        assert ledger.verify(session.connection()) == ()
        assert report(session, "E-1", LATER).ledger_digest == before[1]


def written(records, folder):
    """The report of the job as JSON."""
    assert calib("report", "E-1", "--format", "json", "--into", folder, records=records).status == 0
    return json.loads((folder / "E-1.json").read_text(encoding="utf-8"))
