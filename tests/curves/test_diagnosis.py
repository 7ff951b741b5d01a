"""What a fit says of itself, against its definitions worked out the long way."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

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


@pytest.mark.parametrize("known", [True, False])
def test_points_that_scatter_as_they_should_are_rarely_named(known):
    named = sum(bool(outliers(line(X, noise(seed), known=known))) for seed in range(400))
    assert named <= 400 * 0.05 + 3 * np.sqrt(400 * 0.05 * 0.95)  # 5 % and three standard deviations of the count


def test_lack_of_fit_needs_an_indication_that_was_repeated():
    assert lack_of_fit(X, line(X, noise(1))) is None


def test_lack_of_fit_is_seen_where_a_line_is_put_through_a_parabola():
    x = np.repeat(np.arange(5.0), 3)
    y = x**2 + 0.1 * noise(5, x.size)
    found = lack_of_fit(x, line(x, y, known=False))
    assert found.probability < 1e-6
    assert found.degrees_of_freedom == (3, 10)


def test_lack_of_fit_is_seldom_seen_where_the_line_is_right():
    x = np.repeat(np.arange(5.0), 3)
    seen = [lack_of_fit(x, line(x, noise(seed, x.size), known=False)).probability < 0.05 for seed in range(400)]
    assert np.mean(seen) == pytest.approx(0.05, abs=3 * np.sqrt(0.05 * 0.95 / 400))
