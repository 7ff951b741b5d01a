"""A method judged by pairs: against scipy.stats and statsmodels, against a famous example, and by laws.

Student's sleep data and their t test: W. S. Gosset ("Student"), Biometrika 6 (1908) 1; t = 4.062, p = 0.0028: class C, from memory,
recomputed. Grubbs' two-sided 5 % values: F. Grubbs, G. Beck, Technometrics 14 (1972) 847: class C, from memory, recomputed.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy import stats
from statsmodels.stats.weightstats import DescrStatsW

from calib.errors import CalibError
from calib.uncertainty.paired import (
    FEW,
    cautions_about,
    common_and_own,
    grubbs_limit,
    outlying_differences,
    paired,
    upper_factor,
)
from tests.reference import agrees

SLEEP = np.array([1.2, 2.4, 1.3, 1.3, 0.0, 1.0, 1.8, 0.8, 4.6, 1.4])
GRUBBS = [(4, "1.481"), (5, "1.715"), (6, "1.887"), (7, "2.020"), (8, "2.126"), (9, "2.215"), (10, "2.290")]
CUT = {8: "1"}  # 2.12665 is printed as 2.126, cut instead of rounded: a whole unit is allowed

several = st.integers(2, 20)
# Thousandths: two differences are the same or clearly apart.
differences = several.flatmap(lambda n: arrays(float, n, elements=st.integers(-300, 300).map(lambda k: k / 1000)))


def judged(d, explained=0.0):
    return paired(d, np.full(np.size(d), explained))


def test_students_sleep_data():
    found = judged(SLEEP)
    assert agrees(found.mean, "1.58")
    assert agrees(found.standard_deviation, "1.23")
    assert agrees(found.t, "4.0621")
    assert agrees(found.probability, "0.002833")


@pytest.mark.parametrize(("n", "printed"), GRUBBS)
def test_the_limits_of_grubbs(n, printed):
    assert agrees(grubbs_limit(n), printed, CUT.get(n, "0.5"))


def test_of_three_the_one_that_alone_differs_stands_out():
    """G = (2/3)/sqrt(1/3) = 1.1547, the most of three; the limit is 1.1543."""
    assert agrees(grubbs_limit(3), "1.1543")
    assert outlying_differences([0.0, 0.0, 1.0]) == (2,)


def test_the_ninth_sleeper_stands_out():
    assert outlying_differences(SLEEP) == (8,)


@given(differences)
def test_the_t_test_is_that_of_scipy(d):
    found = judged(d)
    if found.standard_deviation > 1e-9:
        known = stats.ttest_1samp(d, 0.0)
        assert found.t == pytest.approx(known.statistic, abs=1e-9)
        assert found.probability == pytest.approx(known.pvalue, abs=1e-12)


def test_the_t_test_is_that_of_statsmodels():
    t, p, degrees = DescrStatsW(SLEEP).ttest_mean(0.0)
    found = judged(SLEEP)
    assert (found.t, found.probability, found.count - 1) == pytest.approx((t, p, degrees))


@given(differences)
def test_the_root_mean_square_holds_the_bias_and_the_scatter(d):
    found, n = judged(d), d.size
    parts = found.mean**2 + found.standard_deviation**2 * (n - 1) / n
    assert found.root_mean_square**2 == pytest.approx(parts, abs=1e-15)
    assert found.root_mean_square >= abs(found.mean) * (1 - 1e-12)


@given(differences, st.sampled_from([-1.0, 1e-3, 7.0]))
def test_the_scale_of_the_differences_is_the_scale_of_the_result(d, scale):
    one, other = judged(d), judged(d * scale)
    assert other.mean == pytest.approx(one.mean * scale, abs=1e-12)
    assert other.upper_limit == pytest.approx(one.upper_limit * abs(scale), abs=1e-12)
    if one.standard_deviation > 1e-9:
        assert other.t == pytest.approx(one.t * np.sign(scale), abs=1e-9)


def test_a_bias_raises_the_uncertainty_though_the_scatter_is_small():
    found = judged([0.05, 0.05, 0.05, 0.05, 0.05, 0.05])
    assert found.standard_deviation == pytest.approx(0.0, abs=1e-15)
    assert found.root_mean_square == pytest.approx(0.05)


@pytest.mark.parametrize(("value", "t", "probability"), [(0.0, 0.0, 1.0), (0.25, np.inf, 0.0), (-0.25, -np.inf, 0.0)])
def test_differences_without_scatter_are_no_bias_or_a_certain_one(value, t, probability):
    found = judged([value, value, value, value])
    assert (found.t, found.probability) == (t, probability)


@pytest.mark.parametrize("n", [2, 4, 6, 10, 30])
def test_the_upper_limit_is_the_chi_squared_one(n):
    assert upper_factor(n) == pytest.approx(np.sqrt(n / stats.chi2.ppf(0.05, n)))


def covered(bias, n=4, trials=20000):
    """Fraction of comparisons whose upper limit is not below the true root mean square, for scatter 1."""
    drawn = np.random.default_rng(20260411).normal(bias, 1.0, (trials, n))
    limit = np.sqrt(np.mean(drawn**2, axis=1)) * upper_factor(n)
    return np.mean(limit >= np.hypot(bias, 1.0))


def test_the_upper_limit_covers_in_95_of_100_comparisons():
    assert covered(0.0) == pytest.approx(0.95, abs=4 * np.sqrt(0.95 * 0.05 / 20000))


@pytest.mark.parametrize("bias", [0.5, 1.0, 3.0])
def test_with_a_bias_the_upper_limit_errs_on_the_high_side(bias):
    assert covered(bias) > 0.95


def test_what_the_instruments_explain_is_a_root_mean_square_too():
    found = paired([0.05, -0.05], [0.03, 0.04])
    assert found.explained == pytest.approx(0.05 / 2**0.5)
    # 0.05^2 less half of 0.05^2.
    assert found.unexplained == pytest.approx(0.05 / 2**0.5)


def test_instruments_that_explain_more_than_there_is_leave_nothing():
    found = judged([0.01, -0.01, 0.01, -0.01, 0.01, -0.01], explained=0.02)
    assert found.unexplained == 0.0
    (caution,) = cautions_about(found)
    assert "2 %" in caution
    assert "do not show the method's own uncertainty" in caution


def test_instruments_that_explain_just_what_there_is_leave_nothing_of_the_method():
    (caution,) = cautions_about(judged([0.01, -0.01, 0.01, -0.01, 0.01, -0.01], explained=0.01))
    assert "the instruments alone explain 1 %, no less than the root mean square of 1 %" in caution


def test_few_pairs_are_cautioned_with_what_they_may_hide():
    (caution,) = cautions_about(judged([0.02, -0.01, 0.015, -0.02]))
    assert caution.startswith("4 pairs tell little")
    # rms 1.68 %; chi-squared of 4 leaves 5 % below 0.711 (tables): 1.68 sqrt(4/0.711) = 3.98 %.
    assert "1.68 %" in caution
    assert "3.98 %" in caution
    assert "judgement" in caution


def test_enough_sound_pairs_ask_for_no_caution():
    assert cautions_about(judged([0.02, -0.01, 0.015, -0.02, 0.01, -0.012])) == ()
    assert FEW == 6


def test_a_bias_that_scatter_does_not_explain_is_cautioned():
    (caution,) = cautions_about(judged([0.031, 0.028, 0.03, 0.033, 0.027, 0.031]))
    assert "+3 %" in caution


def test_a_pair_that_stands_out_is_named_and_kept():
    d = [0.01, -0.012, 0.004, -0.007, 0.002, 0.46, -0.003, 0.009]
    found = judged(d)
    assert found.outliers == (5,)
    assert found.count == 8
    assert any("pair 6 (+46 %)" in caution for caution in cautions_about(found))


def test_two_pairs_that_stand_out_are_both_named():
    d = [0.01, -0.012, 0.004, -0.007, 0.002, 0.46, -0.003, 0.009, 0.001, -0.9, 0.006]
    assert outlying_differences(d) == (5, 9)


def test_chance_rarely_names_an_outlier():
    drawn = np.random.default_rng(5).normal(size=(2000, 8))
    named = np.mean([bool(outlying_differences(one)) for one in drawn])
    assert named == pytest.approx(0.05, abs=4 * np.sqrt(0.05 * 0.95 / 2000))


@pytest.mark.parametrize("d", [[0.3, 0.3], [0.3, -0.3], [0.1, 0.1, 0.1], [0.25, 0.25, 0.25, 0.25]])
def test_two_pairs_or_equal_ones_have_no_outlier(d):
    assert outlying_differences(d) == ()


@pytest.mark.parametrize("d", [[], [0.02]])
def test_a_method_is_judged_by_two_pairs_at_least(d):
    with pytest.raises(CalibError, match="at least 2"):
        judged(d)


def test_each_pair_wants_what_the_instruments_explain():
    with pytest.raises(CalibError, match="one u for each pair"):
        paired([0.1, 0.2], [0.01])
    with pytest.raises(CalibError, match="one u for each pair"):
        paired([[0.1, 0.2], [0.3, 0.4]], np.zeros((2, 2)))


@pytest.mark.parametrize(("d", "u"), [(np.nan, 0.0), (0.1, np.inf), (0.1, -0.01)])
def test_a_pair_without_sound_numbers_is_named(d, u):
    with pytest.raises(CalibError, match="pair 2"):
        paired([0.1, d], [0.01, u])


# --- what readings by a method share, and what each has by itself ----------------------------------------------------------------

D = np.array([0.04, 0.02, 0.03, -0.01, 0.01, 0.05, 0.07, 0.06])
JOBS = np.array([7, 7, 7, 2, 2, 5, 5, 5])
NOTHING = np.zeros(8)


def test_the_two_parts_are_told_apart_by_jobs():
    """Means 0.03, 0, 0.06: s_b^2 = 9e-4. Squares within: 2e-4 + 2e-4 + 2e-4 on 5 degrees of freedom: s_w^2 = 1.2e-4."""
    found = common_and_own(D, JOBS, np.full(8, 0.004), np.full(8, 0.01))
    assert (found.mean, found.jobs, found.own_degrees_of_freedom) == (pytest.approx(0.03), 3, 5)
    assert found.own == pytest.approx(math.sqrt(1.2e-4 - 0.004**2))
    assert found.corrected == pytest.approx(math.sqrt(9e-4 * 4 / 3 + 1e-4))
    assert found.common == pytest.approx(math.sqrt(9e-4 + 9e-4 * 4 / 3 + 1e-4))
    # GUM G.4.1: the scatter of the jobs alone has an end of degrees of freedom.
    assert found.common_degrees_of_freedom == pytest.approx((22e-4 / 12e-4) ** 2 * 2)


def test_the_variances_are_those_of_an_analysis_of_variance():
    """F of one-way ANOVA is n s_b^2/s_w^2 for jobs of n pairs each (GUM H.5.2.3); scipy.stats.f_oneway."""
    jobs = np.random.default_rng(5).normal(0.0, 0.02, (4, 5)) + np.array([[0.01], [-0.02], [0.03], [0.0]])
    found = common_and_own(jobs.ravel(), np.repeat(np.arange(4), 5), np.zeros(20), np.zeros(20))
    of_jobs = found.corrected**2 / (1 + 1 / 4)
    assert 5 * of_jobs / found.own**2 == pytest.approx(stats.f_oneway(*jobs).statistic, rel=1e-9)


def test_one_job_tells_how_its_pairs_scatter_and_no_more():
    found = common_and_own(D[:3], JOBS[:3], NOTHING[:3], np.full(3, 0.01))
    assert (found.own, found.own_degrees_of_freedom, found.jobs) == (pytest.approx(0.01), 2, 1)
    assert found.corrected == pytest.approx(math.sqrt(1e-4 / 3 + 1e-4))
    assert found.common == pytest.approx(math.sqrt(9e-4 + 1e-4 / 3 + 1e-4))


def test_what_the_budgets_explain_leaves_no_more_than_nothing():
    assert common_and_own(D, JOBS, np.full(8, 0.05), NOTHING).own == 0.0


@pytest.mark.parametrize(
    ("d", "jobs", "said"),
    [
        (D[:3], np.array([1, 2, 3]), "add a second pair in a job"),
        (D, JOBS[:7], "give the job of each pair"),
        (D[:1], JOBS[:1], "at least 2"),
    ],
)
def test_pairs_that_cannot_tell_the_parts_apart_are_refused(d, jobs, said):
    with pytest.raises(CalibError, match=said):
        common_and_own(d, jobs, np.zeros(d.size), np.zeros(d.size))
