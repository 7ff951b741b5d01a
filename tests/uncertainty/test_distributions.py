"""Input distributions (JCGM 101:2008, 6.4): what they draw has the mean, standard deviation and shape they state.

Judge from outside: the distribution functions of scipy.stats; of the curvilinear trapezoid an average over half-widths.
Statistics of a sample are held to six of their own standard deviations.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import stats

from calib.errors import CalibError
from calib.uncertainty.distributions import (
    Arcsine,
    CurvilinearTrapezoidal,
    Normal,
    Rectangular,
    StudentT,
    Trapezoidal,
    Triangular,
)

SAMPLE = 20_000
means = st.floats(-1e3, 1e3)
above_zero = st.floats(1e-3, 1e3)
seeds = st.integers(0, 2**32)
fractions = st.floats(0.0, 1.0)


def curvilinear(x):
    """Distribution function of CTrap(-2, 2, 1): rectangular of half-width w, averaged over w from 1 to 3."""
    w = 1 + (np.arange(400)[:, np.newaxis] + 0.5) / 200
    return np.clip((x + w) / (2 * w), 0.0, 1.0).mean(axis=0)


SHAPES = [
    (Normal(1.0, 2.0), stats.norm(1, 2).cdf),
    (Rectangular(1.0, 2.0), stats.uniform(-1, 4).cdf),
    (Triangular(1.0, 2.0), stats.triang(0.5, -1, 4).cdf),
    (Trapezoidal(1.0, 2.0, 0.5), stats.trapezoid(0.25, 0.75, -1, 4).cdf),
    (Arcsine(1.0, 2.0), stats.arcsine(-1, 4).cdf),
    (StudentT(1.0, 2.0, 3.0), stats.t(3, 1, 2).cdf),
    (StudentT(1.0, 2.0, 1.0), stats.cauchy(1, 2).cdf),
    (CurvilinearTrapezoidal(0.0, 2.0, 1.0), curvilinear),
]


def name_of(case):
    return type(case).__name__ if not callable(case) else ""


def draw(distribution, seed, size=SAMPLE):
    return distribution.draw(np.random.default_rng(seed), size)


@st.composite
def distributions(draw):
    """Any distribution of one quantity that has a variance, and its fourth moment over the square of the second."""
    mean, width, part = draw(means), draw(above_zero), draw(fractions)
    nu = draw(st.floats(10.0, 100.0))
    return draw(
        st.sampled_from(
            [
                (Normal(mean, width), 3.0),
                (Rectangular(mean, width), 1.8),
                (CurvilinearTrapezoidal(mean, width, width * (0.001 + 0.99 * part)), 3.0),
                (Trapezoidal(mean, width, part), 2.4),
                (Triangular(mean, width), 2.4),
                (Arcsine(mean, width), 1.5),
                (StudentT(mean, width, nu), 3.0 + 6.0 / (nu - 4.0)),
            ]
        )
    )


@given(distributions(), seeds)
def test_the_mean_of_a_sample_is_the_stated_one(case, seed):
    distribution, _ = case
    scatter = distribution.standard_uncertainty / math.sqrt(SAMPLE)
    assert abs(draw(distribution, seed).mean() - distribution.mean) <= 6 * scatter


@given(distributions(), seeds)
def test_the_standard_deviation_of_a_sample_is_the_stated_uncertainty(case, seed):
    distribution, kurtosis = case
    relative_scatter = math.sqrt((kurtosis - 1) / (4 * SAMPLE))
    found = draw(distribution, seed).std(ddof=1)
    assert found == pytest.approx(distribution.standard_uncertainty, rel=6 * relative_scatter)


@given(distributions(), seeds)
def test_the_same_seed_draws_the_same(case, seed):
    assert np.array_equal(draw(case[0], seed, 5), draw(case[0], seed, 5))


@given(means, above_zero, fractions, seeds)
def test_what_is_known_by_limits_stays_within_them(mean, width, beta, seed):
    for distribution in (Rectangular, Triangular, Arcsine, lambda m, a: Trapezoidal(m, a, beta)):
        drawn = draw(distribution(mean, width), seed, 1000)
        assert np.all(np.abs(drawn - mean) <= width * (1 + 1e-9) + 1e-9)


@pytest.mark.parametrize(("distribution", "probability_below"), SHAPES, ids=name_of)
def test_a_sample_has_the_shape_of_its_distribution(distribution, probability_below):
    # Kolmogorov and Smirnov; the seed is fixed, so this cannot fail by chance another day.
    assert stats.kstest(draw(distribution, 64), probability_below).pvalue > 0.001


# The equations of 6.4 for drawing, from standard draws r (rectangular) and z (normal, t) in the order in which they are taken.
EQUATIONS = [
    (Normal(3.0, 0.7), lambda g: 3.0 + 0.7 * g.standard_normal(5)),
    (Rectangular(3.0, 0.7), lambda g: 2.3 + 1.4 * g.random(5)),
    (CurvilinearTrapezoidal(3.0, 0.7, 0.2), lambda g: 3.0 + (0.9 - 0.4 * g.random(5)) * (2.0 * g.random(5) - 1.0)),
    (Trapezoidal(3.0, 0.7, 0.4), lambda g: 2.3 + 0.7 * (1.4 * g.random(5) + 0.6 * g.random(5))),
    (Triangular(3.0, 0.7), lambda g: 2.3 + 0.7 * (g.random(5) + g.random(5))),
    (Arcsine(3.0, 0.7), lambda g: 3.0 + 0.7 * np.sin(2.0 * np.pi * g.random(5))),
    (StudentT(3.0, 0.7, 4.5), lambda g: 3.0 + 0.7 * g.standard_t(4.5, 5)),
]


@pytest.mark.parametrize(("distribution", "equation"), EQUATIONS, ids=name_of)
def test_a_draw_is_that_of_the_equation_of_its_clause(distribution, equation):
    assert draw(distribution, 11, 5) == pytest.approx(equation(np.random.default_rng(11)), rel=1e-13)


# By hand from the clauses named beside the classes.
VARIANCES = [
    (Normal(0, 3), 9),
    (Rectangular(0, 3), 3),
    (Triangular(0, 6), 6),
    (Arcsine(0, 4), 8),
    (Trapezoidal(0, 6, 0.5), 7.5),
    (Trapezoidal(0, 3, 1), 3),
    (Trapezoidal(0, 6, 0), 6),
    (CurvilinearTrapezoidal(0, 3, 1.5), 3.25),
    (StudentT(0, 2, 4), 8),
    (StudentT(0, 2, 2), math.inf),
]


@pytest.mark.parametrize(("distribution", "variance"), VARIANCES)
def test_variances_worked_by_hand(distribution, variance):
    assert distribution.standard_uncertainty**2 == pytest.approx(variance, rel=1e-12)


@pytest.mark.parametrize(("distribution", "variance"), [case for case in VARIANCES if type(case[0]) is not StudentT])
def test_a_million_draws_have_the_variance_worked_by_hand(distribution, variance):
    # Its own scatter is at most sqrt(2/10^6) = 0.0014.
    assert draw(distribution, 64, 1_000_000).var() == pytest.approx(variance, rel=0.004)


def test_a_t_distribution_without_a_mean_says_so():
    assert math.isnan(StudentT(3.0, 1.0, 1.0).mean)
    assert math.isnan(StudentT(3.0, 1.0, 0.95).mean)
    assert StudentT(3.0, 1.0, 1.05).mean == 3.0


def test_a_t_distribution_has_a_standard_uncertainty_above_two_degrees_of_freedom():
    # The root of nu/(nu - 2): of 2.05/0.05 it is that of 41.
    assert StudentT(3.0, 0.5, 1.95).standard_uncertainty == math.inf
    assert StudentT(3.0, 0.5, 2.05).standard_uncertainty == pytest.approx(0.5 * math.sqrt(41.0), rel=1e-12)


@pytest.mark.parametrize("wrong", [0.0, -0.2, math.nan, math.inf])
@pytest.mark.parametrize(
    "make",
    [
        lambda width: Normal(1.0, width),
        lambda width: Rectangular(1.0, width),
        lambda width: Triangular(1.0, width),
        lambda width: Arcsine(1.0, width),
        lambda width: Trapezoidal(1.0, width, 0.5),
        lambda width: CurvilinearTrapezoidal(1.0, width, 0.1),
        lambda width: CurvilinearTrapezoidal(1.0, 1.0, width),
        lambda width: StudentT(1.0, width, 5.0),
        lambda nu: StudentT(1.0, 1.0, nu),
    ],
)
def test_a_width_or_degrees_of_freedom_not_above_zero_are_refused_with_their_number(make, wrong):
    with pytest.raises(CalibError, match=str(wrong)):
        make(wrong)


@pytest.mark.parametrize(
    "make",
    [
        lambda mean: Normal(mean, 1.0),
        lambda mean: Rectangular(mean, 1.0),
        lambda mean: StudentT(mean, 1.0, 5.0),
    ],
)
def test_a_mean_that_is_not_finite_is_refused(make):
    with pytest.raises(CalibError, match="nan"):
        make(math.nan)


@pytest.mark.parametrize("beta", [-0.1, 1.1, math.nan])
def test_a_trapezoid_with_an_impossible_top_is_refused(beta):
    with pytest.raises(CalibError, match=str(beta)):
        Trapezoidal(0.0, 1.0, beta)


def test_limits_that_may_cross_are_refused_with_both_numbers():
    with pytest.raises(CalibError, match=r"0\.5.*0\.75"):
        CurvilinearTrapezoidal(0.0, 0.5, 0.75)
    with pytest.raises(CalibError, match=r"0\.5.*0\.5"):
        CurvilinearTrapezoidal(0.0, 0.5, 0.5)
