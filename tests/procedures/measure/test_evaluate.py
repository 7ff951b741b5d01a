"""A job evaluated: flows, budgets and totals beside the same model written independently, and what stands in which total.

Sources: tests/worked_cases/worked_vane (class D); the packages GTC and `uncertainties`, which propagate uncertain numbers without
anything of `calib` (tests/independent_model.py); JCGM 100:2008, 5.2.2 (correlated inputs) and G.4 (effective degrees of freedom).
"""

import itertools
import math
from dataclasses import replace
from datetime import datetime

import GTC
import numpy as np
import pytest
import uncertainties

from calib.confirmation.interval import RETIREMENT, SUSPENSION
from calib.errors import NotInRecordsError
from calib.procedures.fleet.record_event import record_event
from calib.procedures.measure.evaluate import evaluate
from calib.records import database, ledger
from tests.command import calib
from tests.folders import NOW, SIGNED, changed, flows_of, imported, only, records_of, small_job, write
from tests.independent_model import Model
from tests.reference import agrees, printed

WORKED = printed("worked_vane", "results")
NAMES = [
    "repeatability", "resolution", "calibration scatter", "reference standard", "stability", "dimension", "outlet factor", "method",
]  # fmt: skip


def evaluated(records, now=NOW, job="J-1"):
    with database.reading(str(records)) as session:
        return evaluate(session, job, now)


# --- the worked case -------------------------------------------------------------------------------------------------------------


@pytest.fixture
def first_budget(small_records):
    """Budget of the reading of VA-1 whose mean is 4.20 m/s, at an opening of 400 mm x 200 mm with K = 0.84, in m3/h."""
    return calib("budget", "1", "--json", records=small_records).document


def in_metres_per_second(budget, name):
    (part,) = [one for one in budget["contributions"] if one["name"] == name]
    return part["standard_uncertainty"] / 3600 / (0.4 * 0.2 * 0.84)


def test_the_worked_case_has_its_velocity(first_budget):
    assert first_budget["velocity"]["unit"] == "m/s"
    assert agrees(first_budget["velocity"]["value"], WORKED["v"])


@pytest.mark.parametrize(
    ("name", "symbol"), [("calibration scatter", "u scatter"), ("reference standard", "u reference")]
)
def test_the_worked_case_keeps_scatter_and_reference_apart(first_budget, name, symbol):
    assert agrees(in_metres_per_second(first_budget, name), WORKED[symbol])


@pytest.mark.parametrize("symbol", ["b0", "b1"])
def test_the_worked_case_has_its_curve(small_records, symbol):
    shown = calib("calibration", "show", "VA-1", "--json", records=small_records).document
    assert agrees(shown["curve"]["coefficients"][int(symbol[1])], WORKED[symbol])


def test_the_worked_case_s_flow_is_velocity_times_area_times_factor(first_budget):
    velocity = first_budget["velocity"]["value"]
    assert first_budget["flow"]["value"] == pytest.approx(velocity * 0.4 * 0.2 * 0.84 * 3600, rel=1e-14)


def test_repeatability_is_that_of_the_mean_of_the_larger_of_observed_and_declared(first_budget):
    """GUM 4.2.3: s of 4.19, 4.22, 4.19 is 0.0173, 0.02 is declared, u = s/sqrt(3); times 1 + dc/dx."""
    slope = 1 + float(WORKED["b1"])
    expected = 0.02 / 3**0.5 * slope
    assert in_metres_per_second(first_budget, "repeatability") == pytest.approx(expected, rel=1e-6)


# --- beside two other packages ---------------------------------------------------------------------------------------------------


def shared_job():
    """Six readings: two instruments, sources of factors that outlets share, and two readings of one pass."""
    sheets = small_job()
    more = [("S-3", "rectangular", "traverses at grille G", ""), ("R-2", "", "maker's sheet", "0.0420")]
    for name, shape, source, area in more:
        row = dict(sheets["outlets.csv"][0 if shape else 2], outlet=name, outlet_factor_source=source)
        sheets["outlets.csv"].append(row | ({"effective_area": area} if area else {"width": "250", "height": "125"}))
    read = sheets["readings.csv"]
    read.append(
        dict(
            read[1],
            outlet="S-3",
            observed_at="2026-03-05T09:50+01:00",
            indication="",
            observations="5.31;5.29;5.36;5.30",
        )
    )
    read.append(dict(read[2], outlet="R-2", observed_at="2026-03-05T09:55+01:00", indication="704", observations="704"))
    return sheets


def gtc_numbers(values, covariance, dof, name):
    u = np.sqrt(np.diag(covariance))
    pair = GTC.multiple_ureal(values, u.tolist(), dof, label_seq=[f"{name} {k}" for k in range(len(values))])
    for j, k in itertools.combinations(range(len(values)), 2):
        GTC.set_correlation(float(covariance[j, k] / u[j] / u[k]), pair[j], pair[k])
    return pair


def linear_numbers(values, covariance, _dof, name):
    return uncertainties.correlated_values(values, covariance, tags=[name] * len(values))


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return evaluated(records_of(tmp_path_factory.mktemp("shared"), shared_job()))


@pytest.fixture(scope="module")
def by_gtc():
    return Model(shared_job(), lambda value, u, dof, _name: GTC.ureal(value, u, dof), gtc_numbers)


@pytest.fixture(scope="module")
def by_uncertainties():
    return Model(shared_job(), lambda value, u, _dof, name: uncertainties.ufloat(value, u, tag=name), linear_numbers)


def row_of(job, outlet):
    return [one.outlet.outlet for one in job.measured].index(outlet)


OUTLETS = ["S-1", "S-2", "S-3", "R-1", "R-2", "E-1"]
TOTALS = ["supply", "return", "exhaust", "net"]


def test_the_lines_that_the_independent_model_takes_are_those_of_the_rule(small_records):
    degrees = [
        calib("calibration", "show", tag, "--json", records=small_records).document["curve"]["degree"]
        for tag in ("VA-1", "VA-2")
    ]
    assert degrees == [1, 1]


@pytest.mark.parametrize("outlet", OUTLETS)
def test_each_flow_and_its_uncertainty_are_those_of_gtc(job, by_gtc, outlet):
    row, other = row_of(job, outlet), dict(by_gtc.readings)[outlet]
    assert job.flow.value[row] == pytest.approx(other.x, rel=1e-9)
    assert job.flow.combined.standard_uncertainty[row] == pytest.approx(other.u, rel=1e-9)
    assert job.flow.combined.degrees_of_freedom[row] == pytest.approx(other.df, rel=1e-9)


@pytest.mark.parametrize("outlet", OUTLETS)
def test_each_flow_and_its_uncertainty_are_those_of_uncertainties(job, by_uncertainties, outlet):
    row, other = row_of(job, outlet), dict(by_uncertainties.readings)[outlet]
    assert job.flow.value[row] == pytest.approx(other.nominal_value, rel=1e-9)
    assert job.flow.combined.standard_uncertainty[row] == pytest.approx(other.std_dev, rel=1e-9)


def parts_of(value):
    """Contribution of each named influence to an uncertain number of `uncertainties`."""
    variance = dict.fromkeys(NAMES, 0.0)
    for variable, part in value.error_components().items():
        variance[variable.tag] += part**2
    return {name: math.sqrt(one) for name, one in variance.items()}


@pytest.mark.parametrize("outlet", OUTLETS)
def test_each_line_of_the_budget_is_that_of_uncertainties(job, by_uncertainties, outlet):
    found = job.flow.combined.uncertainties[row_of(job, outlet)]
    names = [one.name for one in job.flows.contributions]
    expected = parts_of(dict(by_uncertainties.readings)[outlet])
    assert dict(zip(names, found, strict=True)) == pytest.approx(expected, rel=1e-9, abs=1e-15)


def total_of(job, service):
    return [one.service for one in job.totals].index(service)


@pytest.mark.parametrize("service", TOTALS)
def test_each_total_and_its_uncertainty_are_those_of_gtc(job, by_gtc, service):
    row, other = total_of(job, service), by_gtc.total(service)
    assert job.of_systems.flow.value[row] == pytest.approx(other.x, rel=1e-9)
    assert job.of_systems.flow.combined.standard_uncertainty[row] == pytest.approx(other.u, rel=1e-9)
    assert job.of_systems.flow.combined.degrees_of_freedom[row] == pytest.approx(other.df, rel=1e-9)


@pytest.mark.parametrize("service", TOTALS)
def test_each_total_and_its_budget_are_those_of_uncertainties(job, by_uncertainties, service):
    row, other = total_of(job, service), by_uncertainties.total(service)
    assert job.of_systems.flow.value[row] == pytest.approx(other.nominal_value, rel=1e-9)
    assert job.of_systems.flow.combined.standard_uncertainty[row] == pytest.approx(other.std_dev, rel=1e-9)
    assert job.of_systems.flow.combined.uncertainties[row] == pytest.approx(
        list(parts_of(other).values()), rel=1e-9, abs=1e-15
    )


def test_sharing_makes_the_supply_less_certain_than_independence_would(job):
    """GUM 5.2.2: what is shared adds within a sum."""
    u = job.flow.combined.standard_uncertainty
    supply = [row for row, one in enumerate(job.measured) if one.outlet.service == "supply"]
    assert job.of_systems.flow.combined.standard_uncertainty[total_of(job, "supply")] > math.sqrt(sum(u[supply] ** 2))


def test_a_net_flow_says_how_much_surer_it_were_if_the_method_s_error_were_one_for_all(job, by_uncertainties):
    """GUM 5.2.2: what is known to be common cancels within a difference.

    Of 2.5 %, with the supply S and what leaves R: (S - R)^2, or the sum of the squares of all flows, instead of S^2 + R^2.
    """
    net = total_of(job, "net")
    (method,) = [group for group in job.of_systems.not_known[net] if group.contribution == "method"]
    u = job.of_systems.flow.combined.standard_uncertainty[net]
    sides = [
        by_uncertainties.total("supply").nominal_value,
        sum(by_uncertainties.total(service).nominal_value for service in ("return", "exhaust")),
    ]
    counted = 0.025**2 * (sides[0] ** 2 + sides[1] ** 2)
    common = 0.025**2 * (sides[0] - sides[1]) ** 2
    each = sum((0.025 * flow.nominal_value) ** 2 for _, flow in by_uncertainties.readings)
    assert method.if_common == pytest.approx(math.sqrt(u**2 - counted + common), rel=1e-9)
    assert method.if_independent == pytest.approx(math.sqrt(u**2 - counted + each), rel=1e-9)
    assert method.if_common < method.if_independent < u
    assert job.measured[method.reading].method.method == "sweep"


# --- units -----------------------------------------------------------------------------------------------------------------------

FACTORS = {
    "m/s": ("fpm", 0.00508),
    "mm": ("in", 25.4),
    "m2": ("ft2", 0.3048**2),
    "L/s": ("cfm", 0.028316846592 / 60 * 1000),
}
FACTORS["m3/h"] = ("cfm", 0.028316846592 * 60)
TYPED_IN = {
    "instruments.csv": {"unit": ("range_low", "range_high", "resolution", "mpe_absolute", "repeatability")},
    "comparisons.csv": {"unit": ("reference", "indication", "expanded_uncertainty", "repeatability")},
    "outlets.csv": {
        "dimension_unit": ("width", "height", "diameter", "dimension_limit"),
        "effective_area_unit": ("effective_area", "effective_area_standard_uncertainty"),
        "flow_unit": ("design_flow",),
    },
    "readings.csv": {"unit": ("indication", "observations")},
}


def times(cell, factor):
    return ";".join(repr(float(one) / factor) for one in cell.split(";")) if cell else ""


def in_other_units(sheets):
    """The same job with every value typed in the unit of the other system, as far as FACTORS names one."""
    for file, units in TYPED_IN.items():
        for row, (unit, columns) in itertools.product(sheets[file], units.items()):
            other, factor = FACTORS.get(row[unit], (row[unit], 1.0))
            row.update({column: times(row[column], factor) for column in columns}, **{unit: other})
    return sheets


def test_units_leave_flows_and_relative_uncertainties_alone(small_records, tmp_path):
    other = in_other_units(small_job())
    assert other["readings.csv"][0]["unit"] == "fpm"
    assert flows_of(records_of(tmp_path, other)) == pytest.approx(flows_of(small_records), rel=1e-9)


@pytest.mark.parametrize("units", ["si", "ip"])
def test_what_is_printed_has_one_relative_uncertainty_in_any_unit(small_records, units):
    typed = calib("budget", "1", "--json", records=small_records).document
    other = calib("budget", "1", "--units", units, "--json", records=small_records).document
    assert other["flow"]["unit"] == {"si": "L/s", "ip": "cfm"}[units]
    for one in ("flow", "velocity"):
        relative = [found[one]["standard_uncertainty"] / found[one]["value"] for found in (typed, other)]
        assert relative[0] == pytest.approx(relative[1], rel=1e-12)
    assert other["design"]["percent_of_design"] == pytest.approx(typed["design"]["percent_of_design"], rel=1e-12)


# --- what stands in a total ------------------------------------------------------------------------------------------------------


def another_reading(**cells):
    """The first reading once more, with some cells changed."""
    return {"readings.csv": [small_job()["readings.csv"][0] | {"observations": ""} | cells]}


@pytest.mark.parametrize(
    ("observed_at", "counts"),
    [
        ("2026-03-05T09:11+01:00", True),
        ("2026-03-05T08:11+00:00", True),  # later, though its text sorts before
        ("2026-03-05T09:09+01:00", False),
        ("2026-03-05T10:09+02:00", False),  # earlier, though its text sorts behind
    ],
)
def test_a_total_takes_the_latest_reading_of_an_outlet(small_records, tmp_path, observed_at, counts):
    imported(small_records, write(tmp_path / "in", another_reading(observed_at=observed_at, indication="2.00")))
    found = evaluated(small_records)
    mine = {one.reading.id: row for row, one in enumerate(found.measured) if one.outlet.outlet in ("S-1", "S-2")}
    later, earlier = (5, 1) if counts else (1, 5)
    assert [found.in_totals[mine[number]] for number in (later, earlier)] == [True, False]
    expected = found.flow.value[mine[later]] + found.flow.value[mine[2]]
    assert found.of_systems.flow.value[total_of(found, "supply")] == pytest.approx(expected, rel=1e-14)


def test_two_readings_of_one_outlet_at_one_time_count_once(small_records, tmp_path):
    imported(small_records, write(tmp_path / "in", another_reading(instrument="VA-2", indication="800", unit="fpm")))
    found = evaluated(small_records)
    assert sum(found.in_totals[row] for row, one in enumerate(found.measured) if one.outlet.outlet == "S-1") == 1


def test_every_outlet_measured_makes_a_total_complete(small_records):
    totals = {one.service: (one.measured, one.outlets) for one in evaluated(small_records).totals}
    assert totals == {"supply": (2, 2), "return": (1, 1), "exhaust": (1, 1), "net": (4, 4)}


def test_an_outlet_without_a_standing_reading_makes_its_totals_incomplete(tmp_path):
    sheets = small_job()
    del sheets["readings.csv"][1]
    found = evaluated(records_of(tmp_path, sheets))
    totals = {one.service: (one.measured, one.outlets) for one in found.totals}
    assert totals == {"supply": (1, 2), "return": (1, 1), "exhaust": (1, 1), "net": (3, 4)}
    assert found.of_systems.flow.value[total_of(found, "supply")] == found.flow.value[row_of(found, "S-1")]


def test_a_net_flow_is_supply_less_return_less_exhaust(small_records):
    found = evaluated(small_records)
    supply, returned, exhaust, net = found.of_systems.flow.value
    assert [one.service for one in found.totals] == ["supply", "return", "exhaust", "net"]
    assert net == pytest.approx(supply - returned - exhaust, rel=1e-14)


def test_a_system_with_one_service_has_no_net_flow(tmp_path):
    sheets = changed(*(("outlets.csv", row, "service", "exhaust") for row in (2, 3, 4)))
    assert [(one.service, one.outlets) for one in evaluated(records_of(tmp_path, sheets)).totals] == [("exhaust", 4)]


def test_systems_are_added_up_apart(tmp_path):
    found = evaluated(records_of(tmp_path, changed(("outlets.csv", 3, "system", "AH-2"))))
    assert [(one.system, one.service) for one in found.totals] == [
        ("AH-1", "supply"),
        ("AH-1", "return"),
        ("AH-1", "exhaust"),
        ("AH-1", "net"),
        ("AH-2", "supply"),
    ]
    assert found.of_systems.flow.value[-1] == found.flow.value[row_of(found, "S-2")]


def test_a_job_knows_nothing_of_another(small_records, tmp_path):
    before = flows_of(small_records)
    sheets = only(changed(("jobs.csv", 2, "job", "J-2")), "jobs.csv", "outlets.csv", "readings.csv")
    for file in ("outlets.csv", "readings.csv"):
        sheets[file] = [row | {"job": "J-2"} for row in sheets[file]]
    imported(small_records, write(tmp_path / "in", sheets))
    assert flows_of(small_records) == before
    assert flows_of(small_records, "J-2") == pytest.approx(before, rel=1e-12)


# --- the gate, asked again -------------------------------------------------------------------------------------------------------


def happened(records, tag, kind, at, reason="dropped"):
    when = datetime.fromisoformat(at)
    signed = replace(SIGNED, time=when) if kind == "release" else SIGNED  # which holds from when it is recorded
    with database.writing(str(records)) as session:
        record_event(session, tag, kind, when, reason, signed)


def standing(records, now=NOW):
    found = evaluated(records, now)
    return [one.outlet.outlet for one in found.measured], [one.outlet.outlet for one in found.refused]


@pytest.mark.parametrize("kind", [SUSPENSION, RETIREMENT])
def test_a_reading_refused_on_later_knowledge_moves_to_the_refusals(small_records, kind):
    assert standing(small_records) == (["S-1", "S-2", "R-1", "E-1"], [])
    happened(small_records, "VA-1", kind, "2026-03-05T09:15+01:00")
    assert standing(small_records) == (["S-1", "R-1"], ["S-2", "E-1"])
    found = evaluated(small_records)
    assert all("2026-03-05T09:15:00+01:00, recorded on 2026-03-06 (dropped)" in one.reasons[0] for one in found.refused)
    totals = {one.service: (one.measured, one.outlets) for one in found.totals}
    assert totals == {"supply": (1, 2), "return": (1, 1), "exhaust": (0, 1), "net": (2, 4)}


def test_what_stands_is_not_touched_by_what_moved(small_records):
    before = flows_of(small_records)
    happened(small_records, "VA-1", SUSPENSION, "2026-03-05T09:15+01:00")
    after = flows_of(small_records)
    assert after["S-1"] == before["S-1"]
    assert after["AH-1 supply"] == before["S-1"]


def test_a_job_whose_readings_are_all_refused_has_no_flow(small_records):
    for tag in ("VA-1", "VA-2"):
        happened(small_records, tag, SUSPENSION, "2026-03-01T00:00+00:00")
    found = evaluated(small_records)
    assert (found.measured, found.flow, found.of_systems.flow) == ((), None, None)
    assert len(found.refused) == 4
    assert {one.measured for one in found.totals} == {0}


def test_a_released_instrument_s_readings_stand_again(small_records):
    happened(small_records, "VA-1", SUSPENSION, "2026-03-04T09:00+01:00")
    happened(small_records, "VA-1", "release", "2026-03-05T09:25+01:00", "looked at")
    assert standing(small_records) == (["R-1", "E-1"], ["S-1", "S-2"])


def test_a_reference_standard_suspended_before_the_calibration_takes_its_readings_out(small_records):
    happened(small_records, "RS-1", SUSPENSION, "2026-02-01T09:00+00:00")
    assert standing(small_records) == (["S-1", "S-2", "E-1"], ["R-1"])


def test_a_reading_is_in_the_future_of_an_earlier_question(small_records):
    assert standing(small_records, datetime.fromisoformat("2026-03-05T09:25+01:00")) == (["S-1", "S-2"], ["R-1", "E-1"])


def test_a_refused_reading_does_not_stand_even_when_its_reason_has_gone(tmp_path):
    """What was refused when it was typed stays a refusal: it is evidence."""
    records = records_of(tmp_path, changed(("calibrations.csv", 3, "accepted_on", "")))
    assert standing(records) == (["S-1", "S-2", "E-1"], ["R-1"])
    words = ("--on", "2026-02-03", "--reason", "late", "--judged", "corrected value", "--departure", "as used", "--by",
             "B. Person")  # fmt: skip
    accepted = calib("calibration", "accept", "VA-2", "C-102", *words, records=records)
    assert accepted.status == 0
    assert standing(records) == (["S-1", "S-2", "E-1"], ["R-1"])


def test_a_later_certificate_does_not_reach_back(small_records, tmp_path):
    before = flows_of(small_records)
    cells = [("calibrations.csv", 2, "certificate", "C-201"), ("calibrations.csv", 2, "calibrated_on", "2026-03-05")]
    cells += [("calibrations.csv", 2, "accepted_on", "2026-03-06")]
    sheets = only(changed(*cells), "calibrations.csv", "comparisons.csv")
    sheets["calibrations.csv"] = sheets["calibrations.csv"][:1]
    sheets["comparisons.csv"] = [
        row | {"certificate": "C-201", "phase": "as-left"} for row in sheets["comparisons.csv"][:7]
    ]
    imported(small_records, write(tmp_path / "in", sheets))
    assert flows_of(small_records) == before


# --- conformity ------------------------------------------------------------------------------------------------------------------


def expected_statement(rule, flow, expanded, low, high):
    """The three rules in plain words: JCGM 106:2012, 8.2 and 8.3.2; ILAC-G8:09/2019, 4.2.3."""
    inside = min(flow - low, high - flow)
    if rule == "simple":
        return "pass" if inside >= 0 else "fail"
    if rule == "guarded":
        return "pass" if inside >= expanded else "fail"
    if inside >= 0:
        return "pass" if inside >= expanded else "conditional pass"
    return "conditional fail" if -inside <= expanded else "fail"


@pytest.mark.parametrize("rule", ["simple", "guarded", "guarded non-binary"])
@pytest.mark.parametrize("design", ["1000", "1100", "1150", "1200", "1400", "940", "900"])
def test_conformity_follows_the_rule_of_the_job(tmp_path, rule, design):
    cells = [("jobs.csv", 2, "decision_rule", rule), ("outlets.csv", 2, "design_flow", design)]
    found = evaluated(records_of(tmp_path, changed(*cells)))
    flow, expanded = 3600 * found.flow.value[0], 3600 * found.flow.expanded_uncertainty[0]
    low, high = 0.9 * float(design), 1.1 * float(design)
    assert found.judgement.statement[0] == expected_statement(rule, flow, expanded, low, high)
    assert found.judgement.percent_of_design[0] == pytest.approx(100 * flow / float(design), rel=1e-12)


def test_an_outlet_without_design_is_not_judged(tmp_path):
    cells = [("outlets.csv", 2, column, "") for column in ("design_flow", "flow_unit", "tolerance_percent")]
    found = evaluated(records_of(tmp_path, changed(*cells)))
    assert found.judgement.statement[0] == ""
    assert math.isnan(found.judgement.probability[0])


def test_an_unknown_job_is_named(small_records):
    with pytest.raises(NotInRecordsError, match="no job 'J-7' in the records: there is J-1"):
        evaluated(small_records, job="J-7")


def test_evaluating_writes_nothing(small_records):
    before = small_records.read_bytes()
    evaluated(small_records)
    assert small_records.read_bytes() == before
    with database.reading(str(small_records)) as session:
        assert ledger.verify(session.connection()) == ()
