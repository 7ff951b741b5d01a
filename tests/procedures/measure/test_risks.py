"""Risks of wrong decisions of a job: of each outlet, of each system, of the whole.

Sources: JCGM 106:2012, 7.6.3 (capability index), 9.3 (specific risks), 9.5 (global ones); its resistors from memory, their risks
recomputed by quadrature and by Monte Carlo trials. ILAC-G8:09/2019, 4.2.3. Probabilities by scipy.stats.
"""

import dataclasses
import math

import numpy as np
import pytest
from scipy import integrate, stats

from calib.procedures.measure.evaluate import evaluate
from calib.procedures.measure.results import judge_flows, results
from calib.procedures.measure.risks import Process, risks_of
from calib.records import database
from calib.records.tables.outlets import Outlet
from calib.uncertainty.propagation import Combined, covariance
from tests.command import calib
from tests.every_way import changed, every_way
from tests.folders import NOW, records_of, small_job
from tests.tolerances import about

RULES = ("simple", "guarded", "guarded non-binary")


def two_systems(rule="guarded non-binary"):
    """The job with designs at which not every outlet passes, and a design in a second system."""
    sheets = changed(("jobs.csv", 2, "decision_rule", rule))
    for row, design, unit, tolerance in (
        (0, "3000", "m3/h", "6"), (1, "2500", "m3/h", "10"), (2, "400", "L/s", "10"), (3, "1000", "m3/h", "5"),
        (5, "550", "m3/h", "10"),
    ):  # fmt: skip
        sheets["outlets.csv"][row] |= {"design_flow": design, "flow_unit": unit, "tolerance_percent": tolerance}
    readings = sheets["readings.csv"]
    readings.append(readings[3] | {"observed_at": "2026-03-05T15:10+01:00", "observations": "4.19;4.42;4.29"})
    return sheets


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    return {rule: records_of(tmp_path_factory.mktemp("job"), two_systems(rule)) for rule in RULES}


@pytest.fixture(scope="module")
def jobs(records):
    found = {}
    for rule, file in records.items():
        with database.reading(str(file)) as session:
            found[rule] = evaluate(session, "E-1", NOW)
    return found


def judged(job):
    """Ratio to design, its u, degrees of freedom and U, and the tolerance of each reading that is judged, from the cells."""
    outlets = {row["outlet"]: row for row in two_systems()["outlets.csv"]}
    to_si = {"m3/h": 1 / 3600, "L/s": 1e-3}
    for row, one in enumerate(job.measured):
        cells = outlets[one.outlet.outlet]
        if not job.latest[row] or not cells["design_flow"]:
            continue
        design = float(cells["design_flow"]) * to_si[cells["flow_unit"]]
        flow, combined = job.flow, job.flow.combined
        u, dof = combined.standard_uncertainty[row] / design, job.flow.degrees_of_freedom[row]
        expanded = flow.expanded_uncertainty[row] / design
        yield row, flow.value[row] / design, u, dof, expanded, float(cells["tolerance_percent"]) / 100


def columns(job):
    return [np.array(one) for one in zip(*judged(job), strict=True)]


def conforming(ratio, u, dof, tolerance):
    """JCGM 106, 7.4, by Student's t."""
    return stats.t.cdf((1 + tolerance - ratio) / u, dof) - stats.t.cdf((1 - tolerance - ratio) / u, dof)


# --- what is judged --------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rule", RULES)
def test_the_latest_reading_of_each_outlet_and_duct_with_a_design_is_judged(jobs, rule):
    job = jobs[rule]
    found = risks_of(job)
    assert [job.measured[row].outlet.outlet for row in found.rows] == ["D-1", "D-2", "D-3", "S-1", "S-2", "S-3", "X-1"]
    assert [job.measured[row].reading.observed_at[11:16] for row in found.rows][3] == "15:10"
    assert found.rows == tuple(columns(job)[0])


def test_the_decisions_of_this_job_are_of_every_kind(jobs):
    job = jobs["guarded non-binary"]
    words = {str(job.judgement.statement[row]) for row in risks_of(job).rows}
    assert words == {"pass", "conditional pass", "conditional fail", "fail"}
    *_, expanded, tolerance = columns(job)
    assert np.any(expanded > tolerance)  # with w = U nothing would be accepted there


@pytest.mark.parametrize("rule", RULES)
def test_the_capability_index_is_the_tolerance_over_four_u(jobs, rule):
    """JCGM 106, 7.6.3: (T_U - T_L)/(4 u_m)."""
    _, _, u, _, _, tolerance = columns(jobs[rule])
    assert risks_of(jobs[rule]).capability_index == pytest.approx(2 * tolerance / (4 * u), rel=1e-12)


# --- specific risks --------------------------------------------------------------------------------------------------------------


def accepts(rule, ratio, expanded, tolerance):
    inside = tolerance - np.abs(ratio - 1)
    return inside >= (expanded if rule == "guarded" else 0)


@pytest.mark.parametrize("rule", RULES)
def test_each_reading_bears_the_risk_of_its_decision(jobs, rule):
    """JCGM 106, 9.3: 1 - p where it was accepted, p where it was rejected."""
    rows, ratio, u, dof, expanded, tolerance = columns(jobs[rule])
    p, accepted = conforming(ratio, u, dof, tolerance), accepts(rule, ratio, expanded, tolerance)
    judgement = jobs[rule].judgement
    assert judgement.consumer_risk[rows] == pytest.approx(np.where(accepted, 1 - p, 0), abs=1e-12)
    assert judgement.producer_risk[rows] == pytest.approx(np.where(accepted, 0, p), abs=1e-12)


@pytest.mark.parametrize("rule", RULES)
def test_the_specific_risks_of_each_system_and_of_the_job_add_up(jobs, rule):
    rows, ratio, u, dof, expanded, tolerance = columns(jobs[rule])
    p, accepted = conforming(ratio, u, dof, tolerance), accepts(rule, ratio, expanded, tolerance)
    systems = np.array([jobs[rule].measured[row].outlet.system for row in rows])
    counted = risks_of(jobs[rule]).counted
    assert [one.system for one in counted] == ["AH-1", "AH-2", ""]
    for one in counted:
        inside = (systems == one.system) if one.system else np.ones(systems.size, dtype=bool)
        assert (one.judged, one.accepted) == (inside.sum(), (inside & accepted).sum())
        assert one.wrongly_accepted == pytest.approx(math.fsum((1 - p)[inside & accepted]), abs=1e-12)
        assert one.wrongly_rejected == pytest.approx(math.fsum(p[inside & ~accepted]), abs=1e-12)


def test_a_conditional_pass_is_accepted_and_bears_the_larger_risk(jobs):
    simple, non_binary = (risks_of(jobs[rule]).counted[-1] for rule in ("simple", "guarded non-binary"))
    guarded = risks_of(jobs["guarded"]).counted[-1]
    assert (simple.accepted, simple.wrongly_accepted) == (non_binary.accepted, non_binary.wrongly_accepted)
    assert guarded.accepted < simple.accepted
    assert guarded.wrongly_accepted < simple.wrongly_accepted
    assert guarded.wrongly_rejected > simple.wrongly_rejected


# --- global risks ----------------------------------------------------------------------------------------------------------------


def by_quadrature(process, tolerance, width, u):
    """R_C and R_P by integrating over the true ratio, as JCGM 106, 9.5 writes them."""
    low, high = 1 - tolerance, 1 + tolerance

    def accepted(true):
        # A guard band wider than the tolerance leaves nothing that is accepted.
        return max(stats.norm.cdf((high - width - true) / u) - stats.norm.cdf((low + width - true) / u), 0.0)

    def density(true):
        return stats.norm.pdf(true, process.mean, process.standard_deviation)

    far = 9 * process.standard_deviation
    below, above = min(low, process.mean - far), max(high, process.mean + far)
    near = [low + width, high - width, low, high]

    def summed(chance, start, end):
        points = [one for one in near if start < one < end]
        return integrate.quad(chance, start, end, points=points, epsabs=1e-13, limit=200)[0]

    consumer = summed(lambda t: accepted(t) * density(t), below, low)
    consumer += summed(lambda t: accepted(t) * density(t), high, above)
    return consumer, summed(lambda t: (1 - accepted(t)) * density(t), low, high)


@pytest.mark.parametrize("rule", RULES)
@pytest.mark.parametrize("process", [Process(1.0, 0.08, "declared"), Process(0.93, 0.05, "declared")])
def test_the_global_risks_of_a_declared_process_are_those_of_quadrature(jobs, rule, process):
    """The guard band w = U narrows what is accepted under guarded acceptance only."""
    found = risks_of(jobs[rule], process)
    assert found.process is process
    _, _, u, _, expanded, tolerance = columns(jobs[rule])
    width = expanded if rule == "guarded" else np.zeros_like(expanded)
    consumer, producer = zip(
        *(by_quadrature(process, *one) for one in zip(tolerance, width, u, strict=True)), strict=True
    )
    assert found.of_outlets.consumer == pytest.approx(consumer, abs=1e-9)
    assert found.of_outlets.producer == pytest.approx(producer, abs=1e-9)
    assert found.counted[-1].consumer_risk == pytest.approx(np.mean(consumer), abs=1e-9)
    assert found.counted[-1].producer_risk == pytest.approx(np.mean(producer), abs=1e-9)


# Tolerance, process and measuring system of the resistors over a nominal value of 1500 ohm; the guard band is 2 u_m.
RESISTORS = {
    "simple": (0.01894220671702914, 0.03720780017805778),
    "guarded": (0.0004686335988703557, 0.24766964020115234),
}


@pytest.mark.parametrize("rule", RESISTORS)
def test_the_resistors_of_jcgm_106_have_their_risks(jobs, rule):
    """JCGM 106, 9.5: N(1500, 0.12) ohm, tolerance ± 0.2 ohm, u_m = 0.04 ohm; here every outlet is a resistor."""
    nominal = 1500.0
    job = as_resistors(jobs[rule], nominal, 0.2, 0.04)
    found = risks_of(job, Process(1.0, 0.12 / nominal, "declared"))
    consumer, producer = RESISTORS[rule]
    assert found.of_outlets.consumer == pytest.approx(np.full(len(found.rows), consumer), abs=1e-9)
    assert found.of_outlets.producer == pytest.approx(np.full(len(found.rows), producer), abs=1e-9)
    assert found.of_outlets.conforming == pytest.approx(0.9044192954543706, abs=1e-9)
    assert found.capability_index == pytest.approx(0.4 / 0.16)


def as_resistors(job, nominal, tolerance, u_m):
    """The job with the flow, the uncertainty (k = 2) and the design of every reading replaced."""
    size = len(job.measured)
    to_si = 1 / 3600
    combined = Combined(
        np.full(size, u_m * to_si), np.full(size, math.inf), np.zeros_like(job.flow.combined.uncertainties)
    )
    flow = results(np.full(size, nominal * to_si), combined)
    measured = []
    for one in job.measured:
        cells = {name: getattr(one.outlet, name) for name in Outlet.model_fields}
        judged_by = {
            "design_flow": repr(nominal),
            "flow_unit": "m3/h",
            "tolerance_percent": repr(100 * tolerance / nominal),
        }
        outlet = Outlet(**cells | judged_by)
        measured.append(one._replace(outlet=outlet))
    design = np.full(size, nominal * to_si)
    limits = about(design, np.full(size, tolerance / nominal))
    judgement = judge_flows(flow, design, limits, job.job.decision_rule)
    return dataclasses.replace(job, measured=tuple(measured), flow=flow, in_design_state=flow, judgement=judgement)


# --- a process estimated from the job --------------------------------------------------------------------------------------------

OWN = {"repeatability", "resolution", "dimension", "method"}


def of_many(folder, count, stage, rule="simple", deviation=6.0, after=()):
    """A job of many outlets, each with its own reading about a design of 100 %; some are read again after adjustment."""
    sheets = small_job()
    sheets["jobs.csv"][0]["decision_rule"] = rule
    drawn = np.random.default_rng(3)
    opening, reading = sheets["outlets.csv"][0], sheets["readings.csv"][0]
    sheets["outlets.csv"] = [
        opening | {"outlet": f"S-{n}", "outlet_factor_source": f"of grille {n}", "design_flow": "1000"}
        for n in range(count)
    ]
    sheets["readings.csv"] = []
    for n in range(count):
        indication = 4.1 * (1 + deviation / 100 * drawn.standard_normal())
        typed = {
            "outlet": f"S-{n}",
            "indication": "",
            "observations": f"{indication:.2f};{indication + 0.02:.2f}",
            "stage": stage,
        }
        sheets["readings.csv"].append(reading | typed | {"observed_at": f"2026-03-05T09:{n:02d}+01:00"})
    for n in after:
        typed = {"outlet": f"S-{n}", "indication": "", "observations": "4.08;4.10", "stage": "after adjustment"}
        sheets["readings.csv"].append(reading | typed | {"observed_at": f"2026-03-05T13:{n:02d}+01:00"})
    with database.reading(str(records_of(folder, sheets))) as session:
        return evaluate(session, "J-1", NOW)


def ratios(job):
    """Flow over design of every reading, and what each has of its own over its design, from the budget's lines."""
    lines = [place for place, one in enumerate(job.flows.contributions) if one.name in OWN]
    assert len(lines) == len(OWN)
    design = 1000 / 3600
    return job.flow.value / design, np.sum(job.flow.combined.uncertainties[:, lines] ** 2, axis=1) / design**2


def test_a_process_is_estimated_from_readings_before_adjustment_without_what_they_share(tmp_path):
    """Method of moments: u0^2 = s^2(ratios) - mean of the squares of what each has of its own."""
    job = of_many(tmp_path, 20, "before adjustment")
    ratio, own = ratios(job)
    found = risks_of(job)
    assert found.process.mean == pytest.approx(np.mean(ratio), rel=1e-12)
    assert found.process.standard_deviation == pytest.approx(math.sqrt(np.var(ratio, ddof=1) - np.mean(own)), rel=1e-12)
    assert found.process.basis == "estimated from 20 readings before adjustment"
    (whole,) = found.counted
    assert (whole.by_process, math.isnan(whole.mean_consumer_risk)) == (20, True)
    assert whole.consumer_risk == pytest.approx(np.mean(found.of_outlets.consumer))


def test_nineteen_readings_before_adjustment_are_too_few_for_a_process(tmp_path):
    found = risks_of(of_many(tmp_path, 19, "before adjustment"))
    assert (found.process, found.before_adjustment, found.of_outlets) == (None, 19, None)


@pytest.mark.parametrize("stage", ["", "after adjustment"])
def test_no_process_is_estimated_from_readings_that_were_adjusted_or_of_which_it_was_not_said(tmp_path, stage):
    job = of_many(tmp_path, 24, stage, deviation=0.3)
    found = risks_of(job)
    assert (found.process, found.of_outlets, found.before_adjustment) == (None, None, 0)
    (whole,) = found.counted
    assert (whole.by_process, whole.after_adjustment) == (0, 24 if stage else 0)
    assert math.isnan(whole.consumer_risk)
    assert whole.mean_consumer_risk == pytest.approx(np.mean(job.judgement.consumer_risk), rel=1e-12)
    assert whole.mean_producer_risk == pytest.approx(np.mean(job.judgement.producer_risk), rel=1e-12)
    assert whole.mean_consumer_risk * 24 == pytest.approx(whole.wrongly_accepted)


def test_a_process_of_untouched_outlets_says_nothing_of_those_that_were_adjusted(tmp_path):
    job = of_many(tmp_path, 21, "before adjustment", after=(2, 5, 6))
    found = risks_of(job)
    assert found.process.basis == "estimated from 21 readings before adjustment"
    adjusted = [job.measured[row].outlet.outlet in ("S-2", "S-5", "S-6") for row in found.rows]
    assert np.isnan(found.of_outlets.consumer).tolist() == adjusted
    (whole,) = found.counted
    assert (whole.judged, whole.by_process, whole.after_adjustment) == (21, 18, 3)
    of_adjusted = [job.judgement.consumer_risk[row] for row, each in zip(found.rows, adjusted, strict=True) if each]
    assert whole.mean_consumer_risk == pytest.approx(np.mean(of_adjusted))


def test_a_declared_process_says_nothing_of_readings_after_adjustment_either(tmp_path):
    job = of_many(tmp_path, 4, "before adjustment", after=(0,))
    (whole,) = risks_of(job, Process(1.0, 0.08, "declared")).counted
    assert (whole.by_process, whole.after_adjustment) == (3, 1)


def test_a_single_outlet_shows_no_process(tmp_path):
    sheets = every_way()
    for row in sheets["outlets.csv"]:
        if row["outlet"] != "S-1":
            row |= {"design_flow": "", "flow_unit": "", "tolerance_percent": ""}
    with database.reading(str(records_of(tmp_path, sheets))) as session:
        job = evaluate(session, "E-1", NOW)
    found = risks_of(job)
    assert (len(found.rows), found.process, found.of_outlets) == (1, None, None)
    (one,) = found.counted
    assert (one.system, one.judged, math.isnan(one.consumer_risk), math.isnan(one.producer_risk)) == (
        "AH-1", 1, True, True,
    )  # fmt: skip
    assert risks_of(job, Process(1.0, 0.1, "declared")).counted[0].consumer_risk > 0


def test_a_job_in_which_nothing_is_judged_has_no_risks(tmp_path):
    sheets = every_way()
    for row in sheets["outlets.csv"]:
        row |= {"design_flow": "", "flow_unit": "", "tolerance_percent": ""}
    with database.reading(str(records_of(tmp_path, sheets))) as session:
        found = risks_of(evaluate(session, "E-1", NOW))
    assert (found.rows, found.counted, found.process, found.of_outlets) == ((), (), None, None)


def test_a_job_without_readings_has_no_risks(tmp_path):
    sheets = every_way()
    del sheets["readings.csv"], sheets["traverses.csv"]
    with database.reading(str(records_of(tmp_path, sheets))) as session:
        found = risks_of(evaluate(session, "E-1", NOW))
    assert (found.rows, found.counted) == ((), ())


# --- all at once -----------------------------------------------------------------------------------------------------------------


def by_scipy(job, rows, correlated):
    """By scipy's multivariate normal distribution, each result at the quantiles of its own Student's t."""
    flow, dof = job.flow, job.flow.combined.degrees_of_freedom[rows]
    u, design = flow.combined.standard_uncertainty[rows], 1000 / 3600
    lower, upper = (stats.norm.ppf(stats.t.cdf((limit * design - flow.value[rows]) / u, dof)) for limit in (0.9, 1.1))
    matrix = (
        covariance(job.flows.contributions)[np.ix_(rows, rows)] / np.outer(u, u) if correlated else np.eye(len(rows))
    )
    known = stats.multivariate_normal(np.zeros(len(rows)), matrix, maxpts=2_000_000, abseps=1e-6, releps=1e-6, seed=1)
    return known.cdf(upper, lower_limit=lower)


def test_all_flows_conform_at_once_by_their_joint_distribution(tmp_path):
    job = of_many(tmp_path, 8, "", deviation=2.0)
    found = risks_of(job)
    (whole,) = found.counted
    joint, rows = whole.all_conform, list(found.rows)
    assert joint.if_common.numerical_error <= 2e-3
    assert joint.if_common.probability == pytest.approx(by_scipy(job, rows, correlated=True), abs=2e-3)
    assert joint.counts.probability == min(joint.if_common.probability, joint.if_independent.probability)
    product = np.prod(job.judgement.probability[rows])
    assert by_scipy(job, rows, correlated=False) == pytest.approx(product)
    assert abs(joint.if_common.probability - product) > 0.01  # what they share matters here


def test_of_one_flow_the_joint_probability_is_its_own(tmp_path):
    job = of_many(tmp_path, 1, "")
    (one,) = risks_of(job).counted
    assert one.all_conform.counts.probability == pytest.approx(job.judgement.probability[0], rel=1e-9)


# --- as it is asked for ----------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("rule", RULES)
def test_the_command_prints_the_numbers_of_the_procedure(records, jobs, rule):
    document = calib("conformity", "E-1", "--process", "100,8", "--json", records=records[rule]).document
    found = risks_of(jobs[rule], Process(1.0, 0.08, "declared"))
    assert document["risks"]["process"]["basis"] == "declared"
    assert [one["global_consumer_risk"] for one in document["outlets"]] == pytest.approx(
        found.of_outlets.consumer.tolist(), rel=1e-12
    )
    assert [one["capability_index"] for one in document["outlets"]] == pytest.approx(found.capability_index.tolist())
    for one, printed in zip(found.counted, document["risks"]["decisions"], strict=True):
        assert (one.system, one.judged, one.accepted) == (printed["system"], printed["judged"], printed["accepted"])
        assert printed["expected_wrongly_accepted"] == pytest.approx(one.wrongly_accepted, rel=1e-9)
        assert printed["expected_wrongly_rejected"] == pytest.approx(one.wrongly_rejected, rel=1e-9)
        assert printed["global_consumer_risk"] == pytest.approx(one.consumer_risk, rel=1e-12)


def test_the_numbers_of_a_system_are_the_sums_of_its_outlets(records):
    document = calib("conformity", "E-1", "--json", records=records["guarded non-binary"]).document
    for one in document["risks"]["decisions"]:
        mine = [each for each in document["outlets"] if one["system"] in (each["system"], "")]
        assert one["expected_wrongly_accepted"] == pytest.approx(math.fsum(each["consumer_risk"] for each in mine))
        assert one["expected_wrongly_rejected"] == pytest.approx(math.fsum(each["producer_risk"] for each in mine))
