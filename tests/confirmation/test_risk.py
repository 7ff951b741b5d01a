"""Risks of wrong decisions (JCGM 106:2012, 7 to 9): against quadrature, Monte Carlo trials and laws.

The resistors of JCGM 106 stand in tests/published.
"""

import itertools
import math

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import integrate, stats

from calib.confirmation.conformity import ToleranceIntervals, conformity, probability_of_conformity
from calib.confirmation.risk import (
    accepted,
    capability_index,
    expected_wrong_decisions,
    global_risks,
    probability_above,
    process_of,
    specific_risks,
    uncertainty_over_tolerance,
)
from calib.confirmation.words import DECISION_RULES
from calib.errors import CalibError

INFINITE = math.inf
TOLERANCE = (0.9, 1.1)


def column(*values):
    return np.array(values, dtype=float)


def guarded(width, limits=TOLERANCE):
    return limits[0] + width, limits[1] - width


# Decisions and specific risks


def test_pass_and_conditional_pass_accept():
    words = np.array(["pass", "conditional pass", "conditional fail", "fail"])
    assert accepted(words).tolist() == [True, True, False, False]


@pytest.mark.parametrize("rule", DECISION_RULES)
def test_every_statement_of_every_rule_is_a_decision(rule):
    interval = ToleranceIntervals(np.full(7, 90.0), np.full(7, 110.0))
    words = conformity(column(80, 87, 91, 100, 109, 113, 120), np.full(7, 4.0), interval, rule)
    inside = [False, False, rule != "guarded", True, rule != "guarded", False, False]
    assert accepted(words).tolist() == inside


def test_other_words_are_no_statement():
    with pytest.raises(CalibError, match="'passed' is no statement"):
        accepted(np.array(["pass", "passed"]))


def test_a_result_bears_the_risk_of_the_decision_that_was_made():
    consumer, producer = specific_risks(column(0.97, 0.97, 0.2, 0.2), np.array([True, False, True, False]))
    assert consumer == pytest.approx([0.03, 0.0, 0.8, 0.0])
    assert producer == pytest.approx([0.0, 0.97, 0.0, 0.2])


def test_wrong_decisions_are_counted_by_their_risks():
    # 0.03 + 0.8 accepted wrongly, 0.97 + 0.2 rejected wrongly.
    wrong = expected_wrong_decisions(column(0.97, 0.97, 0.2, 0.2), np.array([True, False, True, False]))
    assert wrong == pytest.approx((0.83, 1.17))


@pytest.mark.parametrize("shared", [0.0, 0.02, 0.04])
def test_the_expected_wrong_decisions_are_right_however_the_errors_are_correlated(shared):
    # Twenty results with u = 0.05, of which `shared` is one error common to all of them.
    trials, u = 20000, 0.05
    values = np.linspace(0.8, 1.2, 20)
    generator = np.random.default_rng(106)
    own = generator.normal(0.0, math.sqrt(u**2 - shared**2), (trials, values.size))
    true = values + own + generator.normal(0.0, shared, (trials, 1))
    conforms = (true >= TOLERANCE[0]) & (true <= TOLERANCE[1])
    accepts = (values >= TOLERANCE[0]) & (values <= TOLERANCE[1])
    counts = np.stack([(accepts & ~conforms).sum(axis=1), (~accepts & conforms).sum(axis=1)])
    interval = ToleranceIntervals(np.full(20, TOLERANCE[0]), np.full(20, TOLERANCE[1]))
    expected = expected_wrong_decisions(probability_of_conformity(values, np.full(20, u), interval), accepts)
    standard_error = counts.std(axis=1) / math.sqrt(trials)
    assert np.all(np.abs(counts.mean(axis=1) - expected) < 4 * standard_error)


# One limit


@given(st.floats(-3.0, 3.0), st.floats(0.01, 2.0), st.sampled_from([1.0, 4.0, 30.0]))
def test_the_probability_of_a_surplus_is_that_of_students_t(value, u, degrees):
    found = probability_above(column(value), column(u), column(degrees), 0.0)
    assert found == pytest.approx([stats.t.cdf(value / u, degrees)], abs=1e-12)


@given(st.floats(-3.0, 3.0), st.floats(0.01, 2.0), st.floats(-1.0, 1.0))
def test_without_degrees_of_freedom_it_is_that_of_the_normal_distribution(value, u, limit):
    found = probability_above(column(value), column(u), None, limit)
    assert found == pytest.approx([stats.norm.cdf((value - limit) / u)], abs=1e-12)


@given(st.floats(-3.0, 3.0), st.sampled_from([0.0, 0.3]), st.sampled_from([3.0, INFINITE]))
def test_surplus_and_deficit_make_up_the_whole(value, u, degrees):
    surplus = probability_above(column(value), column(u), column(degrees), 0.0)
    deficit = probability_above(column(-value), column(u), column(degrees), 0.0)
    assert surplus + deficit == pytest.approx([1.0])


def test_a_net_flow_known_exactly_has_its_sign():
    u = np.zeros(3)
    assert probability_above(column(0.02, 0.0, -0.02), u, np.full(3, INFINITE), 0.0).tolist() == [1.0, 0.5, 0.0]


def test_each_result_has_its_limit():
    found = probability_above(column(1.0, 1.0), column(0.5, 0.0), None, column(1.0, 2.0))
    assert found.tolist() == [0.5, 0.0]


# Global risks


def by_quadrature(mean, u0, tolerance, acceptance, u_m):
    """R_C and R_P by integrating over the true value, as JCGM 106 writes them."""

    def accepts(true):
        below, above = ((limit - true) / u_m for limit in acceptance)
        return stats.norm.cdf(above) - stats.norm.cdf(below)

    def summed(chance, low, high):
        points = [limit + k * u_m for limit in acceptance if math.isfinite(limit) for k in (-6, -2, 0, 2, 6)]
        low, high = (min(max(end, mean - 10 * u0), mean + 10 * u0) for end in (low, high))
        edges = [low, *sorted(point for point in [*points, mean] if low < point < high), high]
        parts = [
            integrate.quad(lambda true: chance(true) * stats.norm.pdf(true, mean, u0), *ends, epsabs=1e-12)[0]
            for ends in itertools.pairwise(edges)
        ]
        return sum(parts)

    low, high = tolerance
    consumer = summed(accepts, -INFINITE, low) + summed(accepts, high, INFINITE)
    return consumer, summed(lambda true: 1.0 - accepts(true), low, high)


CASES = [
    (1.0, 0.06, TOLERANCE, TOLERANCE, 0.02),
    (1.03, 0.06, TOLERANCE, guarded(0.04), 0.02),
    (0.85, 0.05, TOLERANCE, guarded(0.03), 0.06),
    (1.0, 0.01, TOLERANCE, guarded(-0.05), 0.05),
    (1.1, 0.05, TOLERANCE, TOLERANCE, 0.05),  # the process on the limit itself
    (0.95, 0.08, (0.9, INFINITE), (0.93, INFINITE), 0.03),
    (0.95, 0.08, (-INFINITE, 1.0), (-INFINITE, 1.0), 0.03),
    (1.0, 0.1, (-INFINITE, 1.1), (0.95, 1.05), 0.001),
]


@pytest.mark.parametrize("case", CASES)
def test_the_global_risks_are_those_of_quadrature(case):
    found = global_risks(*case)
    assert (found.consumer, found.producer) == pytest.approx(by_quadrature(*case), rel=0, abs=1e-10)


@pytest.mark.parametrize("case", CASES)
def test_the_global_risks_are_those_of_monte_carlo_trials(case):
    mean, u0, tolerance, acceptance, u_m = case
    trials = 1_000_000
    generator = np.random.default_rng(9)
    true = generator.normal(mean, u0, trials)
    shown = true + generator.normal(0.0, u_m, trials)
    conforms = (true >= tolerance[0]) & (true <= tolerance[1])
    accepts = (shown >= acceptance[0]) & (shown <= acceptance[1])
    found = global_risks(*case)
    for risk, wrong in (
        (found.consumer, accepts & ~conforms),
        (found.producer, ~accepts & conforms),
        (found.conforming, conforms),
        (found.accepted, accepts),
    ):
        standard_error = math.sqrt(max(risk * (1 - risk), 1e-12) / trials)
        assert wrong.mean() == pytest.approx(risk, rel=0, abs=4 * standard_error + 1e-9)


def test_at_the_middle_of_one_limit_the_risks_are_an_angle():
    # Process and measurement equally wide, both centred on the one limit: each risk is arctan(u_m/u0)/(2 pi) = 1/8.
    found = global_risks(0.0, 0.1, (-INFINITE, 0.0), (-INFINITE, 0.0), 0.1)
    assert (found.consumer, found.producer) == pytest.approx((0.125, 0.125))


mean_ = st.floats(0.8, 1.2)
spread = st.floats(0.001, 0.2)
guard = st.floats(-0.05, 0.09)


@given(mean_, spread, guard, spread)
def test_the_four_probabilities_belong_together(mean, u0, w, u_m):
    found = global_risks(mean, u0, TOLERANCE, guarded(w), u_m)
    assert found.accepted - found.consumer == pytest.approx(found.conforming - found.producer, abs=1e-12)
    assert 0 <= found.consumer <= min(found.accepted, 1 - found.conforming) + 1e-12
    assert 0 <= found.producer <= min(found.conforming, 1 - found.accepted) + 1e-12


@given(mean_, spread, guard, spread, st.floats(0.0, 0.05))
def test_a_wider_guard_band_helps_the_consumer_at_the_producers_cost(mean, u0, w, u_m, wider):
    one, other = (global_risks(mean, u0, TOLERANCE, guarded(band), u_m) for band in (w, w + wider))
    assert other.consumer <= one.consumer + 1e-12
    assert other.producer >= one.producer - 1e-12


@given(mean_, spread, guard, spread)
def test_the_risks_are_the_same_seen_from_the_other_side(mean, u0, w, u_m):
    one, other = (global_risks(centre, u0, TOLERANCE, guarded(w), u_m) for centre in (mean, 2.0 - mean))
    assert (one.consumer, one.producer) == pytest.approx((other.consumer, other.producer), abs=1e-12)


@given(mean_, spread, guard, spread)
def test_the_unit_is_of_no_matter(mean, u0, w, u_m):
    one = global_risks(mean, u0, TOLERANCE, guarded(w), u_m)
    scaled = [tuple(64.0 * end for end in ends) for ends in (TOLERANCE, guarded(w))]
    other = global_risks(64.0 * mean, 64.0 * u0, *scaled, 64.0 * u_m)
    assert (other.consumer, other.producer) == pytest.approx((one.consumer, one.producer), abs=1e-12)


@given(mean_, spread)
def test_a_measurement_without_error_makes_no_wrong_decision_without_a_guard_band(mean, u0):
    found = global_risks(mean, u0, TOLERANCE, TOLERANCE, 0.0)
    assert (found.consumer, found.producer) == pytest.approx((0.0, 0.0), abs=1e-12)


@given(mean_, spread, st.floats(0.0, 0.09))
def test_a_measurement_without_error_rejects_what_lies_in_the_guard_band(mean, u0, w):
    found = global_risks(mean, u0, TOLERANCE, guarded(w), 0.0)
    assert found.consumer == pytest.approx(0.0, abs=1e-12)
    assert found.producer == pytest.approx(found.conforming - found.accepted, abs=1e-12)


@given(mean_, spread)
def test_a_process_without_spread_either_conforms_or_does_not(mean, u_m):
    assume(min(abs(mean - limit) for limit in TOLERANCE) > 1e-9)
    found = global_risks(mean, 0.0, TOLERANCE, TOLERANCE, u_m)
    conforms = TOLERANCE[0] < mean < TOLERANCE[1]
    inside = stats.norm.cdf(TOLERANCE[1], mean, u_m) - stats.norm.cdf(TOLERANCE[0], mean, u_m)
    assert found.conforming == conforms
    assert found.consumer == pytest.approx(0.0 if conforms else inside, abs=1e-12)
    assert found.producer == pytest.approx(1.0 - inside if conforms else 0.0, abs=1e-12)


@pytest.mark.parametrize("limit", TOLERANCE)
def test_a_limit_counts_as_inside(limit):
    found = global_risks(limit, 0.0, TOLERANCE, TOLERANCE, 0.0)
    assert (found.conforming, found.accepted, found.consumer, found.producer) == (1.0, 1.0, 0.0, 0.0)


def test_guard_bands_that_meet_accept_nothing():
    found = global_risks(1.0, 0.06, TOLERANCE, guarded(0.11), 0.05)
    assert (found.accepted, found.consumer) == (0.0, 0.0)
    assert found.producer == found.conforming > 0.9


def test_each_outlet_has_its_uncertainty_and_guard_band():
    u_m = column(0.01, 0.02, 0.05)
    acceptance = TOLERANCE[0] + 2 * u_m, TOLERANCE[1] - 2 * u_m
    together = global_risks(1.0, 0.06, TOLERANCE, acceptance, u_m)
    alone = [global_risks(1.0, 0.06, TOLERANCE, guarded(2 * u), u) for u in u_m]
    assert together.producer == pytest.approx([one.producer for one in alone])
    assert together.consumer.shape == (3,)


@pytest.mark.parametrize(
    ("mean", "u0", "u_m"), [(math.nan, 0.1, 0.1), (1.0, -0.1, 0.1), (1.0, INFINITE, 0.1), (1.0, 0.1, -0.1)]
)
def test_a_process_and_a_measurement_have_finite_spreads(mean, u0, u_m):
    with pytest.raises(CalibError, match="finite"):
        global_risks(mean, u0, TOLERANCE, TOLERANCE, u_m)


def test_a_tolerance_interval_of_one_value_is_in_order():
    found = global_risks(1.0, 0.1, (1.05, 1.05), TOLERANCE, 0.1)
    assert (found.conforming, found.producer) == (0.0, 0.0)
    assert found.consumer == found.accepted > 0.5


@pytest.mark.parametrize("limits", [(1.1, 0.9), (math.nan, 1.1)])
def test_a_tolerance_interval_has_its_limits_in_order(limits):
    with pytest.raises(CalibError, match=r"tolerance interval from (1\.1|nan) to"):
        global_risks(1.0, 0.1, limits, TOLERANCE, 0.1)


def test_the_first_of_many_that_is_wrong_is_named():
    with pytest.raises(CalibError, match=r"u_m -0\.2"):
        global_risks(1.0, 0.1, TOLERANCE, TOLERANCE, column(0.1, -0.2, -0.3))


def test_an_acceptance_interval_is_made_of_numbers():
    with pytest.raises(CalibError, match="acceptance interval"):
        global_risks(1.0, 0.1, TOLERANCE, (0.9, math.nan), 0.1)


# The process behind the results


def test_the_spread_of_the_process_is_what_the_measurement_leaves():
    # Variance 0.01 of 0.9, 1.0, 1.1; less 0.06^2 leaves 0.0064.
    assert process_of(column(0.9, 1.0, 1.1), np.full(3, 0.06)) == pytest.approx((1.0, 0.08))


def test_two_results_tell_of_a_process():
    """Variance (0.3^2)/2 of 0.9 and 1.2; less (0.1^2 + 0.05^2)/2."""
    found = process_of(column(0.9, 1.2), column(0.1, 0.05))
    assert found == pytest.approx((1.05, math.sqrt(0.045 - 0.00625)), rel=1e-12)


def test_a_measurement_that_explains_all_the_scatter_leaves_no_spread():
    assert process_of(column(0.9, 1.0, 1.1), np.full(3, 0.2)) == pytest.approx((1.0, 0.0))


def test_on_average_the_variance_of_the_process_comes_back():
    generator = np.random.default_rng(23)
    u = np.linspace(0.01, 0.04, 12)
    found = [process_of(generator.normal(1.02, np.hypot(0.06, u)), u) for _ in range(4000)]
    means, deviations = np.array(found).T
    for drawn, known in ((means, 1.02), (deviations**2, 0.06**2)):
        assert drawn.mean() == pytest.approx(known, rel=0, abs=4 * drawn.std() / math.sqrt(4000))


def test_an_error_that_all_results_share_leaves_the_spread_as_it_is():
    values, u = column(0.9, 1.0, 1.1), np.full(3, 0.06)
    assert process_of(values + 0.05, u)[1] == pytest.approx(process_of(values, u)[1])


def test_one_result_has_no_process():
    with pytest.raises(CalibError, match="at least 2"):
        process_of(column(1.0), column(0.02))


# What the measurement can tell


def test_the_capability_index_is_the_tolerance_over_four_u():
    interval = ToleranceIntervals(column(90.0, 90.0), column(110.0, 110.0))
    assert capability_index(interval, column(2.5, 0.0)).tolist() == [2.0, INFINITE]


def test_the_expanded_uncertainty_over_the_tolerance():
    interval = ToleranceIntervals(column(90.0, 100.0), column(110.0, 100.0))
    assert uncertainty_over_tolerance(column(5.0, 5.0), interval).tolist() == [0.5, INFINITE]


def test_of_a_narrow_tolerance_in_a_unit_of_its_own_the_uncertainty_is_as_large_a_share():
    """Half-widths 0.2 and 0.6."""
    interval = ToleranceIntervals(column(0.8, 0.4), column(1.2, 1.6))
    assert uncertainty_over_tolerance(column(0.05, 0.3), interval) == pytest.approx([0.25, 0.5], rel=1e-12)
    assert capability_index(interval, column(0.05, 0.3)) == pytest.approx([2.0, 1.0], rel=1e-12)


@given(st.floats(0.1, 20.0))
def test_with_k_2_the_one_is_the_inverse_of_the_other(u):
    interval = ToleranceIntervals(column(90.0), column(110.0))
    assert uncertainty_over_tolerance(2 * u, interval) * capability_index(interval, u) == pytest.approx([1.0])
