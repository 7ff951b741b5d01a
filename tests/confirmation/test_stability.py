"""Stability from history: recovers a drift or a random walk that is known, and its U covers the next change.

The expected values are those of the process that the histories are drawn from; tolerances are the Monte Carlo error of the draws.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.confirmation.history import Changes
from calib.confirmation.stability import FEWEST_INTERVALS, stability
from calib.uncertainty.coverage import coverage_factor

HISTORIES = 20_000
LENGTHS = np.array([0.9, 1.3, 0.7, 1.1])  # years
EACH = [LENGTHS[:3], LENGTHS, np.tile(LENGTHS, 3)]


def seen(change, years):
    """(m, p) changes: p histories side by side."""
    change = np.asarray(change, dtype=float)
    return Changes((), np.asarray(years, dtype=float), change.reshape(len(years), -1))


def walks(years, rate=0.2, generator=None):
    """Random walks of a standard deviation `rate` in a year."""
    generator = generator or np.random.default_rng(20260305)
    return generator.normal(size=(len(years), HISTORIES)) * rate * np.sqrt(years)[:, np.newaxis]


def scatter(years, sigma=0.1):
    """Changes between errors that do not drift at all, seen by calibrations that scatter."""
    errors = np.random.default_rng(20260306).normal(0.0, sigma, (len(years) + 1, HISTORIES))
    return np.diff(errors, axis=0)


@given(
    st.lists(st.floats(0.1, 4.0), min_size=FEWEST_INTERVALS, max_size=9),
    st.floats(-2.0, 2.0).filter(lambda b: abs(b) > 1e-6),
)
def test_a_steady_drift_is_recovered_whatever_the_intervals(years, b):
    found = stability(seen(b * np.array(years), years))
    mean = np.mean(years)
    assert found.per_interval[0] == pytest.approx(abs(b) * mean, rel=1e-12)
    assert found.uncertainty(3.0 * mean)[0] == pytest.approx(3.0 * abs(b) * mean, rel=1e-12)
    assert found.uncertainty(0.25 * mean)[0] >= 0.25 * abs(b) * mean


@pytest.mark.parametrize("years", EACH, ids=len)
def test_the_variance_of_a_random_walk_is_recovered(years):
    found = stability(seen(walks(years), years))
    expected = 0.2**2 * years.mean()
    monte_carlo = expected * np.sqrt(2.0 / len(years) / HISTORIES)
    assert np.mean(found.per_interval**2) == pytest.approx(expected, abs=4.0 * monte_carlo)
    # and before the mean interval has gone by it grows as the walk does
    half = found.uncertainty(years.mean() / 2.0)
    assert np.mean(half**2) == pytest.approx(expected / 2.0, abs=2.0 * monte_carlo)


def test_a_walk_with_a_drift_shows_both():
    years = np.tile(LENGTHS, 3)
    found = stability(seen(0.3 * years[:, np.newaxis] + walks(years), years))
    expected = 0.3**2 * years.mean() ** 2 + 0.2**2 * years.mean()
    assert np.mean(found.per_interval**2) == pytest.approx(expected, rel=0.01)


@pytest.mark.parametrize("years", EACH, ids=len)
def test_calibrations_that_scatter_are_borne_with_both_their_variances(years):
    even = np.ones(len(years))
    found = stability(seen(scatter(even), even))
    assert np.mean(found.per_interval**2) == pytest.approx(2.0 * 0.1**2, rel=0.02)


@pytest.mark.parametrize(("m", "expected"), [(3, 18 / 8), (4, 32 / 11), (12, 288 / 35)])
def test_the_degrees_of_freedom_of_so_many_intervals_are_2_m_squared_over_3_m_less_1(m, expected):
    # Of squares of m changes of variance 1, neighbours correlated by -1/2: Var = 2 [m + 2 (m - 1)/4] = 3 m - 1; nu = 2 m^2/Var.
    assert stability(seen(np.ones(m), np.ones(m))).degrees_of_freedom == pytest.approx([expected], rel=1e-14)


@pytest.mark.parametrize("m", [3, 4, 12])
def test_the_degrees_of_freedom_are_those_of_calibrations_that_scatter(m):
    """The relative variance of a sum of squares with nu degrees of freedom is 2/nu."""
    found = stability(seen(scatter(np.ones(m)), np.ones(m)))
    squares = found.per_interval**2
    assert 2.0 / (squares.var() / squares.mean() ** 2) == pytest.approx(found.degrees_of_freedom[0], rel=0.05)


@pytest.mark.parametrize("share", [0.2, 0.5, 1.0, 1.7])
@pytest.mark.parametrize("years", EACH, ids=len)
def test_expanded_uncertainty_covers_the_change_to_come_of_a_random_walk(years, share):
    found = stability(seen(walks(years), years))
    ahead = share * years.mean()
    to_come = np.random.default_rng(7).normal(0.0, 0.2 * np.sqrt(ahead), HISTORIES)
    covered = np.mean(np.abs(to_come) <= coverage_factor(found.degrees_of_freedom) * found.uncertainty(ahead))
    assert covered >= 0.9545 - 3.0 * np.sqrt(0.9545 * 0.0455 / HISTORIES)


@pytest.mark.parametrize("m", [3, 4, 12])
def test_expanded_uncertainty_covers_the_next_change_that_scattering_calibrations_show(m):
    every = scatter(np.ones(m + 1))
    found = stability(seen(every[:-1], np.ones(m)))
    covered = np.mean(np.abs(every[-1]) <= coverage_factor(found.degrees_of_freedom) * found.uncertainty(1.0))
    assert covered >= 0.9545 - 3.0 * np.sqrt(0.9545 * 0.0455 / HISTORIES)


def test_both_laws_of_growth_meet_at_the_mean_interval():
    found = stability(seen([0.1, 0.2, -0.1], [1.0, 1.0, 1.0]))
    s = found.per_interval[0]
    assert s == pytest.approx(np.sqrt(0.06 / 3.0))
    assert [found.uncertainty(t)[0] for t in (0.25, 1.0, 2.0)] == pytest.approx([s / 2.0, s, 2.0 * s])


def test_two_intervals_say_nothing():
    found = stability(seen([0.1, 0.2], [1.0, 1.0]))
    assert np.isnan([found.per_interval[0], found.degrees_of_freedom[0], found.uncertainty(1.0)[0]]).all()


def test_an_interval_unknown_at_one_indication_is_left_out_there():
    found = stability(seen([[0.1, 0.1], [0.2, np.nan], [0.1, 0.1], [0.3, 0.3]], [1.0, 2.0, 1.0, 1.0]))
    assert found.intervals.tolist() == [4.0, 3.0]
    assert found.mean_interval.tolist() == [1.25, 1.0]
    assert found.per_interval[1] == pytest.approx(np.sqrt((0.01 + 0.01 + 0.09) / 3.0))


def test_a_change_that_the_digits_hide_is_counted():
    assert stability(seen([0.0, 0.0, 0.0], [1.0, 1.0, 1.0]), least=0.004).uncertainty(1.0).tolist() == [0.004]
