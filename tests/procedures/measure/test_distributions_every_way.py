"""Propagation of distributions for every way of measuring: beside draws of the same job written independently, and beside the law.

Sources: JCGM 101:2008, 6.4 (which distribution) and 8 (the law beside it); tests/independent_ways.py, which knows nothing of
`calib` and here draws every number of the job at once.
"""

import math
from collections import defaultdict
from dataclasses import replace

import numpy as np
import pytest

from calib.measurement import FoundFactors, flows
from calib.measurement.trials import NO_ERRORS, Errors, one_reading
from calib.procedures.measure.budget import budget_of
from calib.procedures.measure.distributions import model_of
from calib.procedures.measure.evaluate import evaluate
from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.procedures.measure.results import results_of
from calib.records import database
from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.distributions import Rectangular, StudentT
from calib.uncertainty.joint_distributions import MultivariateT
from calib.uncertainty.monte_carlo import propagate_distributions
from calib.uncertainty.propagation import combine
from tests.command import calib
from tests.folders import NOW, records_of
from tests.independent_ways import Ways, drawn, root_of_draws
from tests.procedures.measure.test_evaluate_every_way import OUTLETS, more_ways

TRIALS = 200_000
SEED = 20260305


@pytest.fixture(scope="module")
def records(tmp_path_factory):
    return records_of(tmp_path_factory.mktemp("ways"), more_ways())


def evaluated(records):
    with database.reading(str(records)) as session:
        return evaluate(session, "E-1", NOW)


@pytest.fixture(scope="module")
def job(records):
    return evaluated(records)


def row_of(job, outlet):
    return [one.outlet.outlet for one in job.measured].index(outlet)


def modelled(job, row, readings=None):
    measured = job.measured[row]
    return model_of(job.readings if readings is None else readings, row, measured.air, measured.calibration.record_id)


def simulated(job, outlet, readings=None):
    row = row_of(job, outlet)
    inputs, model = modelled(job, row, readings)
    return propagate_distributions(model, inputs, seed=SEED, trials=TRIALS)


# --- beside independent draws ----------------------------------------------------------------------------------------------------


@pytest.fixture(scope="module")
def drawn_independently():
    generator = np.random.default_rng(SEED + 1)
    with np.errstate(invalid="ignore"):  # of a hood: errors that no pair can have
        return Ways(more_ways(), *drawn(generator, TRIALS), root_of_draws).flows


@pytest.mark.parametrize("outlet", OUTLETS)
def test_the_distribution_is_that_of_independent_draws(job, drawn_independently, outlet):
    """As many independent draws lie below a quantile as should, to five standard deviations of two such counts."""
    sample, other = simulated(job, outlet).sample, drawn_independently[outlet]
    for probability in (0.0228, 0.1587, 0.5, 0.8413, 0.9772):
        # What is not a number is a flow without bound: above every quantile.
        below = np.count_nonzero(other < np.quantile(sample, probability)) / TRIALS
        scatter = math.sqrt(probability * (1 - probability) * 2 / TRIALS)
        assert below == pytest.approx(probability, abs=5 * scatter)


# --- beside the law --------------------------------------------------------------------------------------------------------------


# Near zero the value is the mean of the trials, and no trial; u is at least what simulations of such points asked for.
WELL_ABOVE_ZERO = [outlet for outlet in OUTLETS if outlet != "D-4"]


@pytest.mark.parametrize("outlet", WELL_ABOVE_ZERO)
def test_without_errors_the_model_gives_the_flow(job, outlet):
    row = row_of(job, outlet)
    (flow,) = one_reading(job.readings, row).flow(NO_ERRORS)
    assert flow == pytest.approx(job.flow.value[row], rel=1e-13)


LINE = {
    "passes": "repeatability",
    "scatter": "calibration scatter",
    "reference": "reference standard",
    "probe scatter": "probe",
    "probe reference": "probe",
    "probe stability": "probe",
    "resistance ratio": "back pressure",
}


def scales(inputs):
    """What the law takes for the standard uncertainty of each array that is drawn."""
    for one in inputs:
        if isinstance(one, MultivariateT):
            yield from np.sqrt(np.diag(one.scale_matrix))
        else:
            yield one.scale if isinstance(one, StudentT) else one.standard_uncertainty


def lines_of_small_errors(model, inputs):
    """Lines of the budget from differences of the model: a thousandth of each standard uncertainty up and down."""
    names, u = [name for name, _ in model.places], np.array(list(scales(inputs)))
    apart = 1e-3 * np.concatenate([np.diag(u), -np.diag(u)])
    values = model(*apart.T)
    variance = defaultdict(float)
    for name, up, down in zip(names, *np.split(values, 2), strict=True):
        variance[LINE.get(name, name)] += ((up - down) / 2e-3) ** 2
    return {name: math.sqrt(one) for name, one in variance.items()}


@pytest.mark.parametrize("outlet", WELL_ABOVE_ZERO)
def test_small_errors_make_the_budget_of_the_law(job, outlet):
    """GUM 5.1.3 NOTE 2: sensitivity coefficients from differences of the model."""
    row = row_of(job, outlet)
    inputs, model = modelled(job, row)
    names = [one.name for one in job.flows.contributions]
    law = dict(zip(names, job.flow.combined.uncertainties[row].tolist(), strict=True))
    assert dict.fromkeys(names, 0.0) | lines_of_small_errors(model, inputs) == pytest.approx(law, rel=1e-6, abs=1e-12)


def once():
    """The job with one pass of every traverse and one velocity pressure: declared repeatability in place of observed one."""
    sheets = more_ways()
    for row in sheets["traverses.csv"]:
        row["indications"] = row["indications"].split(";")[0]
    for row in sheets["readings.csv"]:
        if row["instrument"] == "DM-1" and not row["traverse_rule"]:
            row["observations"] = row["observations"].split(";")[0]
    return sheets


def with_many_degrees_of_freedom(readings):
    """The same readings as if every uncertainty were exactly known."""
    curves = [replace(one, polynomial=replace(one.polynomial, degrees_of_freedom=1e6)) for one in readings.curves]
    many = np.full(readings.indication.size, np.inf)
    return replace(readings, repeatability_dof=many, curves=curves, method_dof=None)


@pytest.fixture(scope="module")
def known(tmp_path_factory):
    return evaluated(records_of(tmp_path_factory.mktemp("once"), once()))


@pytest.mark.parametrize("outlet", WELL_ABOVE_ZERO)
def test_the_law_holds_where_every_uncertainty_is_exactly_known(known, outlet):
    """Estimate, u and interval agree; a rectangular stability that makes half of the variance or more shortens it by up to 3 %."""
    readings, row = with_many_degrees_of_freedom(known.readings), row_of(known, outlet)
    found = flows(readings)
    u = float(combine(found.contributions).standard_uncertainty[row])
    both = simulated(known, outlet, readings)
    assert both.value == pytest.approx(found.flow[row], abs=0.02 * u)
    assert both.standard_uncertainty == pytest.approx(u, rel=0.005)
    shorter = 1 - both.symmetric_interval.half_length / (float(coverage_factor(math.inf)) * u)
    assert -0.006 < shorter < (0.03 if outlet in ("D-2", "D-3", "S-2") else 0.007)


@pytest.mark.parametrize("outlet", OUTLETS)
def test_u_is_the_half_width_that_monte_carlo_finds_or_the_law_s_where_that_is_no_more_than_5_percent_less(job, outlet):
    """Ends of 10^5 trials scatter by about 1 %, with heavy tails by some more."""
    row = row_of(job, outlet)
    flow, half = job.flow, simulated(job, outlet).symmetric_interval.half_length
    law = coverage_factor(flow.combined.degrees_of_freedom[row]) * flow.combined.standard_uncertainty[row]
    if flow.expanded_uncertainty[row] > law * (1 + 1e-9):
        assert flow.expanded_uncertainty[row] == pytest.approx(half, rel=0.025)
    else:
        assert half < 1.075 * law


def test_two_series_of_two_observations_each_may_lie_far_out_by_itself(job):
    """The hood at S-5: each has t with one degree of freedom, of which Welch-Satterthwaite makes one t with 1.2 for both."""
    row = row_of(job, "S-5")
    (repeatability,) = [one for one in job.flows.contributions if one.name == "repeatability"]
    assert repeatability.unlike.degrees_of_freedom[row].tolist() == [1.0, 1.0]
    assert repeatability.unlike.share[row].sum() == pytest.approx(1.0, rel=1e-12)
    as_one = replace(repeatability, unlike=None)
    contributions = [as_one if one is repeatability else one for one in job.flows.contributions]
    together = results_of(job.flow.value, contributions)
    assert job.flow.expanded_uncertainty[row] > 1.3 * together.expanded_uncertainty[row]
    found = budget_of(ReadingInJob(job, row)).budget
    assert found.expanded_uncertainty == pytest.approx(job.flow.expanded_uncertainty[row], rel=1e-9)


def test_few_passes_make_the_tails_heavier_than_the_law_says(job):
    """Three passes have t with two degrees of freedom (JCGM 101, 6.4.9), which Welch-Satterthwaite takes for many."""
    row, combined = row_of(job, "D-1"), job.flow.combined
    law = coverage_factor(combined.degrees_of_freedom[row]) * combined.standard_uncertainty[row]
    assert job.flow.expanded_uncertainty[row] > 1.1 * law


# --- which distributions ---------------------------------------------------------------------------------------------------------


def inputs_of(job, outlet, name):
    row = row_of(job, outlet)
    inputs, model = modelled(job, row)
    singles = [one for one in inputs if not isinstance(one, MultivariateT)]
    places = [place for place, _ in model.places if not place.endswith("scatter")]
    return [one for place, one in zip(places, singles, strict=True) if place == name]


def test_one_pass_has_an_error_at_each_point_and_several_passes_one_of_their_mean(job):
    assert len(inputs_of(job, "D-2", "repeatability")) == 25
    assert inputs_of(job, "D-2", "passes") == []
    assert inputs_of(job, "D-1", "repeatability") == []
    (of_passes,) = inputs_of(job, "D-1", "passes")
    assert of_passes.degrees_of_freedom == 2


def test_rounding_is_drawn_once_for_each_place(job):
    assert len(inputs_of(job, "D-1", "resolution")) == 12
    assert len(inputs_of(job, "D-4", "resolution")) == 8


def test_the_density_has_four_parts_and_the_formula_two_limits(job):
    parts = inputs_of(job, "D-1", "density")
    limits = [one for one in parts if isinstance(one, Rectangular)]
    assert (len(parts), len(limits)) == (5, 2)
    combined = math.hypot(*(one.standard_uncertainty for one in parts))
    row, lines = row_of(job, "D-1"), {one.name: one for one in job.flows.contributions}
    borne = np.linalg.norm(lines["density"].parts[row]) / abs(job.flows.by_density[row])
    assert combined == pytest.approx(borne, rel=1e-12)


def test_an_error_of_the_manometer_reaches_the_flow_through_the_static_pressure_too(job):
    """DM-1 shows 240 Pa of 97.76 kPa: where it is high by u, the density is by u/p, and the velocity less by half of that."""
    row = row_of(job, "D-1")
    reading = one_reading(job.readings, row)
    alone = replace(reading, reference_in_air=0.0)
    up = Errors(1, {("reference", 0): np.array([1.0])})
    u_static = 0.5 * np.interp(240, [100.3, 401.1], [0.6, 1.6])
    assert reading.flow(up) / alone.flow(up) == pytest.approx([1 - u_static / 97741 / 2], rel=1e-7)


def test_a_method_found_from_pairs_has_their_degrees_of_freedom(job):
    (of_method,) = inputs_of(job, "S-1", "method")
    assert of_method == StudentT(0.0, 0.025, 23.0)


# --- where the model bends -------------------------------------------------------------------------------------------------------


def test_a_pressure_that_is_hardly_above_zero_makes_a_velocity_that_is_lower_in_the_mean(known):
    """The root bends: E(v)/v = 1 - (u/dp)^2/8 to second order (GUM 5.1.2 NOTE)."""
    row = row_of(known, "S-4")
    readings = known.readings
    relative = 0.2
    mine = readings.points.reading == row
    u = np.where(mine, relative * readings.indication, readings.repeatability)
    both = simulated(known, "S-4", with_many_degrees_of_freedom(replace(readings, repeatability=u)))
    scatter = both.standard_uncertainty / math.sqrt(TRIALS)
    expected = known.flow.value[row] * (1 - relative**2 / 8)
    # The next term of the series is (15/128) (u/dp)^4.
    assert both.value == pytest.approx(expected, abs=5 * scatter + 3e-4 * expected)
    assert both.value < known.flow.value[row] - 5 * scatter


def test_points_without_pressure_have_the_mean_of_the_trials_and_no_less_uncertainty(job):
    """Before, the mean of the trials was above the value, since no error could give such a point a velocity."""
    row, both = row_of(job, "D-4"), simulated(job, "D-4")
    assert both.value == pytest.approx(job.flow.value[row], abs=0.02 * both.standard_uncertainty)
    assert job.flow.combined.standard_uncertainty[row] >= both.standard_uncertainty


def test_an_error_gives_air_that_seemed_to_stand_a_velocity(job):
    one = one_reading(job.readings, row_of(job, "D-4"))
    errors = Errors(3, {("stability", 0): np.array([-1.0, 0.0, 4.0])})
    _, *_, last = one.points(errors)
    assert last[0] == 0.0
    assert last[2] > 0.0


def pair(job, first, second):
    """Flow without the hood where the two readings of S-3 are wrong by so much [m3/s]."""
    given = Errors(len(first), {("repeatability", 0): np.array(first), ("repeatability", 1): np.array(second)})
    return one_reading(job.readings, row_of(job, "S-3")).flow(given)


def test_a_throttled_flow_above_the_open_one_makes_the_flow_lower_than_the_open_one(job):
    """What errors can make of a pair is no reason to leave the equation."""
    equal, above = pair(job, [0.0, 0.0], [0.0, 0.05])
    assert above < equal


def test_a_pair_that_cannot_be_has_the_largest_of_the_other_flows(job):
    alike, ordinary, without_bound = pair(job, [0.0, 0.0, 0.0], [-0.01, 0.0, -0.12])
    assert without_bound == alike
    assert alike > ordinary


# --- a factor found with the same calibration ------------------------------------------------------------------------------------


def with_found_factor(job, outlet, at):
    """The job as if the outlet's factor had been found with the calibration that the reading uses, at an indication."""
    readings, row = job.readings, row_of(job, outlet)
    curve = readings.curves[readings.calibration[row]]
    parts = max(one.parts for one in readings.curves)
    scatter, reference = np.zeros((readings.size, parts)), np.zeros(readings.size)
    scatter[row, : curve.parts] = curve.scatter_parts(at) / curve.value(at)
    reference[row] = curve.reference_uncertainty(at) / curve.value(at)
    return replace(readings, found_factors=FoundFactors(scatter, reference)), row


CALIBRATION = Errors(
    2,
    {
        ("scatter", 0): np.array([3.0, -2.0]),
        ("scatter", 1): np.array([-2.5, 3.0]),
        ("reference", 0): np.array([2.0, 3.0]),
    },
)


def test_no_error_of_the_calibration_reaches_a_flow_whose_factor_was_found_at_the_same_indication(job):
    readings, row = with_found_factor(job, "X-1", 11.20)
    flow = one_reading(readings, row).flow(CALIBRATION)
    assert flow == pytest.approx(job.flow.value[row], rel=1e-13)


def test_at_another_indication_some_of_it_does(job):
    readings, row = with_found_factor(job, "X-1", 5.0)
    flow = one_reading(readings, row).flow(CALIBRATION)
    left = np.abs(flow / job.flow.value[row] - 1)
    in_full = np.abs(one_reading(job.readings, row).flow(CALIBRATION) / job.flow.value[row] - 1)
    assert np.all(left > 1e-4)
    assert np.all(left < in_full)


# --- on the command line ---------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("outlet", ["S-1", "S-4", "R-1"])
def test_the_budget_can_be_asked_with_draws(records, job, outlet):
    number = job.measured[row_of(job, outlet)].reading.id
    ran = calib("budget", number, "--monte-carlo", "--digits", 1, "--json", records=records)
    assert ran.status == 0, ran.err
    document = ran.document
    assert document["monte_carlo"]["stabilised"]
    assert document["monte_carlo"]["value"] == pytest.approx(document["flow"]["value"], rel=2e-3)
