"""What is said of a velocity profile. Three quarters of the pressures above a tenth: common practice, no source."""

import math
from functools import partial

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.airflow.profile import judge_profile
from calib.airflow.traverse import (
    EQUAL_AREA,
    LOG_LINEAR,
    LOG_TCHEBYCHEFF,
    RECTANGULAR,
    ROUND,
    Section,
    traverse,
)
from calib.errors import CalibError

GRID = traverse(Section(RECTANGULAR, 1.0, 0.5), EQUAL_AREA, 4, 3)
SIXTEEN = traverse(Section(RECTANGULAR, 1.0, 1.0), EQUAL_AREA, 4, 4)
PIPE = traverse(Section(ROUND, 0.4, 0.4), LOG_TCHEBYCHEFF, 2, 10)
judge = partial(judge_profile, nonpositive=0)


def of(law, points=GRID):
    """Velocities by a law of the place."""
    return np.array([law(one.x, one.y) for one in points])


def test_in_an_even_profile_nothing_stands_out():
    profile = judge(GRID, np.full(12, 4.0))
    assert (profile.low_share, profile.skew_across, profile.skew_up, profile.nonpositive) == (0.0, 0.0, 0.0, 0)
    assert profile.peak_ratio == pytest.approx(1.0)
    assert profile.findings == ()


def test_a_developed_profile_in_a_pipe_is_good():
    # Power 1/7 of the distance from the wall.
    velocity = of(lambda x, y: 10 * (1 - math.hypot(x - 0.2, y - 0.2) / 0.2) ** (1 / 7), PIPE)
    profile = judge(PIPE, velocity)
    assert profile.findings == ()
    assert profile.skew_across == pytest.approx(0, abs=1e-12)
    assert profile.peak_ratio == pytest.approx(velocity.max() / velocity.mean())


def test_a_quarter_of_low_pressures_is_let_be_and_more_is_found():
    # 12 points: with 3 below 0.316 of the largest, 25 %; with 4, a third.
    velocity = np.full(12, 4.0)
    velocity[[0, 5, 10]] = 1.2
    assert judge(GRID, velocity).low_share == pytest.approx(0.25)
    assert not any("tenth" in one for one in judge(GRID, velocity).findings)
    velocity[6] = 1.2
    assert judge(GRID, velocity).low_share == pytest.approx(1 / 3)
    assert any("33% of the velocity pressures are below a tenth" in one for one in judge(GRID, velocity).findings)


@pytest.mark.parametrize(("velocity", "share"), [(3.15, 1 / 12), (3.17, 0.0)])
def test_a_tenth_of_the_pressure_is_0_316_of_the_velocity(velocity, share):
    velocities = np.full(12, 10.0)
    velocities[3] = velocity
    assert judge(GRID, velocities).low_share == pytest.approx(share)


def test_a_faster_right_half_is_found_as_such():
    # Left 3 m/s, right 5 m/s: 2 of a mean of 4.
    profile = judge(GRID, of(lambda x, _: 5.0 if x > 0.5 else 3.0))
    assert profile.skew_across == pytest.approx(0.5)
    assert profile.skew_up == pytest.approx(0.0)
    assert profile.findings[0].startswith("the right half is faster than the other by 50% of the mean")
    assert len(profile.findings) == 1


def test_a_faster_lower_half_is_found_and_the_middle_line_belongs_to_neither():
    # Three points up each line: 6, 5, 4 m/s. Lower 6, upper 4, mean 5.
    profile = judge(GRID, of(lambda _, y: 6.0 - 6.0 * (y - 0.25 / 3)))
    assert profile.skew_up == pytest.approx(-0.4)
    assert "the lower half is faster" in profile.findings[0]


def test_a_faster_upper_or_left_half_is_found_as_such():
    # 6 against 4 of a mean of 5.
    upper = judge(GRID, of(lambda _, y: 5.0 + 6.0 * (y - 0.25)))
    assert upper.skew_up == pytest.approx(0.4)
    assert "the upper half is faster" in upper.findings[0]
    left = judge(GRID, of(lambda x, _: 6.0 if x < 0.5 else 4.0))
    assert left.skew_across == pytest.approx(-0.4)
    assert "the left half is faster than the other by 40%" in left.findings[0]


@pytest.mark.parametrize(("half", "found"), [(1.5, 0), (1.51, 1), (-1.5, 0), (-1.51, 1)])
def test_a_skew_of_three_tenths_is_let_be_and_more_is_found(half, found):
    # Sixteen points of equal weight, 10 m/s and half of the skew above or below it: 3 of 10 is the limit.
    profile = judge(SIXTEEN, of(lambda x, _: 10.0 + (half if x > 0.5 else -half), SIXTEEN))
    assert profile.skew_across == pytest.approx(2 * half / 10)
    assert len(profile.findings) == found


@pytest.mark.parametrize(("fast", "found"), [(3.0, 0), (3.01, 1)])
def test_a_peak_of_one_and_a_half_is_let_be_and_more_is_found(fast, found):
    # Every second point at 1 m/s: 3 over a mean of 2 is the limit.
    velocity = np.where(np.arange(16) % 2, fast, 1.0)
    velocity[4:8], velocity[12:] = velocity[4:8][::-1], velocity[12:][::-1]
    profile = judge(SIXTEEN, velocity)
    assert profile.peak_ratio == pytest.approx(2 * fast / (1 + fast))
    assert ["jet" in one for one in profile.findings] == [True] * found


def test_eight_of_thirty_low_pressures_are_more_than_a_quarter():
    points = traverse(Section(RECTANGULAR, 1.0, 0.5), EQUAL_AREA, 5, 6)
    velocity = np.full(30, 4.0)
    velocity[[0, 3, 7, 11, 16, 20, 24, 28]] = 1.2
    assert any("27% of the velocity pressures" in one for one in judge(points, velocity).findings)


def test_a_velocity_at_just_a_tenth_of_the_pressure_is_not_below_it():
    velocity = np.full(12, 10.0)
    velocity[3] = math.sqrt(0.1) * 10.0
    assert judge(GRID, velocity).low_share == 0.0


def test_a_slow_profile_is_judged_as_a_fast_one():
    profile = judge(GRID, np.full(12, 0.5))
    assert (profile.low_share, profile.skew_across, profile.skew_up, profile.nonpositive) == (0.0, 0.0, 0.0, 0)
    assert profile.peak_ratio == pytest.approx(1.0)
    assert profile.findings == ()


def test_a_slight_skew_is_let_be():
    # 25 % of the mean.
    assert judge(GRID, of(lambda x, _: 4.5 if x > 0.5 else 3.5)).findings == ()


@given(st.floats(0.0, 0.9))
def test_turning_the_duct_round_turns_the_skew(slope):
    one = judge(GRID, of(lambda x, y: 5 * (1 + slope * (x - 0.5) + 0.2 * slope * y)))
    other = judge(GRID, of(lambda x, y: 5 * (1 + slope * (0.5 - x) + 0.2 * slope * y)))
    assert one.skew_across == pytest.approx(-other.skew_across)
    assert one.skew_up == pytest.approx(other.skew_up)


def test_weights_enter_the_halves():
    points = traverse(Section(RECTANGULAR, 1.0, 1.0), LOG_LINEAR, 4, 7)
    # The velocity is 1 on the outer lines and 3 on the inner: each line has the weight 1/4, whatever its number of points.
    profile = judge(points, of(lambda x, _: 3.0 if 0.2 < x < 0.8 else 1.0, points))
    assert profile.peak_ratio == pytest.approx(1.5)
    assert profile.skew_across == pytest.approx(0, abs=1e-12)
    # Line 4 alone at 3: right half 2, left half 1, mean 1.5.
    assert judge(points, of(lambda x, _: 3.0 if x > 0.8 else 1.0, points)).skew_across == pytest.approx(2 / 3)


def test_a_jet_is_found():
    velocity = np.full(12, 2.0)
    velocity[5] = 6.0
    profile = judge(GRID, velocity)
    # 6 over (11 x 2 + 6)/12.
    assert profile.peak_ratio == pytest.approx(6 / (28 / 12))
    assert any("2.57 times the mean" in one for one in profile.findings)


def test_points_without_a_pressure_are_counted_and_found():
    velocity = np.full(12, 4.0)
    velocity[[2, 9]] = 0.0
    profile = judge(GRID, velocity, nonpositive=2)
    assert profile.nonpositive == 2
    assert "2 of 12 points without a velocity pressure above 0" in profile.findings[0]
    assert judge(GRID, velocity).nonpositive == 2


def test_a_pressure_that_was_not_positive_counts_though_a_velocity_stands_for_it():
    assert judge(GRID, np.full(12, 4.0), nonpositive=1).nonpositive == 1


@pytest.mark.parametrize("velocity", [0.0, -1.0])
def test_without_flow_there_is_no_skew_and_no_peak(velocity):
    profile = judge(GRID, np.full(12, velocity))
    assert (profile.skew_across, profile.skew_up, profile.peak_ratio) == (None, None, None)
    assert (profile.low_share, profile.nonpositive) == (1.0, 12)
    assert "there is no flow" in profile.findings[0]


def test_one_point_on_each_line_has_no_skew_up_nor_one_line_across():
    profile = judge(traverse(Section(RECTANGULAR, 1.0, 0.5), EQUAL_AREA, 4, 1), np.array([3.0, 4.0, 4.0, 5.0]))
    assert profile.skew_up is None
    assert profile.skew_across == pytest.approx(0.25)
    assert profile.findings == ()
    points = traverse(Section(RECTANGULAR, 1.0, 0.5), EQUAL_AREA, 1, 4)
    profile = judge(points, np.array([3.0, 4.0, 4.0, 5.0]))
    assert profile.skew_across is None
    # Upper half 4.5, lower half 3.5, mean 4 m/s.
    assert profile.skew_up == pytest.approx(0.25)


@pytest.mark.parametrize("velocity", [np.full(11, 4.0), np.full(13, 4.0), np.array([4.0] * 11 + [math.nan])])
def test_velocities_that_are_not_those_of_the_points_are_refused(velocity):
    with pytest.raises(CalibError):
        judge(GRID, velocity)
