"""Joint distributions (JCGM 101:2008, 6.4.8; JCGM 102:2011, 5.3.2): covariances drawn, singular ones included.

Statistics of a sample are held to six of their own standard deviations.
"""

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy import linalg, stats

from calib.errors import CalibError
from calib.uncertainty.joint_distributions import MultivariateNormal, MultivariateT, _square_root

SAMPLE = 20_000
seeds = st.integers(0, 2**32)
entries = st.integers(-30, 30).map(lambda n: n / 10)


@st.composite
def covariances(draw, *, rank=None):
    """A A^T of up to four quantities in units that differ by powers of ten; singular where A has fewer columns."""
    size = draw(st.integers(1, 4))
    columns = rank or draw(st.integers(1, 5))
    a = np.array(draw(st.lists(entries, min_size=size * columns, max_size=size * columns))).reshape(size, columns)
    units = 10.0 ** np.array(draw(st.lists(st.integers(-6, 6), min_size=size, max_size=size)))
    return (a @ a.T) * np.outer(units, units)


def draw(distribution, seed, size=SAMPLE):
    return distribution.draw(np.random.default_rng(seed), size)


def scatter_of_covariance(matrix, excess=0.0):
    """Standard deviation of each sample covariance: sqrt((V_ii V_jj + V_ij^2)/n), more where the tails are heavier."""
    variances = np.diag(matrix)
    return np.sqrt((1 + excess) * (np.outer(variances, variances) + matrix**2) / SAMPLE) + 1e-12 * np.abs(matrix).max()


@given(covariances(), seeds)
def test_a_normal_sample_has_the_stated_covariance_and_means(matrix, seed):
    means = np.arange(len(matrix)) * np.sqrt(np.diag(matrix))
    drawn = draw(MultivariateNormal(means, matrix), seed)
    assert np.all(np.abs(np.atleast_2d(np.cov(drawn)) - matrix) <= 6 * scatter_of_covariance(matrix))
    assert np.all(np.abs(drawn.mean(axis=1) - means) <= 6 * np.sqrt(np.diag(matrix) / SAMPLE) + 1e-12)


@given(covariances(), seeds)
def test_a_sample_of_t_has_the_scale_matrix_widened_by_its_degrees_of_freedom(matrix, seed):
    expected = matrix * 20 / 18
    drawn = draw(MultivariateT(np.zeros(len(matrix)), matrix, 20.0), seed)
    assert np.all(np.abs(np.atleast_2d(np.cov(drawn)) - expected) <= 6 * scatter_of_covariance(expected, excess=1.0))


@given(covariances(rank=1), seeds)
def test_quantities_of_a_covariance_of_rank_one_are_proportional_to_one_another(matrix, seed):
    drawn = draw(MultivariateNormal(np.zeros(len(matrix)), matrix), seed, 100)
    u = np.sqrt(np.diag(matrix))
    largest = np.argmax(u)
    if u[largest] > 0:
        ratios = matrix[largest] / u[largest] ** 2
        assert np.all(np.abs(drawn - ratios[:, np.newaxis] * drawn[largest]) <= 1e-6 * u[:, np.newaxis])


CORRELATED = np.array([[4.0, 0.6, -0.5], [0.6, 0.25, 0.1], [-0.5, 0.1, 2.25]])
MEANS = np.array([3.0, -7.0, 0.4])


def rooted(standard):
    """Standard draws times the symmetric root of the correlations and the standard uncertainties 2, 0.5 and 1.5."""
    u = np.array([2.0, 0.5, 1.5])
    return u[:, np.newaxis] * (linalg.sqrtm(CORRELATED / np.outer(u, u)) @ standard)


def test_a_normal_draw_is_the_means_and_the_root_of_the_covariance_times_standard_draws():
    # 6.4.8.4; the root by scipy, which takes it by Schur's triangles and not by eigenvalues.
    standard = np.random.default_rng(9).standard_normal((3, 7))
    expected = MEANS[:, np.newaxis] + rooted(standard)
    assert draw(MultivariateNormal(MEANS, CORRELATED), 9, 7) == pytest.approx(expected, rel=1e-10)


def test_a_draw_of_t_is_a_normal_one_wider_by_the_root_of_nu_over_chi_squared():
    # JCGM 102:2011, 5.3.2.4, with nu = 4.5.
    generator = np.random.default_rng(9)
    standard, chi_squared = generator.standard_normal((3, 7)), generator.chisquare(4.5, 7)
    expected = MEANS[:, np.newaxis] + rooted(standard) * np.sqrt(4.5 / chi_squared)
    assert draw(MultivariateT(MEANS, CORRELATED, 4.5), 9, 7) == pytest.approx(expected, rel=1e-10)


def test_a_mean_and_a_standard_uncertainty_begin_just_above_one_and_two_degrees_of_freedom():
    assert np.isnan(MultivariateT(np.array([3.0]), np.eye(1), 0.95).mean).all()
    assert MultivariateT(np.array([3.0]), np.eye(1), 1.05).mean == pytest.approx([3.0])
    assert MultivariateT(np.zeros(1), np.eye(1), 1.95).standard_uncertainty == pytest.approx([math.inf])
    assert MultivariateT(np.zeros(1), np.eye(1), 2.05).standard_uncertainty == pytest.approx([math.sqrt(41.0)])


def test_quantities_without_uncertainty_stay_where_they_are():
    drawn = draw(MultivariateNormal(np.array([3.0, -1.0]), np.zeros((2, 2))), 1, 4)
    assert np.array_equal(drawn, [[3.0] * 4, [-1.0] * 4])


def test_each_quantity_of_a_joint_t_has_a_t_distribution_and_they_share_its_tails():
    drawn = draw(MultivariateT(np.array([1.0, 0.0]), np.diag([4.0, 1.0]), 3.0), 64)
    assert stats.kstest(drawn[0], stats.t(3, 1, 2).cdf).pvalue > 0.001
    # Uncorrelated, and yet far out together: the squares are correlated in rank, as independent ones would not be.
    assert stats.spearmanr((drawn[0] - 1) ** 2, drawn[1] ** 2).statistic > 0.1


def test_stated_uncertainties_are_the_roots_of_the_diagonal():
    assert MultivariateNormal(np.zeros(2), np.diag([4.0, 9.0])).standard_uncertainty == pytest.approx([2, 3])
    assert MultivariateT(np.zeros(2), np.diag([4.0, 9.0]), 4.0).standard_uncertainty == pytest.approx([8**0.5, 18**0.5])
    assert MultivariateT(np.zeros(2), np.diag([4.0, 0.0]), 2.0).standard_uncertainty == pytest.approx([math.inf, 0.0])


def test_a_joint_t_has_a_mean_above_one_degree_of_freedom():
    assert MultivariateT(np.array([3.0]), np.eye(1), 1.5).mean == pytest.approx([3.0])
    assert np.isnan(MultivariateT(np.array([3.0]), np.eye(1), 1.0).mean).all()


@pytest.mark.parametrize(
    "matrix",
    [
        [[1.0, 1.2], [1.2, 1.0]],
        [[1.0, 0.9, -0.9], [0.9, 1.0, 0.9], [-0.9, 0.9, 1.0]],
        [[-1.0, 0.0], [0.0, 1.0]],
        [[0.0, 0.5], [0.5, 1.0]],
        [[1e-12, 1.2e-3], [1.2e-3, 1e6]],
    ],
)
@pytest.mark.parametrize("make", [MultivariateNormal, lambda mean, matrix: MultivariateT(mean, matrix, 5.0)])
def test_a_matrix_that_is_not_positive_semi_definite_is_refused_with_the_next_step(matrix, make):
    with pytest.raises(CalibError, match=r"not positive semi-definite.*eigenvalue -.*look for a correlation"):
        make(np.zeros(len(matrix)), np.array(matrix))


@pytest.mark.parametrize(
    ("means", "matrix", "words"),
    [
        (np.zeros(2), np.eye(3), r"\(3, 3\)"),
        (np.zeros(0), np.zeros((0, 0)), r"\(0, 0\)"),
        (np.zeros((2, 1)), np.eye(2), r"\(2, 1\)"),
        (np.zeros(2), np.array([[1.0, 0.5], [0.4, 1.0]]), "not symmetric"),
        (np.zeros(2), np.array([[1.0, math.nan], [math.nan, 1.0]]), "finite"),
        (np.array([0.0, math.inf]), np.eye(2), "finite"),
    ],
)
def test_estimates_and_matrices_that_do_not_fit_are_refused(means, matrix, words):
    with pytest.raises(CalibError, match=words):
        MultivariateNormal(means, matrix)


def test_covariances_stated_in_two_places_may_differ_by_a_billionth_of_the_uncertainties():
    MultivariateNormal(np.zeros(2), np.array([[1.0, 0.0], [1e-9, 1.0]]))
    with pytest.raises(CalibError, match="not symmetric"):
        MultivariateNormal(np.zeros(2), np.array([[1.0, 0.0], [1.0001e-9, 1.0]]))


HALF_CORRELATED = np.array([[1.0, 0.5], [0.5, 1.0]])  # eigenvalues 0.5 and 1.5


def test_an_eigenvalue_up_to_n_times_what_rounding_leaves_is_0(monkeypatch):
    # The root of the larger alone: 1.5 on the diagonal of the plane, 0.75 in each place of its square.
    least = float(np.linalg.eigvalsh(HALF_CORRELATED)[0])
    assert least == pytest.approx(0.5, rel=1e-14)
    for limit, expected in ((least / 2, np.full((2, 2), 0.75)), (np.nextafter(least / 2, 0.0), HALF_CORRELATED)):
        monkeypatch.setattr("calib.uncertainty.joint_distributions._ZERO", limit)
        root = _square_root(np.zeros(2), HALF_CORRELATED)
        assert root @ root.T == pytest.approx(expected, rel=1e-14)


def test_an_eigenvalue_as_negative_as_rounding_explains_is_0(monkeypatch):
    matrix = np.array([[1.0, 1.25], [1.25, 1.0]])
    least = float(np.linalg.eigvalsh(matrix)[0])
    assert least == pytest.approx(-0.25, rel=1e-14)
    monkeypatch.setattr("calib.uncertainty.joint_distributions._NEGATIVE", least)
    root = _square_root(np.zeros(2), matrix)
    assert root @ root.T == pytest.approx(np.full((2, 2), 1.125), rel=1e-14)
    monkeypatch.setattr("calib.uncertainty.joint_distributions._NEGATIVE", np.nextafter(least, 0.0))
    with pytest.raises(CalibError, match=r"eigenvalue -0\.25"):
        _square_root(np.zeros(2), matrix)


@pytest.mark.parametrize("nu", [0.0, -1.0, math.inf, math.nan])
def test_degrees_of_freedom_must_be_above_zero_and_finite(nu):
    with pytest.raises(CalibError, match=str(nu)):
        MultivariateT(np.zeros(1), np.eye(1), nu)
