"""The drift of the plant from an outlet that was read again at the end: what it is, what it adds, and what it does not replace.

d = q_repeat/q_first - 1; by GUM 5.2.2 what both readings share cancels in u(d). A share s of d has come by the time of another
reading, s from 0 to 1 not known how: mean square (d^2 + u(d)^2)/3. Common practice, no source.
"""

import json
import math
import re

import numpy as np
import pytest

from calib.procedures.measure.distributions import distributions_of
from calib.procedures.measure.evaluate import evaluate, evaluate_with_and_without
from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.records import database
from tests.command import calib
from tests.folders import NOW, records_of, small_job

AGAIN = "2026-03-05T16:10+01:00"


def repeated(observations="4.28;4.31;4.30", **cells):
    """The small job with S-1 read again at the end."""
    sheets = small_job()
    rows = [row | {"stage": ""} for row in sheets["readings.csv"]]
    again = {"observed_at": AGAIN, "indication": "", "observations": observations, "stage": "repeat"}
    sheets["readings.csv"] = [*rows, rows[0] | again | cells]
    return sheets


def evaluated(folder, sheets):
    with database.reading(str(records_of(folder, sheets))) as session:
        return evaluate(session, "J-1", NOW)


@pytest.fixture(scope="module")
def with_repeat(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("job"), repeated())


@pytest.fixture(scope="module")
def job(with_repeat):
    with database.reading(str(with_repeat)) as session:
        return evaluate(session, "J-1", NOW)


@pytest.fixture(scope="module")
def plain(tmp_path_factory):
    sheets = small_job()
    return evaluated(tmp_path_factory.mktemp("plain"), sheets)


def row_of(job, outlet, stage=None):
    (row,) = [
        row for row, each in enumerate(job.measured) if each.outlet.outlet == outlet and each.reading.stage == stage
    ]
    return row


def part(job, row, name):
    names = [each.name for each in job.flows.contributions]
    return float(job.flow.combined.uncertainties[row, names.index(name)]) if name in names else 0.0


def test_the_drift_is_the_ratio_of_the_repeat_to_the_first_reading(job):
    (drift,) = job.drifts
    first, repeat = row_of(job, "S-1"), row_of(job, "S-1", "repeat")
    assert (drift.system, drift.service, drift.first, drift.repeat) == ("AH-1", "supply", first, repeat)
    assert drift.relative == pytest.approx(job.flow.value[repeat] / job.flow.value[first] - 1, rel=1e-12)
    # By hand: the vane's curve is nearly straight there, 4.2967 m/s against 4.2000 m/s.
    assert drift.relative == pytest.approx((4.2967 * 1.039 - 0.0886) / (4.2 * 1.039 - 0.0886) - 1, abs=1e-4)


def test_what_both_readings_share_cancels_in_the_uncertainty_of_the_drift(job):
    """Left are the repeatability and the resolution of both; over 0.1 m/s the curve's errors differ by next to nothing."""
    (drift,) = job.drifts
    own = [
        part(job, row, name) / job.flow.value[row]
        for row in (drift.first, drift.repeat)
        for name in ("repeatability", "resolution")
    ]
    assert drift.standard_uncertainty == pytest.approx(math.hypot(*own), rel=0.05)
    assert (
        drift.standard_uncertainty
        < 0.3 * job.flow.combined.standard_uncertainty[drift.first] / job.flow.value[drift.first]
    )


def test_each_flow_of_that_system_and_service_carries_it_and_no_other(job, plain):
    (drift,) = job.drifts
    carried = math.sqrt((drift.relative**2 + drift.standard_uncertainty**2) / 3)
    s2 = row_of(job, "S-2")
    assert part(job, s2, "plant drift") == pytest.approx(carried * job.flow.value[s2], rel=1e-12)
    assert part(job, row_of(job, "S-1"), "plant drift") == 0  # the flow at the time that all are taken as of
    for outlet in ("R-1", "E-1"):
        assert part(job, row_of(job, outlet), "plant drift") == 0
        u = [each.flow.combined.standard_uncertainty[row_of(each, outlet)] for each in (job, plain)]
        assert u[0] == pytest.approx(u[1], rel=1e-12)


def test_no_flow_is_corrected_and_the_repeat_supersedes_nothing(job, plain):
    for outlet in ("S-1", "S-2", "R-1", "E-1"):
        assert job.flow.value[row_of(job, outlet)] == plain.flow.value[row_of(plain, outlet)]
        assert job.latest[row_of(job, outlet)]
    assert not job.latest[row_of(job, "S-1", "repeat")]
    assert [total.measured for total in job.totals] == [total.measured for total in plain.totals]
    assert job.of_systems.flow.value == pytest.approx(plain.of_systems.flow.value, rel=1e-12)


def test_without_the_repeat_a_job_is_as_it_was_before_that_was_recorded(with_repeat, job, plain):
    with database.reading(str(with_repeat)) as session:
        repeat = job.measured[row_of(job, "S-1", "repeat")].reading.id
        both, before = evaluate_with_and_without(session, "J-1", repeat, NOW)
    for each, known in ((both, job), (before, plain)):
        assert [row.reading.id for row in each.measured] == [row.reading.id for row in known.measured]
        assert each.flow.expanded_uncertainty.tolist() == known.flow.expanded_uncertainty.tolist()
        assert each.judgement.statement.tolist() == known.judgement.statement.tolist()
        assert each.of_systems.flow.expanded_uncertainty.tolist() == known.of_systems.flow.expanded_uncertainty.tolist()
    assert both.flow.expanded_uncertainty[row_of(job, "S-2")] > before.flow.expanded_uncertainty[row_of(plain, "S-2")]


def test_the_drift_is_one_error_of_the_service_in_a_total(tmp_path):
    """Two outlets beside the first: their parts add before they are squared."""
    sheets = repeated()
    second = sheets["outlets.csv"][1]
    sheets["outlets.csv"].append(second | {"outlet": "S-3"})
    reading = sheets["readings.csv"][1]
    sheets["readings.csv"].insert(2, reading | {"outlet": "S-3", "observed_at": "2026-03-05T09:25+01:00"})
    job = evaluated(tmp_path, sheets)
    names = [each.name for each in job.flows.contributions]
    of_total = job.of_systems.flow.combined.uncertainties[0, names.index("plant drift")]
    (drift,) = job.drifts
    both = job.flow.value[row_of(job, "S-2")] + job.flow.value[row_of(job, "S-3")]
    assert of_total == pytest.approx(drift.carried * both, rel=1e-12)


@pytest.mark.parametrize(
    "cells",
    [{"instrument": "VA-2", "unit": "fpm", "observations": "846;848"}, {"method": "centre"}],
    ids=["instrument", "method"],
)
def test_a_repeat_by_another_instrument_or_method_tells_no_drift(tmp_path, cells):
    sheets = repeated(**cells)
    sheets["methods.csv"].append(sheets["methods.csv"][0] | {"method": "centre"})
    job = evaluated(tmp_path, sheets)
    assert job.drifts == ()
    assert "plant drift" not in [each.name for each in job.flows.contributions]


def test_a_repeat_after_an_adjustment_repeats_the_reading_after_it(tmp_path):
    sheets = repeated()
    first = sheets["readings.csv"][0]
    sheets["readings.csv"][0] = first | {"stage": "before adjustment"}
    adjusted = {
        "observed_at": "2026-03-05T11:00+01:00",
        "stage": "after adjustment",
        "indication": "",
        "observations": "4.40;4.42",
    }
    sheets["readings.csv"].insert(1, first | adjusted)
    job = evaluated(tmp_path, sheets)
    (drift,) = job.drifts
    assert job.measured[drift.first].reading.stage == "after adjustment"
    assert drift.relative < 0


def test_of_two_repeats_the_larger_drift_counts(tmp_path):
    sheets = repeated()
    sheets["readings.csv"].append(
        sheets["readings.csv"][-1] | {"observed_at": "2026-03-05T17:00+01:00", "observations": "4.60;4.61;4.62"}
    )
    job = evaluated(tmp_path, sheets)
    assert len(job.drifts) == 2
    s2 = row_of(job, "S-2")
    assert part(job, s2, "plant drift") == pytest.approx(max(each.carried for each in job.drifts) * job.flow.value[s2])


def test_monte_carlo_carries_the_drift_too(tmp_path):
    """With one pass at S-2 its errors are near normal, so that the law holds."""
    sheets = repeated()
    sheets["readings.csv"][1] |= {"observations": ""}
    job = evaluated(tmp_path, sheets)
    row = row_of(job, "S-2")
    assert part(job, row, "plant drift") > 0.3 * job.flow.combined.standard_uncertainty[row]
    both = distributions_of(ReadingInJob(job, row_of(job, "S-2")), seed=1)
    assert both.simulated.standard_uncertainty == pytest.approx(both.standard_uncertainty, rel=0.02)


# --- on every face ---------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("faces"), repeated())


@pytest.mark.parametrize("command", ["balance", "conformity"])
def test_the_drift_is_printed(records, job, command):
    (drift,) = job.drifts
    told = " ".join(calib(command, "J-1", records=records).out.split())
    assert (
        f"plant drift, AH-1 supply: +{100 * drift.relative:.1f} % (u = {100 * drift.standard_uncertainty:.1f} %) at S-1 from "
        f"2026-03-05 09:10+01:00 to 2026-03-05 16:10+01:00; carried: {100 * drift.carried:.1f} %"
    ) in told
    (document,) = calib(command, "J-1", "--json", records=records).document["plant_drift"]
    assert document["drift_percent"] == pytest.approx(100 * drift.relative, rel=1e-12)
    assert document["carried_percent"] == pytest.approx(100 * drift.carried, rel=1e-12)


def test_the_report_prints_it_in_every_form(records, tmp_path):
    calib("report", "J-1", "--format", "html,csv,json,xlsx", "--into", tmp_path, records=records)
    page = re.sub(r"\s+", " ", re.sub("</?span[^>]*>", "", (tmp_path / "J-1.html").read_text(encoding="utf-8")))
    assert "Plant drift, AH-1 supply: +2." in page
    assert "(repeat)" in page
    assert "plant drift,AH-1,supply,S-1" in (tmp_path / "J-1.csv").read_text(encoding="utf-8")
    document = json.loads((tmp_path / "J-1.json").read_text(encoding="utf-8"))
    (s2,) = [each for each in document["readings"] if each["outlet"] == "S-2"]
    (line,) = [each for each in s2["contributions"] if each["name"] == "plant drift"]
    assert (line["evaluation"], line["shared_with"]) == ("B", "readings of AH-1, supply")
    squares = math.fsum(each["standard_uncertainty"] ** 2 for each in s2["contributions"])
    assert math.sqrt(squares) == pytest.approx(s2["flow"]["standard_uncertainty"], rel=1e-12)


def test_a_budget_in_full_with_the_drift_adds_up(records, tmp_path):
    calib("report", "J-1", "--format", "json", "--into", tmp_path, records=records)
    document = json.loads((tmp_path / "J-1.json").read_text(encoding="utf-8"))
    readings = {each["reading"]: each for each in document["readings"]}
    (full,) = [each for each in document["budgets_in_full"] if each["kind"]["has_drift"]]
    assert [each["symbol"] for each in full["quantities"]][-1] == "P"
    squares = math.fsum(each["contribution"] ** 2 for each in full["quantities"])
    assert math.sqrt(squares) == pytest.approx(readings[full["reading"]]["flow"]["standard_uncertainty"], rel=1e-9)
    assert np.isfinite(squares)


def test_an_amended_outlet_shows_both_flows_with_the_drift(records, tmp_path):
    copy = tmp_path / "records.sqlite"
    copy.write_bytes(records.read_bytes())
    done = calib("outlet", "amend", "J-1", "S-2", "--set", "width=310", "--reason", "measured again", records=copy)
    assert done.status == 0
    calib("report", "J-1", "--format", "json", "--into", tmp_path, records=copy)
    (amendment,) = json.loads((tmp_path / "J-1.json").read_text(encoding="utf-8"))["amendments"]
    (flow,) = amendment["flows"]
    before, after = (flow[state]["standard_uncertainty"] / flow[state]["value"] for state in ("before", "after"))
    assert before == pytest.approx(after, rel=1e-3)
