"""Limits of flows: unequal, on one side, in percent or in the flow's unit; their statements, guard bands and probabilities.

Sources: JCGM 106:2012, 7.3 and 8.3.2; ISO 14253-1:2017 (one-sided k), all from memory. Quantiles by scipy.stats.
"""

import csv
import math
import re

import numpy as np
import pytest
from scipy import stats

from calib.procedures.measure.evaluate import evaluate
from calib.procedures.measure.risks import Process, risks_of
from calib.procedures.on_record.flow_limits import flow_limits
from calib.quantities import unit
from calib.records import database
from calib.records.tables.outlets import Outlet
from tests.command import calib
from tests.folders import NOW, UNTOUCHED, all_of, changed, findings_of, ledger_head, records_of, small_job, write

BLANK = {"tolerance_percent": ""}
NEW = ("tolerance_minus_percent", "tolerance_plus_percent", "minimum_flow", "maximum_flow")


def limited(rule="guarded", **cells):
    """The small job with other limits at S-1, whose flow is about 1012 m3/h with U of about 77."""
    sheets = changed(("jobs.csv", 2, "decision_rule", rule))
    sheets["outlets.csv"] = [row | dict.fromkeys(NEW, "") for row in sheets["outlets.csv"]]
    sheets["outlets.csv"][0] |= BLANK | cells
    return sheets


def judged(folder, sheets):
    """Value, u, degrees of freedom and U of S-1 in m3/h, and its judgement."""
    with database.reading(str(records_of(folder, sheets))) as session:
        job = evaluate(session, "J-1", NOW)
    (row,) = [row for row, each in enumerate(job.measured) if each.outlet.outlet == "S-1"]
    combined = job.flow.combined
    return (
        job.flow.value[row] * 3600,
        combined.standard_uncertainty[row] * 3600,
        combined.degrees_of_freedom[row],
        job.flow.expanded_uncertainty[row] * 3600,
        str(job.judgement.statement[row]),
        job.judgement.probability[row],
        job,
        row,
    )


@pytest.mark.parametrize(
    ("cells", "low", "high"),
    [
        ({"tolerance_minus_percent": "0", "tolerance_plus_percent": "10"}, 1000, 1100),
        ({"tolerance_minus_percent": "5", "tolerance_plus_percent": "12.5"}, 950, 1125),
        ({"tolerance_minus_percent": "0"}, 1000, math.inf),
        ({"tolerance_plus_percent": "3"}, -math.inf, 1030),
        ({"minimum_flow": "960", "maximum_flow": "1200"}, 960, 1200),
        ({"minimum_flow": "980"}, 980, math.inf),
        ({"maximum_flow": "1005"}, -math.inf, 1005),
    ],
)
def test_the_probability_is_that_of_lying_between_the_limits(tmp_path, cells, low, high):
    """JCGM 106, 7.3 and 7.4, by Student's t."""
    value, u, dof, _, statement, probability, _, _ = judged(tmp_path, limited("simple", **cells))
    inside = stats.t.cdf((high - value) / u, dof) - stats.t.cdf((low - value) / u, dof)
    assert probability == pytest.approx(inside, rel=1e-9)
    assert statement == ("pass" if low <= value <= high else "fail")


def one_sided(u, dof):
    """w with the one-sided k of 2 standard deviations' coverage, at whole degrees of freedom (GUM G.4.1, NOTE 1)."""
    covered = math.erf(math.sqrt(2))
    return stats.t.ppf(covered, max(math.floor(dof), 1) if math.isfinite(dof) else 1e9) * u


@pytest.mark.parametrize("side", ["minimum_flow", "maximum_flow"])
@pytest.mark.parametrize(("share", "statement"), [(1.02, "pass"), (0.98, "fail")])
def test_with_one_limit_the_guard_band_has_the_one_sided_k(tmp_path, side, share, statement):
    value, u, dof, expanded, *_ = judged(tmp_path / "first", limited("guarded", minimum_flow="500"))
    w = one_sided(u, dof)
    assert w < 0.9 * expanded
    limit = value - share * w if side == "minimum_flow" else value + share * w
    cells = {side: f"{limit:.6f}", "design_flow": f"{limit:.6f}"}
    *_, said, _, job, row = judged(tmp_path / "then", limited("guarded", **cells))
    assert said == statement
    guards = job.judgement.guard_bands
    assert bool(guards.one_sided[row]) is True
    assert guards.width[row] * 3600 == pytest.approx(w, rel=1e-6)
    assert guards.factor[row] == pytest.approx(w / u, rel=1e-6)


def test_with_two_limits_the_guard_band_is_u(tmp_path):
    sheets = limited("guarded", tolerance_minus_percent="0", tolerance_plus_percent="20")
    _, _, _, expanded, *_, job, row = judged(tmp_path, sheets)
    assert job.judgement.guard_bands.width[row] * 3600 == pytest.approx(expanded, rel=1e-12)
    assert not job.judgement.guard_bands.one_sided[row]


def test_a_result_on_the_acceptance_limit_of_one_limit_conforms_with_the_coverage_probability(tmp_path):
    value, u, dof, *_ = judged(tmp_path / "first", limited("guarded", minimum_flow="500"))
    limit = f"{value - one_sided(u, dof):.9f}"
    *_, probability, _, _ = judged(tmp_path / "then", limited("guarded", minimum_flow=limit, design_flow=limit))
    # k may be that of whole degrees of freedom; the probability is that of all of them.
    assert math.erf(math.sqrt(2)) - 1e-9 <= probability < 0.958


def test_without_a_guard_band_there_is_no_factor(tmp_path):
    records = records_of(tmp_path, limited("simple", minimum_flow="980"))
    (s1,) = [
        one
        for one in calib("conformity", "J-1", "--json", records=records).document["outlets"]
        if one["outlet"] == "S-1"
    ]
    assert (s1["guard_band"], s1["guard_factor"], s1["guard_is_one_sided"]) == (None, None, None)
    assert (s1["lower_limit"], s1["upper_limit"], s1["capability_index"]) == (pytest.approx(980), None, None)


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"tolerance_minus_percent": "0", "tolerance_plus_percent": "10"}, "−0/+10 %"),
        ({"tolerance_minus_percent": "0"}, "≥ −0 %"),
        ({"tolerance_plus_percent": "10"}, "≤ +10 %"),
        ({"minimum_flow": "980"}, "≥ 980 m3/h"),
        ({"maximum_flow": "1005"}, "≤ 1005 m3/h"),
        ({"minimum_flow": "980", "maximum_flow": "1100"}, "980 to 1100 m3/h"),
    ],
)
def test_the_limits_stand_beside_every_statement(tmp_path, cells, words):
    records = records_of(tmp_path, limited("guarded", **cells))
    told = calib("conformity", "J-1", records=records).out
    assert words in told
    assert words in calib("outlet", "list", "J-1", records=records).out
    planned = calib("plan", "J-1", "--on", "2026-03-05", records=records).out
    at_design = cells == {"tolerance_minus_percent": "0"}
    assert ("its one limit is the design flow itself: no flow there is proved" if at_design else words) in " ".join(
        planned.split()
    )
    assert ("S-1: one limit, guard band w = 1." in told) is (words[0] in "≥≤")
    calib("report", "J-1", "--format", "html,csv,xlsx,json", "--into", tmp_path, records=records)
    page = re.sub("<[^>]+>", "", (tmp_path / "J-1.html").read_text(encoding="utf-8"))
    assert words.split(" ")[0] in page
    header, *rows = (tmp_path / "J-1.csv").read_text(encoding="utf-8").splitlines()
    (row,) = [dict(zip(header.split(","), next(csv.reader([line])), strict=True)) for line in rows if ",S-1," in line]
    assert (row["lower_limit"] != "", row["upper_limit"] != "") == (words[0] != "≤", words[0] != "≥")
    assert float(row["guard_factor"]) == pytest.approx(1.69 if words[0] in "≥≤" else 2.0, abs=0.02)
    assert ("one limit, guard band" in page) is (words[0] in "≥≤")


def test_a_total_has_such_limits_too(tmp_path):
    sheets = limited("guarded", minimum_flow="900")
    system = {"job": "J-1", "system": "AH-1", "service": "supply", "design_flow": "1400", "flow_unit": "m3/h"}
    sheets["systems.csv"] = [system | BLANK | dict.fromkeys(NEW, "") | {"minimum_flow": "1300"}]
    records = records_of(tmp_path, sheets)
    told = calib("balance", "J-1", records=records).out
    assert "1400 m3/h ≥ 1300 m3/h" in told
    assert "AH-1, supply: one limit, guard band w = " in told
    supply = calib("balance", "J-1", "--json", records=records).document["totals"][0]
    assert supply["design"]["lower_limit"] == pytest.approx(1300)
    assert supply["design"]["guard_is_one_sided"] is True


def test_limits_in_another_unit_of_the_flow_are_the_same_limits(tmp_path):
    records = records_of(tmp_path, limited("simple", minimum_flow="980"))
    metric, imperial = (
        calib("conformity", "J-1", "--json", *units, records=records).document["outlets"][0]
        for units in ((), ("--units", "ip"))
    )
    assert imperial["unit"] == "cfm"
    assert imperial["lower_limit"] == pytest.approx(980 * 0.5885777786, rel=1e-6)  # 1 m3/h in cfm (ft = 0.3048 m)
    assert imperial["probability_of_conformity"] == metric["probability_of_conformity"]


def test_global_risks_of_one_limit_are_those_of_quadrature_of_one_tail(tmp_path):
    """R_C = P(true flow below the limit, measured above limit + w), as JCGM 106, 9.5 has it; scipy's bivariate normal."""
    sheets = limited("guarded", minimum_flow="950")
    *_, job, _ = judged(tmp_path, sheets)
    found = risks_of(job, Process(1.0, 0.05, "declared"))
    (place,) = [place for place, row in enumerate(found.rows) if job.measured[row].outlet.outlet == "S-1"]
    row = found.rows[place]
    u, w = (x[row] * 3.6 for x in (job.flow.combined.standard_uncertainty, job.judgement.guard_bands.width))
    both = np.array([[0.05**2, 0.05**2], [0.05**2, 0.05**2 + u**2]])
    joint = stats.multivariate_normal([1.0, 1.0], both)
    below = stats.norm.cdf((0.95 - 1) / 0.05)
    consumer = below - joint.cdf([0.95, 0.95 + w])
    assert found.of_outlets.consumer[place] == pytest.approx(consumer, abs=1e-6)


# --- bad input -------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("cells", "column", "expected"),
    [
        ({"minimum_flow": "1200", "maximum_flow": "900"}, "minimum_flow", "a flow below maximum_flow (900)"),
        ({"minimum_flow": "900", "maximum_flow": "900"}, "minimum_flow", "a flow below maximum_flow (900)"),
        (
            {"tolerance_percent": "10", "minimum_flow": "900"}, "minimum_flow",
            "nothing beside tolerance_percent: limits in one style",
        ),
        ({"tolerance_percent": "10", "tolerance_plus_percent": "5"}, "tolerance_plus_percent", "nothing beside tolerance_percent"),
        (
            {"tolerance_minus_percent": "5", "tolerance_plus_percent": "5", "maximum_flow": "1200"}, "maximum_flow",
            "nothing beside tolerance_minus_percent and tolerance_plus_percent",
        ),
        ({"tolerance_minus_percent": "0", "tolerance_plus_percent": "0"}, "tolerance_plus_percent", "above 0 where"),
        ({"minimum_flow": "1100"}, "minimum_flow", "a flow not above design_flow (1000)"),
        ({"maximum_flow": "900"}, "maximum_flow", "a flow not below design_flow (1000)"),
        ({"minimum_flow": "0"}, "minimum_flow", "a finite number above 0"),
        ({"tolerance_minus_percent": "-5"}, "tolerance_minus_percent", "a percentage, 0 to 100"),
        ({"tolerance_minus_percent": "five"}, "tolerance_minus_percent", "a percentage, 0 to 100"),
        ({}, "tolerance_percent", "a value beside design_flow, or instead"),
        (
            {"design_flow": "", "flow_unit": "", "minimum_flow": "900"}, "minimum_flow",
            "nothing without design_flow; a flow with a limit alone is designed for that limit: type 900 there too",
        ),
    ],
)  # fmt: skip
def test_limits_that_cannot_be_are_named_and_nothing_is_written(tmp_path, cells, column, expected):
    records = tmp_path / "records.sqlite"
    database.make(str(records))
    (found,) = findings_of(records, write(tmp_path / "import", limited(**cells)))
    assert (found.row, found.column) == (2, column)
    assert found.expected.startswith(expected)
    assert ledger_head(records) == UNTOUCHED


def test_a_system_s_limits_are_checked_alike(tmp_path):
    records = tmp_path / "records.sqlite"
    database.make(str(records))
    sheets = small_job()
    system = {"job": "J-1", "system": "AH-1", "service": "supply", "design_flow": "1400", "flow_unit": "m3/h"}
    sheets["systems.csv"] = [system | {"minimum_flow": "1500", "maximum_flow": "1450"}]
    (found,) = findings_of(records, write(tmp_path / "import", sheets))
    assert (found.column, found.value) == ("minimum_flow", "1500")


def test_an_outlet_is_amended_to_other_limits(tmp_path):
    records = records_of(tmp_path, small_job())
    words = ("outlet", "amend", "J-1", "S-1", "--reason", "the specification says so")
    wrong = calib(*words, "--set", "minimum_flow=980", records=records)
    assert wrong.status == 2
    assert "nothing beside tolerance_percent: limits in one style" in wrong.err
    right = calib(*words, "--set", "tolerance_percent=", "--set", "minimum_flow=980", records=records)
    assert (right.status, right.err) == (0, "")
    assert "≥ 980 m3/h" in calib("conformity", "J-1", records=records).out


def test_what_is_written_comes_back_as_it_was_typed(tmp_path):
    records = records_of(tmp_path, limited(tolerance_minus_percent="0", tolerance_plus_percent="10.0"))
    with database.reading(str(records)) as session:
        first = all_of(session, Outlet)[0]
    assert (first.tolerance_percent, first.tolerance_minus_percent, first.tolerance_plus_percent) == (None, "0", "10.0")
    calib("export", tmp_path / "out", records=records)
    assert ",0,10.0," in (tmp_path / "out" / "outlets.csv").read_text(encoding="utf-8")


def test_a_design_flow_that_is_counted_against_its_direction_has_a_lower_and_an_upper_limit_too():
    typed = Outlet(**dict.fromkeys(NEW), tolerance_percent="10")
    assert flow_limits(typed, -100.0, unit("volume flow", "m3/h")) == pytest.approx((-110.0, -90.0))
