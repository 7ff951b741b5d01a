"""Reliability of a family: proportions against statsmodels, the exponential rate against a regression and its likelihood."""

import math

import mpmath
import numpy as np
import pytest
import statsmodels.api as sm
from hypothesis import assume, given
from hypothesis import strategies as st
from scipy import stats
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


# --- to the last digits that count -----------------------------------------------------------------------------------------------


@pytest.mark.parametrize(("passed", "count"), [(-1, 5), (6, 5)])
def test_more_than_all_and_fewer_than_none_are_no_proportion(passed, count):
    with pytest.raises(CalibError, match=f"{passed} of {count}"):
        proportion(passed, count)


def test_a_proportion_is_stated_with_95_percent():
    """(1 - p)^4 = 0.025 and p^4 = 0.025 for none and all of four."""
    none, all_of_them = proportion(0, 4), proportion(4, 4)
    assert (none.low, all_of_them.high) == (0.0, 1.0)
    assert none.high == pytest.approx(1.0 - 0.025**0.25, rel=1e-12)
    assert all_of_them.low == pytest.approx(0.025**0.25, rel=1e-12)


@pytest.mark.parametrize("months", [0.0, -1.0])
def test_an_interval_of_no_length_makes_no_rate(months):
    with pytest.raises(CalibError, match="longer than nothing"):
        exponential_rate(found((12.0, False), (months, True)))


def likelihood_ratio(seen, confidence):
    """Estimate and limits with 40 digits: the root of the score, and where ln L has fallen by half the quantile of chi^2."""
    passed, out = mpmath.fsum(t for t, ok in seen if ok), [t for t, ok in seen if not ok]

    def value(rate):
        return -rate * passed + mpmath.fsum(mpmath.log(-mpmath.expm1(-rate * t)) for t in out)

    def score(rate):
        return -passed + mpmath.fsum(t / mpmath.expm1(rate * t) for t in out)

    def root(of, low, high):
        return mpmath.findroot(of, (low, high), solver="anderson")

    with mpmath.workdps(40):
        best = root(score, mpmath.mpf("1e-4"), mpmath.mpf(2))
        # chi^2 of one degree of freedom is the square of a normal quantile, which is sqrt(2) times this.
        fallen = mpmath.erfinv(mpmath.mpf(confidence)) ** 2
        ends = [
            root(lambda rate: value(rate) - value(best) + fallen, *sorted((best, end)))
            for end in (best / 50, best * 20)
        ]
    return [float(each) for each in (best, *ends)]


@pytest.mark.parametrize("confidence", [0.95, 0.8])
def test_the_rate_and_its_limits_are_those_of_the_likelihood_worked_out_with_forty_digits(confidence):
    seen = [(11.5, True), (0.5, False), (13.0, False), (24.0, True), (25.5, True), (6.0, True), (37.0, False)]
    rate = exponential_rate(found(*seen), confidence)
    expected = likelihood_ratio(seen, confidence)
    assert [rate.estimate, rate.low, rate.high] == pytest.approx(expected, rel=1e-11)
    if confidence == 0.95:
        assert exponential_rate(found(*seen)) == rate
        shortest, longest = (-math.log(0.9) / end for end in (expected[2], expected[1]))
        assert rate.months(0.9) == pytest.approx((-math.log(0.9) / expected[0], shortest, longest), rel=1e-11)


def test_of_intervals_of_one_length_the_rate_is_the_logarithm_of_the_fraction_in_tolerance():
    """42 of 60 after 18 months; of few out of very many too, and of many out of few in tolerance."""
    for passed, count in ((42, 60), (1999, 2000), (1, 400)):
        rate = exponential_rate(found(*[(18.0, True)] * passed, *[(18.0, False)] * (count - passed)))
        assert rate.estimate == pytest.approx(-math.log(passed / count) / 18.0, rel=1e-12)
        assert rate.low < rate.estimate < rate.high


def test_where_all_were_out_of_tolerance_the_lower_limit_is_that_of_their_own_times():
    """Of one and the same time t: (1 - exp(-rate t))^n has fallen to exp(-chi^2/2), by n ln; of two times by mpmath."""
    fallen = float(mpmath.erfinv(mpmath.mpf("0.95")) ** 2)
    rate = exponential_rate(found(*[(9.0, False)] * 5))
    assert rate.low == pytest.approx(-math.log(-math.expm1(-fallen / 5)) / 9.0, rel=1e-11)
    rate = exponential_rate(found((9.0, False), (31.0, False)))
    root = mpmath.findroot(
        lambda x: mpmath.log(-mpmath.expm1(-9 * x)) + mpmath.log(-mpmath.expm1(-31 * x)) + fallen, 0.03
    )
    assert rate.low == pytest.approx(float(root), rel=1e-11)


def test_limits_of_a_rate_are_found_after_an_hour_too():
    """In months, some thousandths; half of the confidence, so that ln L falls by 0.2."""
    fallen = float(mpmath.erfinv(mpmath.mpf("0.5")) ** 2)
    rate = exponential_rate(found((0.001, False)), 0.5)
    assert rate.low == pytest.approx(-math.log(-math.expm1(-fallen)) / 0.001, rel=1e-11)
    seen = [(0.003, True), (0.001, False)]
    rate = exponential_rate(found(*seen))
    assert rate.low < rate.estimate < rate.high
    fallen = log_likelihood(rate.estimate, seen) - float(mpmath.erfinv(mpmath.mpf("0.95")) ** 2)
    assert [log_likelihood(end, seen) for end in (rate.low, rate.high)] == pytest.approx([fallen, fallen], rel=1e-11)


@pytest.mark.parametrize("failures", [0, 1, 7])
def test_the_highest_rate_is_chi_squared_over_twice_the_time(failures):
    expected = stats.chi2.ppf(0.9, 2 * failures + 2) / (2 * 410.0)
    assert highest_rate(failures, 410.0, 0.9) == pytest.approx(expected, rel=1e-12)


def test_none_out_of_tolerance_in_a_year_and_a_half_limits_the_rate_at_the_confidence_that_is_asked():
    assert exponential_rate(found((18.0, True)), 0.8).high == pytest.approx(-math.log(0.1) / 18.0, rel=1e-12)
    assert exponential_rate(found((0.5, True))).high == pytest.approx(-math.log(0.025) / 0.5, rel=1e-12)
