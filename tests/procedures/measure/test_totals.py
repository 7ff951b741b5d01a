"""Totals of systems, of the job and of rooms: what they take, what their readings share, and what they prove.

Sources: JCGM 100:2008, 5.2.2 (equation 16: variance of a sum of correlated results) and G.4.1; JCGM 106:2012, 7 and 8; Student's t
by scipy.stats. What totals take is common practice, no source.
"""

import math
from collections import defaultdict

import numpy as np
import pytest
from scipy import stats

from calib.measurement import Flows
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.measure.results import judge_flows, results
from calib.procedures.measure.totals import (
    NO_OUTLET,
    Plan,
    Total,
    counted,
    totals_of_job,
    totals_of_rooms,
    totals_of_systems,
    with_flows,
)
from calib.records import database
from calib.records.tables.jobs import SystemDesign
from calib.records.tables.outlets import Outlet
from calib.records.words import NET
from calib.uncertainty.propagation import combine, covariance
from calib.uncertainty.sharing import common, common_within_a_sign, independent, not_known, not_known_of_a_change
from tests.contributions import contribution, line
from tests.every_way import changed, every_way
from tests.folders import NOW, records_of
from tests.tolerances import about

SIGN = {"supply": 1.0, "return": -1.0, "exhaust": -1.0}
M3_H = 1 / 3600
NAN = math.nan
NOTHING = frozenset()


def outlet(service="supply", system="A", place=None, in_totals=None, room=None, design=None, unit="m3/h"):
    return Outlet(
        job_id=1, outlet="-", system=system, service=service, place=place, in_totals=in_totals, room=room,
        design_flow=design, flow_unit=None if design is None else unit,
    )  # fmt: skip


def duct(*words, **cells):
    return outlet(*words, place="duct", **cells)


def numbered(*those):
    """Outlets by their keys."""
    found = dict(enumerate(those, start=1))
    for number, one in found.items():
        one.id = number
    return found


def plan(*those, designs=(), rooms=None):
    """A job; `designs` are (system, service, flow, unit, tolerance in percent)."""
    declared = {
        (system, service): SystemDesign(
            job_id=1, system=system, service=service, design_flow=flow, flow_unit=unit, tolerance_percent=tolerance
        )
        for system, service, flow, unit, tolerance in designs
    }
    return Plan(numbered(*those), declared, rooms or {})


# --- what totals take ------------------------------------------------------------------------------------------------------------

TAKEN = {
    "an outlet": ([outlet()], [1]),
    "an outlet that says so": ([outlet(in_totals="yes")], [1]),
    "no outlet that says no": ([outlet(in_totals="no"), outlet()], [2]),
    "a duct alone": ([duct()], [1]),
    "no duct beside an outlet of its system and service": ([duct(), outlet()], [2]),
    "a duct that says so beside an outlet": ([duct(in_totals="yes"), outlet()], [1, 2]),
    "no duct that says no": ([duct(in_totals="no")], []),
    "a duct of another service": ([duct("return"), outlet("supply")], [1, 2]),
    "a duct of another system": ([duct(system="B"), outlet(system="A")], [1, 2]),
    "every duct where there is no outlet": ([duct(), duct(), duct(in_totals="no")], [1, 2]),
    "no duct beside an outlet that is not counted": ([duct(), outlet(in_totals="no")], []),
    "an outlet that says outlet": ([outlet(place="outlet"), duct()], [1]),
}


@pytest.mark.parametrize("case", TAKEN)
def test_totals_take(case):
    those, taken = TAKEN[case]
    assert sorted(counted(numbered(*those))) == taken


def described(totals):
    return [(one.system, one.service, one.outlets, one.measured) for one in totals]


def test_a_system_has_a_total_of_each_service_and_a_net_of_several():
    job = plan(outlet("exhaust"), outlet(), outlet(), outlet("return", "B"), duct())
    assert described(totals_of_systems(job, frozenset({1, 3, 5}))) == [
        ("A", "supply", 2, 1),
        ("A", "exhaust", 1, 1),
        ("A", NET, 3, 2),
        ("B", "return", 1, 0),
    ]


def test_the_job_has_totals_where_it_has_several_systems():
    job = plan(outlet("exhaust"), outlet(), outlet("return", "B"))
    assert described(totals_of_job(job, frozenset({3}))) == [
        ("", "supply", 1, 0),
        ("", "return", 1, 1),
        ("", "exhaust", 1, 0),
        ("", NET, 3, 1),
    ]
    assert totals_of_job(plan(outlet("exhaust"), outlet()), NOTHING) == []


def test_a_room_has_one_net_flow_over_all_systems():
    job = plan(
        outlet(room="Lab"), outlet("exhaust", "B", room="Lab"), outlet(room="Hall"), outlet(), duct(room="Lab"),
        rooms={"Lab": "negative"},
    )  # fmt: skip
    lab, hall = totals_of_rooms(job, frozenset({1, 3}))
    assert (lab.room, lab.service, lab.outlets, lab.measured, lab.wanted) == ("Lab", NET, 2, 1, "negative")
    assert lab.sign == {1: 1.0, 2: -1.0}
    assert (hall.room, hall.outlets, hall.measured, hall.wanted) == ("Hall", 1, 1, "")


@pytest.mark.parametrize("service", SIGN)
def test_a_net_flow_takes_what_leaves_the_rooms_with_a_minus(service):
    *_, net = totals_of_systems(plan(outlet(service), outlet("supply"), outlet("exhaust")), NOTHING)
    assert net.sign == {1: SIGN[service], 2: 1.0, 3: -1.0}


# --- designs ---------------------------------------------------------------------------------------------------------------------


def designs_of(*those, designs=()):
    """Design [m3/h] and tolerance [1], the half of what lies between its limits, of each total of the systems."""
    found = totals_of_systems(plan(*those, designs=designs), NOTHING)
    return {(one.system, one.service): (one.design / M3_H, tolerance_of(one)) for one in found}


def test_a_total_s_design_is_the_sum_of_its_outlets_whatever_their_units():
    found = designs_of(outlet(design="1000"), outlet(design="100", unit="L/s"), outlet("return", design="800"))
    assert found == {
        ("A", "supply"): (pytest.approx(1360), pytest.approx(NAN, nan_ok=True)),
        ("A", "return"): (pytest.approx(800), pytest.approx(NAN, nan_ok=True)),
        ("A", NET): (pytest.approx(560), pytest.approx(NAN, nan_ok=True)),
    }


def test_a_total_has_no_design_where_one_of_its_outlets_has_none():
    found = designs_of(outlet(design="1000"), outlet(), outlet("return", design="800"))
    assert math.isnan(found["A", "supply"][0])
    assert math.isnan(found["A", NET][0])
    assert found["A", "return"][0] == pytest.approx(800)


def test_a_declared_design_outweighs_those_of_the_outlets_and_brings_its_tolerance():
    found = designs_of(outlet(design="1000"), outlet(), designs=[("A", "supply", "500", "L/s", "7.5")])
    assert found == {("A", "supply"): (pytest.approx(1800), pytest.approx(0.075))}


def test_a_net_design_is_the_difference_of_the_designs_above_it():
    found = designs_of(
        outlet(design="1000"), outlet("exhaust", design="300"), outlet("return"),
        designs=[("A", "supply", "1100", "m3/h", "10"), ("A", "return", "700", "m3/h", "10")],
    )  # fmt: skip
    assert found["A", NET][0] == pytest.approx(1100 - 700 - 300)
    assert math.isnan(found["A", NET][1])


def test_the_job_s_designs_are_those_of_its_systems():
    job = plan(
        outlet(design="1000"), outlet(system="B", design="400"), outlet("exhaust", "B", design="150"),
        designs=[("A", "supply", "1100", "m3/h", "10")],
    )  # fmt: skip
    found = {one.service: (one.design / M3_H, tolerance_of(one)) for one in totals_of_job(job, NOTHING)}
    assert [found[name][0] for name in ("supply", "exhaust", NET)] == pytest.approx([1500, 150, 1350])
    assert all(math.isnan(tolerance) for _, tolerance in found.values())


def test_a_room_takes_the_designs_of_its_own_outlets():
    job = plan(
        outlet(room="Lab", design="300"), outlet("exhaust", room="Lab", design="360"), outlet(design="900"),
        designs=[("A", "supply", "1100", "m3/h", "10")],
    )  # fmt: skip
    (lab,) = totals_of_rooms(job, NOTHING)
    assert lab.design / M3_H == pytest.approx(-60)


def test_what_rounding_leaves_of_a_balanced_design_is_nothing():
    """0.1 + 0.2 - 0.3 is 5.6e-17 in binary floats, and no flow has a share of that."""
    those = [outlet(design=f"{flow}", unit="m3/s") for flow in (0.1, 0.2)] + [
        outlet("return", design="0.3", unit="m3/s")
    ]
    *_, net = totals_of_systems(plan(*those), NOTHING)
    assert net.design == 0.0


# --- by hand ---------------------------------------------------------------------------------------------------------------------


def flows_of(values, *contributions):
    return Flows(np.array(values), (), np.array(values), contributions, np.empty(0))


def counts(*numbers):
    """Readings as totals see them: by the key of their outlet, or None where it is not taken."""
    return np.array([NO_OUTLET if number is None else number for number in numbers])


def tolerance_of(found):
    lower, upper = found.limits
    return (upper - lower) / 2 / found.design


def total(sign, design=NAN, tolerance=NAN, wanted="", measured=None, service="supply"):
    size = len(sign)
    limits = (design * (1 - tolerance), design * (1 + tolerance))
    return Total("A", service, size if measured is None else measured, size, design, limits, wanted=wanted, sign=sign)


def summed(totals, numbers, found, rule="simple"):
    return with_flows(totals, counts(*numbers), found, rule, 0.9545)


def test_what_is_shared_adds_up_in_a_sum_and_cancels_in_a_difference():
    """GUM 5.2.2, NOTE 1: with correlation 1 the uncertainties add with their signs."""
    found = flows_of([3.0, 2.0], contribution([0.3, 0.2], source=[0, 0]))
    both = summed([total({1: 1.0, 2: 1.0}), total({1: 1.0, 2: -1.0}, service=NET)], [1, 2], found)
    assert both.flow.value == pytest.approx([5.0, 1.0])
    assert both.flow.combined.standard_uncertainty == pytest.approx([0.5, 0.1])


def test_what_is_each_one_s_own_adds_in_squares():
    found = flows_of([3.0, 2.0], contribution([0.3, 0.4]))
    both = summed([total({1: 1.0, 2: 1.0}), total({1: 1.0, 2: -1.0}, service=NET)], [1, 2], found)
    assert both.flow.combined.standard_uncertainty == pytest.approx([0.5, 0.5])


def test_a_reading_that_is_not_taken_is_in_no_total():
    found = flows_of([3.0, 2.0, 9.0, 7.0], contribution([0.3, 0.4, 5.0, 5.0]))
    both = summed([total({1: 1.0}), total({2: 1.0})], [1, 2, None, 8], found)
    assert both.flow.value == pytest.approx([3.0, 2.0])
    assert both.flow.combined.standard_uncertainty == pytest.approx([0.3, 0.4])


def test_a_total_without_a_reading_is_nothing_and_is_not_judged():
    found = flows_of([3.0], contribution([0.3]))
    both = summed([total({1: 1.0}), total({2: 1.0}, 2.0, 0.1, "positive", measured=0)], [1], found)
    assert both.flow.value.tolist() == [3.0, 0.0]
    assert both.flow.combined.standard_uncertainty.tolist() == [0.3, 0.0]
    assert (both.judgement.statement[1], math.isnan(both.judgement.percent_of_design[1])) == ("", True)
    assert math.isnan(both.as_wanted[1])


def test_no_totals_have_no_flow():
    found = summed([], [1], flows_of([3.0], line(0.3)))
    assert (found.totals, found.flow, found.judgement, found.as_wanted) == ((), None, None, None)


def test_a_flow_has_no_share_of_a_design_of_nothing():
    found = summed([total({1: 1.0}, 0.0), total({2: 1.0}, 4.0)], [1, 2], flows_of([3.0, 3.0], contribution([0.1, 0.1])))
    assert found.judgement.percent_of_design == pytest.approx([NAN, 75.0], nan_ok=True)


@pytest.mark.parametrize("wanted", ["positive", "negative"])
@pytest.mark.parametrize(("value", "positive"), [(0.02, 1.0), (0.0, 0.5), (-0.02, 0.0)])
def test_a_net_flow_known_exactly_has_its_sign(value, positive, wanted):
    found = summed([total({1: 1.0}, wanted=wanted, service=NET)], [1], flows_of([value], line(0.0)))
    assert found.as_wanted == [positive if wanted == "positive" else 1 - positive]


@pytest.mark.parametrize("dof", [2.0, 7.0, math.inf])
@pytest.mark.parametrize("value", [-0.3, -0.05, 0.0, 0.02, 0.4])
def test_the_probability_of_a_sign_is_that_of_students_t(value, dof):
    those = [total({1: 1.0}, wanted=wanted, service=NET) for wanted in ("positive", "negative", "")]
    alone = [summed([one], [1], flows_of([value], line(0.1, dof))).as_wanted[0] for one in those]
    surplus = stats.norm.cdf(value / 0.1) if math.isinf(dof) else stats.t.cdf(value / 0.1, dof)
    assert alone == pytest.approx([surplus, 1 - surplus, NAN], abs=1e-12, nan_ok=True)


@pytest.mark.parametrize(("value", "conforms"), [(0.89, 0.0), (0.9, 1.0), (1.0, 1.0), (1.1, 1.0), (1.11, 0.0)])
def test_a_flow_known_exactly_conforms_or_does_not(value, conforms):
    exact = results(np.array([value]), combine([line(0.0)]))
    found = judge_flows(exact, np.array([1.0]), about(np.array([1.0]), np.array([0.1])), "guarded")
    assert found.statement.tolist() == ["pass" if conforms else "fail"]
    assert (found.probability, found.consumer_risk, found.producer_risk) == ([conforms], [0.0], [0.0])


# --- a whole job -----------------------------------------------------------------------------------------------------------------


def evaluated(records):
    with database.reading(str(records)) as session:
        return evaluate(session, "E-1", NOW)


def one_more_system():
    """The job with a system whose outlets share the hood and the vane with the others, and a later reading at S-1."""
    sheets = every_way()
    hood, vane = sheets["outlets.csv"][4], sheets["outlets.csv"][3]
    sheets["outlets.csv"] += [
        hood | {"outlet": "R-1", "service": "return", "system": "AH-2", "room": "Store"},
        vane | {"outlet": "R-2", "service": "return", "system": "AH-2", "room": ""},
    ]
    readings = sheets["readings.csv"]
    readings += [
        readings[4] | {"outlet": "R-1", "observations": "391;388;390"},
        readings[3] | {"outlet": "R-2", "observations": "3.19;3.22"},
        readings[3] | {"observed_at": "2026-03-05T15:10+01:00", "observations": "4.09;4.12;4.09"},
    ]
    return sheets


@pytest.fixture(scope="module")
def job(tmp_path_factory):
    return evaluated(records_of(tmp_path_factory.mktemp("ways"), one_more_system()))


def rows_of(totals):
    return [pytest.param(name, row, id=f"{name} {row}") for name, count in totals.items() for row in range(count)]


KINDS = {"of_systems": 7, "of_job": 4, "of_rooms": 2}


def test_the_job_has_these_totals(job):
    assert {name: len(getattr(job, name).totals) for name in KINDS} == KINDS


def selection(job, one):
    """(n,) sign of each reading in a total, 0 for those it does not take."""
    taken = [one.sign.get(each.outlet.id, 0.0) * job.in_totals[row] for row, each in enumerate(job.measured)]
    return np.array(taken)


# Variance of the terms of one group, by the rule of it (test_sharing holds the rules against GTC).
BY_HAND = {
    common: lambda terms: math.fsum(terms) ** 2,
    independent: lambda terms: math.fsum(term**2 for term in terms),
    not_known: lambda terms: math.fsum(t for t in terms if t > 0) ** 2 + math.fsum(t for t in terms if t < 0) ** 2,
    not_known_of_a_change: lambda terms: math.fsum(map(abs, terms)) ** 2,
}
BY_HAND[common_within_a_sign] = BY_HAND[not_known]


def of_group(rule, terms):
    """Variance of one group; `terms` are what a result bears, one number for each direction, and its shares at comparisons."""
    apart = math.fsum(BY_HAND[independent](directions) for directions, _ in terms)
    if not terms or terms[0][1] is None:
        by_direction = zip(*(directions for directions, _ in terms), strict=True)
        return apart if rule is independent else math.fsum(BY_HAND[rule](direction) for direction in by_direction)
    worth = defaultdict(float)
    for (borne,), at in terms:
        for comparison, share in at:
            worth[comparison] += share * borne
    return max(BY_HAND[rule](list(worth.values())), apart)


def shares_of(at, row):
    """Shares of a result at comparisons."""
    if at is None:
        return None
    places = np.flatnonzero(at.result == row)
    return list(zip(at.comparison[places].tolist(), at.share[places].tolist(), strict=True))


def variances_of(contributions, s):
    """Variance of a total that each group of each influence makes, with its degrees of freedom; written reading by reading."""
    groups = defaultdict(list)
    for one in contributions:
        for number, share in enumerate(one.shared):
            columns = range(one.parts.shape[1])[share.columns or slice(None)]
            dof = one.degrees_of_freedom if share.degrees_of_freedom is None else share.degrees_of_freedom
            for row in np.flatnonzero(s).tolist():
                borne = [float(s[row] * one.parts[row, column]) for column in columns]
                key = share.pool or (one.name, number), int(share.group[row]), share.rule
                groups[key].append(((borne, shares_of(share.at, row)), float(dof[row])))
    for (_, _, rule), members in groups.items():
        yield of_group(rule, [term for term, _ in members]), min(dof for _, dof in members)


@pytest.mark.parametrize(("name", "row"), rows_of(KINDS))
def test_a_total_is_the_sum_of_its_readings_with_what_all_of_them_share(job, name, row):
    """GUM 5.2.2, equation 16: u^2 = s U s^T with the covariances of every pair of readings, group by group."""
    totals = getattr(job, name)
    s = selection(job, totals.totals[row])
    variance = math.fsum(v for v, _ in variances_of(job.flows.contributions, s))
    assert totals.flow.value[row] == pytest.approx(s @ job.flows.flow, rel=1e-12, abs=1e-15)
    assert totals.flow.combined.standard_uncertainty[row] == pytest.approx(math.sqrt(variance), rel=1e-12)


@pytest.mark.parametrize("name", ["of_systems", "of_job"])
def test_the_covariance_matrix_of_all_readings_says_the_same_of_a_sum(job, name):
    """Among terms of one sign what is not known is common; of differences no one matrix holds.

    What the air does to the flows of a sum has both signs, and is a hundredth of their uncertainty: there the matrix is no rule.
    """
    totals, matrix = getattr(job, name), covariance(job.flows.contributions)
    sums = [row for row, one in enumerate(totals.totals) if one.service != NET]
    assert len(sums) >= 3
    for row in sums:
        s = selection(job, totals.totals[row])
        assert totals.flow.combined.standard_uncertainty[row] == pytest.approx(math.sqrt(s @ matrix @ s), rel=1e-4)


@pytest.mark.parametrize(("name", "row"), rows_of(KINDS))
def test_its_degrees_of_freedom_are_those_of_its_independent_parts(job, name, row):
    """GUM G.4.1, equation G.2b, over the groups."""
    totals = getattr(job, name)
    s = selection(job, totals.totals[row])
    parts = list(variances_of(job.flows.contributions, s))
    expected = math.fsum(v for v, _ in parts) ** 2 / math.fsum(v**2 / dof for v, dof in parts)
    assert totals.flow.combined.degrees_of_freedom[row] == pytest.approx(expected, rel=1e-9)


@pytest.mark.parametrize(("service", "larger_by"), [("supply", 0.20), ("return", 0.03), (NET, 0.04)])
def test_sharing_matters_and_never_makes_a_difference_surer_than_independent_errors_would(job, service, larger_by):
    """Both outlets of the return of AH-2 are with instruments of the supply of AH-1: whether their errors cancel is not known."""
    row = [one.service for one in job.of_job.totals].index(service)
    s = selection(job, job.of_job.totals[row])
    apart = math.sqrt(s**2 @ job.flow.combined.standard_uncertainty**2)
    assert job.of_job.flow.combined.standard_uncertainty[row] / apart - 1 > larger_by


def test_totals_take_the_latest_reading_of_an_outlet(job):
    rows = [row for row, one in enumerate(job.measured) if one.outlet.outlet == "S-1"]
    at_s1 = [(job.measured[row].reading.observed_at[11:16], job.in_totals[row]) for row in rows]
    assert at_s1 == [("10:10", False), ("15:10", True)]


# --- what totals prove -----------------------------------------------------------------------------------------------------------


def of_supply(job):
    """Place of the supply of AH-1, its flow and its judgement."""
    row = next(row for row, one in enumerate(job.of_systems.totals) if (one.system, one.service) == ("AH-1", "supply"))
    flow = job.of_systems.flow
    u = float(flow.combined.standard_uncertainty[row])
    dof = float(flow.degrees_of_freedom[row])
    return row, float(flow.value[row]), u, dof, float(flow.expanded_uncertainty[row])


def statement_by_hand(rule, inside, expanded):
    """JCGM 106, 8.2 and 8.3.2; ILAC-G8, 4.2.3."""
    if rule == "simple":
        return "pass" if inside >= 0 else "fail"
    if inside >= expanded:
        return "pass"
    if rule == "guarded":
        return "fail"
    return "conditional pass" if inside >= 0 else "conditional fail" if inside >= -expanded else "fail"


@pytest.mark.parametrize("rule", ["simple", "guarded", "guarded non-binary"])
@pytest.mark.parametrize(("design", "tolerance"), [("5250", "10"), ("5400", "4"), ("5700", "8"), ("4800", "8")])
def test_a_total_is_judged_by_its_own_tolerance(tmp_path, rule, design, tolerance):
    cells = [("jobs.csv", 2, "decision_rule", rule), ("systems.csv", 2, "design_flow", design)]
    found = evaluated(records_of(tmp_path, changed(*cells, ("systems.csv", 2, "tolerance_percent", tolerance))))
    row, value, u, dof, expanded = of_supply(found)
    low, high = (float(design) * M3_H * (1 + sign * float(tolerance) / 100) for sign in (-1, 1))
    judged = found.of_systems.judgement
    assert judged.statement[row] == statement_by_hand(rule, min(value - low, high - value), expanded)
    inside = stats.t.cdf((high - value) / u, dof) - stats.t.cdf((low - value) / u, dof)
    assert judged.probability[row] == pytest.approx(inside, rel=1e-9)
    assert judged.percent_of_design[row] == pytest.approx(100 * value / M3_H / float(design), rel=1e-12)


def test_the_tolerances_of_this_test_meet_every_statement():
    value, expanded = 5280.0, 120.0  # of the supply of AH-1 [m3/h], rounded
    met = {
        statement_by_hand("guarded non-binary", min(value - d * (1 - t / 100), d * (1 + t / 100) - value), expanded)
        for d, t in ((5250, 10), (5400, 4), (5700, 8), (4800, 8))
    }
    assert met == {"pass", "conditional pass", "conditional fail"}


def test_a_total_without_a_tolerance_is_not_judged_but_has_its_share(tmp_path):
    sheets = every_way()
    del sheets["systems.csv"]
    found = evaluated(records_of(tmp_path, sheets))
    row, value, *_ = of_supply(found)
    judged = found.of_systems.judgement
    assert (judged.statement[row], math.isnan(judged.probability[row])) == ("", True)
    assert judged.percent_of_design[row] == pytest.approx(100 * value / M3_H / 5050, rel=1e-12)


def test_an_incomplete_total_is_neither_judged_nor_given_a_share(tmp_path):
    sheets = every_way()
    sheets["readings.csv"] = [row for row in sheets["readings.csv"] if row["outlet"] != "S-2"]
    found = evaluated(records_of(tmp_path, sheets))
    row, *_ = of_supply(found)
    assert (found.of_systems.totals[row].measured, found.of_systems.totals[row].outlets) == (3, 4)
    judged = found.of_systems.judgement
    assert (judged.statement[row], math.isnan(judged.probability[row])) == ("", True)
    assert math.isnan(judged.percent_of_design[row])
    store, wash = found.of_rooms.as_wanted
    assert math.isnan(store)  # S-2 stands in the store
    assert 0 < wash < 1


def test_a_room_s_sign_is_judged_by_students_t(job):
    rooms = job.of_rooms
    z = rooms.flow.value / rooms.flow.combined.standard_uncertainty
    surplus = stats.t.cdf(z, rooms.flow.degrees_of_freedom)
    assert [(one.room, one.wanted) for one in rooms.totals] == [("Store", "positive"), ("Wash", "negative")]
    assert rooms.as_wanted == pytest.approx([surplus[0], 1 - surplus[1]], abs=1e-12)


def test_a_room_of_which_nothing_is_asked_has_no_probability(tmp_path):
    sheets = every_way()
    del sheets["rooms.csv"][0]
    rooms = evaluated(records_of(tmp_path, sheets)).of_rooms
    assert [math.isnan(one) for one in rooms.as_wanted] == [True, False]


def test_a_balanced_design_is_shown_as_nothing_without_a_share(tmp_path):
    """Supply and return of 2000 m3/h each, without the exhaust."""
    sheets = changed(("systems.csv", 2, "design_flow", "2000"))
    sheets["outlets.csv"] = [row for row in sheets["outlets.csv"] if row["outlet"] != "X-1"]
    sheets["readings.csv"] = [row for row in sheets["readings.csv"] if row["outlet"] != "X-1"]
    systems = evaluated(records_of(tmp_path, sheets)).of_systems
    net = next(row for row, one in enumerate(systems.totals) if one.service == NET)
    assert systems.totals[net].design == 0.0
    assert math.isnan(systems.judgement.percent_of_design[net])
