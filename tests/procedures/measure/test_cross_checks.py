"""Cross-checks: which readings speak about one flow, their difference with its U, and whether they agree.

E_n = |d|/U(d) with U(d) of the difference (ISO 13528:2022, 9.7; from memory): tests/published/test_kcdb_ccm_ff_k3 has it of a
published comparison. U(d) stands beside GTC with correlated inputs (JCGM 100:2008, 5.2.2).
"""

import itertools
import math
from dataclasses import replace

import pytest
from GTC import set_correlation, ureal

from calib.procedures.measure.cross_checks import (
    FOUND_THERE_AND_CARRIED,
    TAKEN_AS_MAIN,
    TwoWays,
    cross_checks_of,
    mains_of,
)
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.measure.results import results_of_flows
from calib.records import database
from tests.contributions import contribution
from tests.factor_pairs import BLANK, amended, factor, paired_job
from tests.folders import NOW, records_of, small_job

NAN = math.nan

# --- which duct is the main ------------------------------------------------------------------------------------------------------

MAINS = {
    "the duct designed for all outlets": ({1: 1000.0}, 1000.0, [(1,)]),
    "one designed for a little more, as ducts leak": ({1: 1090.0}, 1000.0, [(1,)]),
    "two stations on one main": ({1: 1000.0, 2: 1010.0}, 1000.0, [(1,), (2,)]),
    "two mains that make it up together": ({1: 600.0, 2: 400.0}, 1000.0, [(1, 2)]),
    "the main, and no branch without a design": ({1: 1000.0, 2: NAN}, 1000.0, [(1,)]),
    "the only duct, where none has a design": ({1: NAN}, 1000.0, [(1,)]),
    "the only duct, where outlets have no design": ({1: 1000.0}, NAN, [(1,)]),
    "no branch designed for a part": ({1: 300.0}, 1000.0, []),
    "none of two without designs": ({1: NAN, 2: NAN}, 1000.0, []),
    "none of two where outlets have no design": ({1: 1000.0, 2: 300.0}, NAN, []),
    "nothing where there is no duct": ({}, 1000.0, []),
}


@pytest.mark.parametrize("name", MAINS)
def test_the_main_is_told_by_designs(name):
    ducts, whole, mains = MAINS[name]
    assert mains_of(ducts, whole) == mains


# --- what a job allows to compare ------------------------------------------------------------------------------------------------


def checks_of(records, session_evaluation=lambda job: job):
    """The job evaluated, and its cross-checks by their kind."""
    with database.reading(str(records)) as session:
        job = session_evaluation(evaluate(session, "J-1", NOW))
        by_kind = {}
        for check in cross_checks_of(session, job).checks:
            by_kind.setdefault(check.compared.kind, []).append(check)
        return job, by_kind


def of_results(side):
    """Value and U of a flow of a check."""
    told, row = side
    return float(told.value[row]), float(told.expanded_uncertainty[row])


def named(job, rows):
    return [job.measured[row].outlet.outlet for row in rows]


def with_main(*left_out, design="1320"):
    """The paired job with D-9 as the main of S-9 and S-10, and D-10 not there; `left_out` are outlets without a reading."""
    sheets = paired_job()
    of_main = {"design_flow": design, "tolerance_percent": "10" if design else ""}
    outlets = [row for row in sheets["outlets.csv"] if row["outlet"] not in ("D-10", "S-11")]
    sheets["outlets.csv"] = [row | (of_main if row["outlet"] == "D-9" else {}) for row in outlets]
    for name in ("readings.csv", "traverses.csv"):
        sheets[name] = [row for row in sheets[name] if row["outlet"] not in ("D-10", *left_out)]
    return sheets


def test_a_main_is_held_against_the_sum_of_its_outlets(tmp_path):
    job, checks = checks_of(records_of(tmp_path, with_main()))
    (check,) = checks[TwoWays.MAIN]
    assert named(job, check.compared.first) == ["D-9"]
    assert named(job, check.compared.second) == ["S-9", "S-10"]
    flow = {job.measured[row].outlet.outlet: job.flow.value[row] for row in range(len(job.measured)) if job.latest[row]}
    first, second, difference = (of_results(each)[0] for each in (check.first, check.second, check.difference))
    assert first == pytest.approx(flow["D-9"], rel=1e-12)
    assert second == pytest.approx(flow["S-9"] + flow["S-10"], rel=1e-12)
    assert difference == pytest.approx(first - second, rel=1e-9)
    assert check.compared.remark == ""


def test_it_agrees_where_the_difference_is_within_its_u(tmp_path):
    """D-9 carries the air of S-9 alone, so that it lacks that of S-10."""
    _, checks = checks_of(records_of(tmp_path, with_main()))
    (check,) = checks[TwoWays.MAIN]
    difference, expanded = of_results(check.difference)
    assert difference < -expanded
    assert check.agreement.normalised_error == pytest.approx(difference / expanded, rel=1e-12)
    assert check.agrees is False


def test_an_outlet_that_was_not_measured_is_told_by_difference(tmp_path):
    job, checks = checks_of(records_of(tmp_path, with_main("S-10")))
    (check,) = checks[TwoWays.BY_DIFFERENCE]
    assert [outlet.outlet for outlet in check.compared.not_measured] == ["S-10"]
    assert named(job, check.compared.second) == ["S-9"]
    assert (check.agreement, check.agrees) == (None, None)
    first, second, difference = (of_results(each)[0] for each in (check.first, check.second, check.difference))
    assert difference == pytest.approx(first - second, rel=1e-9)


def test_a_duct_that_totals_count_beside_the_outlets_is_no_main(tmp_path):
    """Its air is not theirs."""
    sheets = with_main(design="")
    sheets["outlets.csv"] = [
        row | {"in_totals": "yes" if row["outlet"] == "D-9" else ""} for row in sheets["outlets.csv"]
    ]
    assert checks_of(records_of(tmp_path, sheets))[1] == {}


def test_a_duct_that_totals_count_in_place_of_its_outlets_is_held_against_them(tmp_path):
    sheets = with_main()
    sheets["outlets.csv"] = [
        row | {"in_totals": "yes" if row["outlet"] == "D-9" else "no"} for row in sheets["outlets.csv"]
    ]
    job, checks = checks_of(records_of(tmp_path, sheets))
    (check,) = checks[TwoWays.MAIN]
    assert (named(job, check.compared.first), named(job, check.compared.second)) == (["D-9"], ["S-9", "S-10"])


def test_nothing_is_told_by_difference_where_no_outlet_was_measured(tmp_path):
    assert checks_of(records_of(tmp_path, with_main("S-9", "S-10")))[1] == {}


def test_a_duct_that_is_taken_as_the_main_says_so(tmp_path):
    _, checks = checks_of(records_of(tmp_path, with_main(design="")))
    assert [check.compared.remark for check in checks[TwoWays.MAIN]] == [TAKEN_AS_MAIN]


@pytest.fixture
def paired(tmp_path):
    """The paired job with the factor of S-9 found in D-9, which S-9 uses."""
    records = records_of(tmp_path, paired_job())
    factor(records)
    amended(records, "S-9", *BLANK, "found_factor=GR-9")
    return records


def test_a_duct_whose_traverses_were_paired_with_an_outlet_is_its_branch(paired):
    job, checks = checks_of(paired)
    (check,) = checks[TwoWays.BRANCH]
    assert (named(job, check.compared.first), named(job, check.compared.second)) == (["D-9"], ["S-9"])
    assert check.compared.remark == FOUND_THERE_AND_CARRIED
    assert check.agrees


def test_a_branch_is_no_main(paired):
    job, checks = checks_of(paired)
    assert all("D-9" not in named(job, check.compared.first) for check in checks.get(TwoWays.MAIN, ()))


def test_a_branch_that_the_outlets_factor_was_not_found_in_is_independent(tmp_path):
    records = records_of(tmp_path, paired_job())
    factor(records)
    _, checks = checks_of(records)
    assert [check.compared.remark for check in checks[TwoWays.BRANCH]] == [""]


def in_a_room(pressure):
    """The small job with S-1, S-2 and R-1 in one room."""
    sheets = small_job()
    rows = [row | {"room": "hall" if row["outlet"] != "E-1" else ""} for row in sheets["outlets.csv"]]
    sheets["outlets.csv"] = rows
    if pressure:
        sheets["rooms.csv"] = [{"job": "J-1", "room": "hall", "pressure": pressure}]
    return sheets


@pytest.mark.parametrize(
    ("pressure", "agrees"), [("", False), ("positive", True), ("negative", False)], ids=["nothing", "more", "less"]
)
def test_the_supply_of_a_room_is_held_against_its_extract_as_the_design_asks(tmp_path, pressure, agrees):
    """Some 1350 m3/h come in and 540 go out: a surplus, which only a design that asks for it agrees with."""
    job, checks = checks_of(records_of(tmp_path, in_a_room(pressure)))
    (check,) = checks[TwoWays.ROOM]
    assert (named(job, check.compared.first), named(job, check.compared.second)) == (["S-1", "S-2"], ["R-1"])
    assert check.agreement.normalised_error > 1
    assert check.agrees is agrees


def test_the_net_flow_of_a_room_is_the_same_number_in_its_total(tmp_path):
    job, checks = checks_of(records_of(tmp_path, in_a_room("positive")))
    (check,) = checks[TwoWays.ROOM]
    total = job.of_rooms.flow
    assert of_results(check.difference) == pytest.approx((total.value[0], total.expanded_uncertainty[0]), rel=1e-9)


def test_a_room_that_was_not_measured_whole_is_compared_with_nothing(tmp_path):
    sheets = in_a_room("positive")
    sheets["readings.csv"] = [row for row in sheets["readings.csv"] if row["outlet"] != "S-2"]
    assert checks_of(records_of(tmp_path, sheets))[1] == {}


def repeated(**cells):
    """The small job with S-1 read again at the end."""
    sheets = small_job()
    rows = [row | {"stage": ""} for row in sheets["readings.csv"]]
    again = {"observed_at": "2026-03-05T16:10+01:00", "indication": "", "observations": "4.28;4.31;4.30"}
    sheets["readings.csv"] = [*rows, rows[0] | again | {"stage": "repeat"} | cells]
    return sheets


def test_a_repeat_is_held_against_the_reading_that_it_repeats_as_the_drift_of_the_plant_is(tmp_path):
    """u(d) is that of the drift times the first flow: what errs in both readings cancels, but for d itself."""
    job, checks = checks_of(records_of(tmp_path, repeated()))
    (check,) = checks[TwoWays.REPEAT]
    (drift,) = job.drifts
    told, row = check.difference
    first = job.flow.value[drift.first]
    assert told.value[row] == pytest.approx(drift.relative * first, rel=1e-9)
    assert told.combined.standard_uncertainty[row] == pytest.approx(drift.standard_uncertainty * first, rel=0.05)
    assert check.agrees is False


def test_a_repeat_by_another_method_does_not_cancel_what_the_methods_err(tmp_path):
    sheets = repeated(method="grid")
    sheets["methods.csv"] = [*sheets["methods.csv"], sheets["methods.csv"][0] | {"method": "grid"}]
    job, checks = checks_of(records_of(tmp_path, sheets))
    (check,) = checks[TwoWays.REPEAT]
    told, row = check.difference
    assert job.drifts == ()
    assert told.combined.standard_uncertainty[row] > 0.03 * job.flow.value[0]
    assert check.agrees


def test_a_later_reading_that_is_no_repeat_is_compared_with_nothing(tmp_path):
    """A damper may have been set in between."""
    assert checks_of(records_of(tmp_path, repeated(stage="after adjustment")))[1] == {}


# --- U of the difference beside GTC ----------------------------------------------------------------------------------------------

COMMON = {"D-9": 0.7, "S-9": 0.4, "S-10": 0.3}  # of one calibration, times 0.001 m3/s
OWN = {"D-9": 0.5, "S-9": 0.9, "S-10": 0.8}


def test_u_of_a_difference_is_what_gtc_makes_of_correlated_inputs(tmp_path):
    """Flows whose correlations are those of one error that all three bear: r = c_i c_k/(u_i u_k)."""
    _, checks = checks_of(records_of(tmp_path, with_main()), correlated)
    (check,) = checks[TwoWays.MAIN]
    errors = {name: ureal(0.0, math.hypot(COMMON[name], OWN[name]), independent=False) for name in COMMON}
    for one, other in itertools.combinations(COMMON, 2):
        r = COMMON[one] * COMMON[other] / (errors[one].u * errors[other].u)
        set_correlation(r, errors[one], errors[other])
    expected = 1e-3 * (errors["D-9"] - errors["S-9"] - errors["S-10"]).u
    told, row = check.difference
    assert told.combined.standard_uncertainty[row] == pytest.approx(expected, rel=1e-9)
    # By hand: (0.7 - 0.4 - 0.3)^2 + 0.5^2 + 0.9^2 + 0.8^2 = 1.70.
    assert expected == pytest.approx(1e-3 * math.sqrt(1.70), rel=1e-9)
    assert told.coverage_factor[row] == pytest.approx(2.0, abs=1e-4)  # infinite degrees of freedom: 95.45 %


def correlated(job):
    """The job with flows that bear one common error and one of their own each."""
    names = [standing.outlet.outlet for standing in job.measured]
    common, own = ([1e-3 * each[name] for name in names] for each in (COMMON, OWN))
    flows = replace(job.flows, contributions=(contribution(common, [0] * len(names)), contribution(own)))
    return replace(job, flows=flows, flow=results_of_flows(flows))


# --- in the demo -----------------------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def demo(demo_folder):
    with database.reading(str(demo_folder / "demo.sqlite")) as session:
        job = evaluate(session, "LM-27", NOW.replace(month=11))
        return job, cross_checks_of(session, job).checks


def in_litres(side):
    return tuple(1000 * each for each in of_results(side))


def test_the_mains_of_the_demo_are_held_against_their_outlets(demo):
    """By the flows as they are printed: M1 903 L/s, its six outlets 871 L/s; M3 150.8 L/s less 110.7 L/s leave 40 L/s for E3-4."""
    job, checks = demo
    main, by_difference = checks[:2]
    assert named(job, main.compared.first) == ["M1 supply main"]
    assert [in_litres(side)[0] for side in (main.first, main.second)] == pytest.approx([902.8, 871.0], abs=0.1)
    assert main.agrees
    assert [outlet.outlet for outlet in by_difference.compared.not_measured] == ["E3-4 store"]
    value, expanded = in_litres(by_difference.difference)
    assert value == pytest.approx(40.1, abs=0.1)
    assert 12 < expanded < 18


def test_of_the_two_other_ducts_of_the_demo_one_is_a_branch(demo):
    job, checks = demo
    (branch,) = [check for check in checks if check.compared.kind is TwoWays.BRANCH]
    assert named(job, (*branch.compared.first, *branch.compared.second)) == ["B1 branch to S1-6", "S1-6 corridor"]


# What is new in each traverse, and what no traverse has.
OF_ITSELF = {"repeatability", "resolution", "outlet factor", "plant drift"}


def test_the_u_of_a_branch_and_its_outlet_is_what_gtc_makes_of_a_factor_found_there(demo):
    """One error of each influence in the duct; K = mean(q_i/(v_i A)) is correlated with it as the traverses bear it (5.2.2).

    By hand, of the figures in the report: sqrt(5.22^2 + 9.16^2 - 2 27.0) = 7.6 m3/h, and not 10.5.
    """
    job, checks = demo
    (branch,) = [check for check in checks if check.compared.kind is TwoWays.BRANCH]
    (duct,), (face,) = branch.compared.first, branch.compared.second
    traverses = [row for row, each in enumerate(job.measured) if each.outlet.id == job.measured[duct].outlet.id]
    flow = job.flow.value
    of_duct, of_face, factor = ureal(0.0, 0.0), ureal(0.0, 0.0), []
    for each in job.flows.contributions:
        own = math.hypot(*each.parts[face])
        if each.name == "outlet factor":
            k = ureal(0.0, own / flow[face], independent=False)
        elif each.name in OF_ITSELF:
            of_duct, of_face = of_duct + ureal(0.0, math.hypot(*each.parts[duct])), of_face + ureal(0.0, own)
        else:
            of_face += ureal(0.0, own)
            for column in range(each.parts.shape[1]):
                error = ureal(0.0, 1.0, independent=False)
                of_duct += each.parts[duct, column] * error
                borne = sum(each.parts[row, column] / flow[row] for row in traverses) / len(traverses)
                factor.append((error, borne))
    for error, borne in factor:
        set_correlation(borne / k.u, error, k)
    told, row = branch.difference
    expected = (of_duct - of_face - flow[face] * k).u
    assert told.combined.standard_uncertainty[row] == pytest.approx(expected, rel=1e-9)
    assert 3600 * expected == pytest.approx(7.6, abs=0.05)
