"""What a fit says of itself, against its definitions worked out the long way, statsmodels and scipy."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.optimize import brentq
from scipy.special import ndtri
from scipy.stats import f as f_distribution
from scipy.stats import norm
from scipy.stats import t as student
from statsmodels.regression.linear_model import OLS

from calib.curves.diagnosis import Whitened, lack_of_fit, leave_one_out, leverage, outliers


def line(x, y, u=1.0, *, known=True):
    """A straight line fitted by numpy, whitened."""
    jacobian = np.column_stack((np.ones_like(x), x)) / u
    coefficients, *_ = np.linalg.lstsq(jacobian, y / u, rcond=None)
    return Whitened(jacobian, y / u - jacobian @ coefficients, known)


X = np.array([0.6, 1.2, 2.5, 4.0, 6.0, 9.0, 14.0])


def noise(seed, size=X.size):
    return np.random.default_rng(seed).normal(size=size)


def test_leverages_add_to_the_number_of_coefficients():
    assert leverage(line(X, noise(1))).sum() == pytest.approx(2.0)


@given(st.integers(0, 10_000))
def test_leave_one_out_is_what_fitting_without_the_point_gives(seed):
    y = noise(seed)
    found = leave_one_out(line(X, y))
    for k in range(X.size):
        rest = np.arange(X.size) != k
        slope, level = np.polyfit(X[rest], y[rest], 1)
        assert found[k] == pytest.approx(y[k] - level - slope * X[k], abs=1e-9)


def test_a_point_that_the_curve_goes_through_has_no_leave_one_out():
    x = np.array([0.0, 0.0, 1.0])  # the last point alone holds the slope
    assert np.isinf(leave_one_out(line(x, np.array([0.1, -0.1, 3.0])))[2])


@pytest.mark.parametrize("known", [True, False])
def test_a_point_far_off_the_others_is_named(known):
    y = 0.05 * noise(8)
    y[2] += 1.5
    assert outliers(line(X, y, 0.05, known=known)) == [2]


def test_lack_of_fit_needs_an_indication_that_was_repeated():
    assert lack_of_fit(X, line(X, noise(1))) is None


def test_lack_of_fit_is_seen_where_a_line_is_put_through_a_parabola():
    x = np.repeat(np.arange(5.0), 3)
    y = x**2 + 0.1 * noise(5, x.size)
    found = lack_of_fit(x, line(x, y, known=False))
    assert found.probability < 1e-6
    assert found.degrees_of_freedom == (3, 10)


# --- exactly at the limit --------------------------------------------------------------------------------------------------------


def one_off(degree, size, known):
    """Points on a polynomial but for noise, and the displacement of point 2 at which it is just named, by statsmodels and scipy."""
    x = X[:size] if size <= X.size else np.linspace(0.6, 14.0, size)
    design = np.vander(x, degree + 1, increasing=True)
    y = 0.02 * noise(11, size)
    off = np.eye(size)[2]

    def beyond(displacement):
        moved = OLS(y + displacement * off, design).fit()
        if known:
            residual = moved.resid[2] / np.sqrt(1 - moved.get_influence().hat_matrix_diag[2]) / 0.05
            return residual - norm.isf(0.05 / (2 * size))
        studentised = moved.get_influence().resid_studentized_external[2]
        return studentised - student.isf(0.05 / (2 * size), size - degree - 2)

    limit = brentq(beyond, 0.0, 1e3, xtol=1e-13, rtol=1e-14)

    def fit(displacement):
        jacobian, moved = design / 0.05, (y + displacement * off) / 0.05
        q, _ = np.linalg.qr(jacobian)
        return Whitened(jacobian, moved - q @ (q.T @ moved), known)

    return limit, fit


@pytest.mark.parametrize(
    ("degree", "size", "known"),
    [
        *(
            (degree, size, known)
            for known in (True, False)
            for degree, size in [(0, 5), (0, 3), (1, 7), (2, 7), (1, 12)]
        ),
        (1, 4, False),
    ],
)
def test_a_point_is_named_from_the_limit_of_bonferroni_on(degree, size, known):
    # scipy: normal and t at 1 - 0.05/(2n); statsmodels: residuals, of unknown scatter studentised without the point.
    limit, fit = one_off(degree, size, known)
    assert outliers(fit(limit * (1 - 1e-6))) == []
    assert outliers(fit(limit * (1 + 1e-6))) == [2]


def test_a_residual_stands_out_beyond_the_limit_not_at_it():
    """The curve is held by another point, so that no bit of the residual is lost on the way."""
    jacobian, limit = np.array([[1.0], [0.0], [0.0]]), ndtri(1 - 0.05 / (2 * 3))
    assert outliers(Whitened(jacobian, np.array([0.0, limit, 0.0]), scatter_known=True)) == []
    assert outliers(Whitened(jacobian, np.array([0.0, -np.nextafter(limit, 4.0), 0.0]), scatter_known=True)) == [1]


def test_of_a_curve_that_goes_through_every_point_none_stands_out():
    assert outliers(line(np.arange(5.0), np.zeros(5), known=False)) == []


@pytest.mark.parametrize("known", [True, False])
def test_no_point_is_named_where_too_few_are_left_to_judge_it_by(known):
    # Three points and a line leave one degree of freedom, which the point itself takes.
    assert outliers(line(np.array([0.0, 1.0, 3.0]), np.array([0.0, 50.0, 0.0]), known=known)) == []


def test_lack_of_fit_by_hand():
    # x = 1, 1, 2, 2, 3, 3; y = 1, 3, 2, 2, 4, 6: the line is y = 1.5 x, with means 2, 2, 5 against 1.5, 3, 4.5.
    x = np.array([1.0, 1.0, 2.0, 2.0, 3.0, 3.0])
    found = lack_of_fit(x, line(x, np.array([1.0, 3.0, 2.0, 2.0, 4.0, 6.0]), known=False))
    # Pure error 2 + 0 + 2 with 3 degrees of freedom, lack of fit 2 (0.25 + 1 + 0.25) with 1.
    assert found.f == pytest.approx(3.0 / (4.0 / 3.0), rel=1e-12)
    assert found.degrees_of_freedom == (1, 3)
    assert found.probability == pytest.approx(f_distribution.sf(2.25, 1, 3), rel=1e-12)


def test_lack_of_fit_by_hand_where_one_indication_was_repeated_once():
    # x = 0, 0, 1, 3; y = 0, 4, 5, 5: the line is y = 2.5 + x, with residuals -2.5, 1.5, 1.5, -0.5 (sum of squares 11).
    x = np.array([0.0, 0.0, 1.0, 3.0])
    found = lack_of_fit(x, line(x, np.array([0.0, 4.0, 5.0, 5.0]), known=False))
    # Pure error 4 + 4 with 1 degree of freedom, lack of fit 11 - 8 with 1; t of one degree: 2/pi atan(1/sqrt(F)).
    assert found.f == pytest.approx(3 / 8, rel=1e-12)
    assert found.degrees_of_freedom == (1, 1)
    assert found.probability == pytest.approx(2 / np.pi * np.arctan(np.sqrt(8 / 3)), rel=1e-12)


@pytest.mark.parametrize(
    ("x", "y"),
    [
        ((0.0, 0.0, 1.0, 1.0), (0.1, -0.1, 1.1, 0.9)),  # as many indications as coefficients: nothing can lack
        ((0.0, 0.0, 1.0, 2.0), (0.5, 0.5, 1.1, 0.9)),  # no pure error
    ],
)
def test_lack_of_fit_is_not_asked_without_both_kinds_of_error(x, y):
    x = np.array(x)
    assert lack_of_fit(x, line(x, np.array(y), known=False)) is None


# --- simulated --------------------------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("known", [True, False])
def test_points_that_scatter_as_they_should_are_rarely_named(known):
    named = sum(bool(outliers(line(X, noise(seed), known=known))) for seed in range(400))
    assert named <= 400 * 0.05 + 3 * np.sqrt(400 * 0.05 * 0.95)  # 5 % and three standard deviations of the count


def test_lack_of_fit_is_seldom_seen_where_the_line_is_right():
    x = np.repeat(np.arange(5.0), 3)
    seen = [lack_of_fit(x, line(x, noise(seed, x.size), known=False)).probability < 0.05 for seed in range(400)]
    assert np.mean(seen) == pytest.approx(0.05, abs=3 * np.sqrt(0.05 * 0.95 / 400))
