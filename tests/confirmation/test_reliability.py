"""Reliability of a family: proportions against statsmodels, the exponential rate against a regression and its likelihood."""

import math

import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import assume, given
from hypothesis import strategies as st
from statsmodels.stats.proportion import proportion_confint

from calib.confirmation.reliability import FoundInterval, exponential_rate, highest_rate, interval_for, proportion
from calib.errors import CalibError


def found(*answers):
    """Intervals from (months, in tolerance)."""
    return [FoundInterval("VA-1", f"C-{number}", months, ok) for number, (months, ok) in enumerate(answers)]


@given(st.integers(1, 60), st.data(), st.sampled_from([0.9, 0.95, 0.99]))
def test_limits_of_a_proportion_are_those_of_clopper_and_pearson(count, data, confidence):
    passed = data.draw(st.integers(0, count))
    expected = proportion_confint(passed, count, 1.0 - confidence, method="beta")
    seen = proportion(passed, count, confidence)
    assert (seen.low, seen.high) == pytest.approx(
        [0.0 if math.isnan(expected[0]) else expected[0], 1.0 if math.isnan(expected[1]) else expected[1]]
    )


def test_nothing_observed_is_no_proportion():
    with pytest.raises(CalibError, match="0 of 0"):
        proportion(0, 0)


answers = st.lists(st.tuples(st.floats(1.0, 48.0), st.booleans()), min_size=2, max_size=30)


@pytest.mark.parametrize("seed", range(8))
def test_the_rate_is_that_of_a_binomial_regression_with_complementary_log_log_link(seed):
    """P(out) = 1 - exp(-lambda t): ln(-ln(1 - P)) = ln lambda + ln t."""
    generator = np.random.default_rng(seed)
    months = generator.uniform(3.0, 36.0, 40)
    ok = generator.exponential(60.0, 40) > months
    family = sm.families.Binomial(sm.families.links.CLogLog())
    regression = sm.GLM(1.0 - ok, np.ones((ok.size, 1)), family=family, offset=np.log(months))
    fit = regression.fit(tol=1e-12, maxiter=200, start_params=[-4.0])
    assert exponential_rate(found(*zip(months, ok, strict=True))).estimate == pytest.approx(math.exp(fit.params[0]))


def log_likelihood(rate, seen):
    return sum(-rate * t if ok else math.log(-math.expm1(-rate * t)) for t, ok in seen)


@given(answers)
def test_at_its_limits_the_likelihood_has_fallen_by_half_the_quantile_of_chi_squared(seen):
    assume(any(ok for _, ok in seen) and not all(ok for _, ok in seen))
    rate = exponential_rate(found(*seen))
    for end in (rate.low, rate.high):
        assert 2.0 * (log_likelihood(rate.estimate, seen) - log_likelihood(end, seen)) == pytest.approx(
            3.8415, rel=1e-4
        )
    assert rate.low < rate.estimate < rate.high


def test_no_failure_leaves_an_upper_limit_only():
    rate = exponential_rate(found((12.0, True), (24.0, True), (24.0, True)))
    assert (rate.estimate, rate.low) == (0.0, 0.0)
    assert rate.high == pytest.approx(-math.log(0.025) / 60.0)
    assert rate.months(0.95)[0] == math.inf


def test_failures_alone_leave_a_lower_limit_only():
    seen = ((12.0, False), (12.0, False))
    rate = exponential_rate(found(*seen))
    assert (rate.estimate, rate.high) == (math.inf, math.inf)
    assert -2.0 * log_likelihood(rate.low, seen) == pytest.approx(3.8415, rel=1e-4)


def test_no_interval_makes_no_rate():
    with pytest.raises(CalibError, match="at least one interval"):
        exponential_rate([])


def test_limits_of_the_rate_hold_it_as_often_as_they_say():
    """Intervals of 6 to 24 months of instruments that leave the tolerance at a known rate; seen at calibrations only."""
    generator, known, trials = np.random.default_rng(3), 0.02, 500
    inside = 0
    for _ in range(trials):
        months = generator.choice([6.0, 12.0, 24.0], 60)
        ok = generator.exponential(1.0 / known, 60) > months
        rate = exponential_rate(found(*zip(months, ok, strict=True)))
        inside += rate.low <= known <= rate.high
    assert inside / trials == pytest.approx(0.95, abs=4.0 * math.sqrt(0.95 * 0.05 / trials))


@pytest.mark.parametrize(
    ("rate", "target", "months"), [(0.01, 0.95, 5.1293), (0.0, 0.95, math.inf), (math.inf, 0.95, 0.0)]
)
def test_an_interval_for_a_target(rate, target, months):
    assert interval_for(rate, target) == pytest.approx(months, rel=1e-4)


def test_without_a_failure_the_highest_rate_is_the_exponential_one():
    assert highest_rate(0, 60.0, 0.95) == pytest.approx(-math.log(0.05) / 60.0)
