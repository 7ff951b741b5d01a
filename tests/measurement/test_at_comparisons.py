"""Where along its calibration a reading bears the error of it: worked out by hand from hat functions."""

import numpy as np
import pytest

from calib.measurement.at_comparisons import at_comparisons, neighbours

FIRST, SECOND = np.array([1.0, 2.0, 4.0]), np.array([10.0, 30.0])
U = np.array([0.1, 0.3, 0.2, 1.0, 3.0])


def shares(x, calibration, borne=None, reading=None):
    """(reading, comparison) -> share, without those of nothing."""
    beside = neighbours([FIRST, SECOND], np.array(calibration), np.array(x))
    at = at_comparisons(
        beside, U, np.ones(len(x)) if borne is None else np.array(borne), None if reading is None else np.array(reading)
    )
    of_certificate = (range(3), range(3, 5))
    certificates = np.tile(calibration, 2).tolist()  # of the points to the left, and to the right
    assert all(place in of_certificate[one] for place, one in zip(at.comparison.tolist(), certificates, strict=True))
    found = {}
    for row, comparison, share in zip(at.result.tolist(), at.comparison.tolist(), at.share.tolist(), strict=True):
        if share:
            found[row, comparison] = found.get((row, comparison), 0.0) + share
    return found


@pytest.mark.parametrize(
    ("x", "calibration", "expected"),
    [
        (1.0, 0, {0: 1.0}),
        (4.0, 0, {2: 1.0}),
        (1.5, 0, {0: 0.25, 1: 0.75}),  # halfway: 0.5 x 0.1 and 0.5 x 0.3
        (3.5, 0, {1: 1 / 3, 2: 2 / 3}),  # 0.25 x 0.3 and 0.75 x 0.2
        (15.0, 1, {3: 0.5, 4: 0.5}),  # 0.75 x 1 and 0.25 x 3
        (0.3, 0, {0: 1.0}),
        (70.0, 1, {4: 1.0}),
    ],
)
def test_a_reading_bears_the_errors_of_the_comparisons_beside_it(x, calibration, expected):
    found = shares([2.0, x], [0, calibration])
    assert found == {(0, 1): 1.0} | {(1, comparison): pytest.approx(share) for comparison, share in expected.items()}


def test_of_a_traverse_each_point_counts_with_what_it_brings():
    """Points at 1 and 1.5, of which the second brings three times as much: 1 and 3 x (0.25, 0.75), of 4."""
    found = shares([1.0, 1.5, 30.0], [0, 0, 1], [0.5, 1.5, -2.0], [0, 0, 1])
    assert found == {(0, 0): pytest.approx(1.75 / 4), (0, 1): pytest.approx(2.25 / 4), (1, 4): 1.0}


def test_where_nothing_is_uncertain_the_nearness_counts():
    beside = neighbours([FIRST], np.array([0]), np.array([1.25]))
    at = at_comparisons(beside, np.zeros(3), np.zeros(1), None)
    assert at.share == pytest.approx([0.75, 0.25])
    of_points = at_comparisons(beside, np.zeros(3), np.zeros(1), np.array([0]))
    assert of_points.share.sum() == pytest.approx(1.0)


def test_of_points_that_bring_nothing_the_nearness_counts_for_each_alike():
    """Points at 1 and 1.5 of one reading: halves of (1, 0) and of (0.25, 0.75)."""
    found = shares([1.0, 1.5], [0, 0], [0.0, 0.0], [0, 0])
    assert found == {(0, 0): pytest.approx(0.625), (0, 1): pytest.approx(0.375)}


def test_what_little_the_points_bring_is_shared_as_more_would_be():
    found = shares([1.0, 1.5], [0, 0], [0.001, 0.003], [0, 0])
    assert found == {(0, 0): pytest.approx(1.75 / 4), (0, 1): pytest.approx(2.25 / 4)}


@pytest.mark.parametrize("x", [0.5, 4.0, 9.0])
def test_at_the_ends_and_beyond_a_comparison_counts_alone_and_no_other_is_named(x):
    beside = neighbours([FIRST], np.array([0]), np.array([x]))
    assert (beside.left.tolist(), beside.way.tolist()) == ([0 if x < 1 else 2], [0.0])
    assert beside.right.tolist() == [1 if x < 1 else 2]


def test_a_certificate_with_one_comparison_has_one_place():
    at = at_comparisons(neighbours([np.array([5.0])], np.array([0]), np.array([5.0])), np.ones(1), np.ones(1), None)
    assert (at.comparison.tolist(), at.share.sum()) == ([0, 0], 1.0)
