"""What readings bear of the standards behind their calibrations, and at which comparisons, worked out number by number.

Source: JCGM 100:2008, 5.2.2 and F.1.2.3; between comparisons by hat functions of what is worth u there, and each reading keeps its
reference part.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from calib.measurement import Calibrations
from calib.measurement.at_comparisons import Neighbours
from calib.measurement.readings import StandardBehind
from calib.measurement.standards_behind import (
    REFERENCE_STANDARD,
    SCATTER,
    STABILITY,
    OfReadings,
    between_comparisons,
    reference_of,
)
from calib.uncertainty.sharing import common, not_known, not_known_of_a_change
from tests.arrays import correction, readings, single

# Comparisons 0 to 2 of a meter, 3 and 4 of another, 5 to 7 and 8 to 9 of two standards: indication, U/k.
NODES = (
    ((1.0, 0.02), (4.0, 0.05), (10.0, 0.16)),
    ((2.0, 0.03), (8.0, 0.08)),
    ((0.5, 0.01), (3.0, 0.02), (12.0, 0.07)),
    ((1.0, 0.015), (9.0, 0.04)),
)
U = [u for nodes in NODES for _, u in nodes]
FIRST = {2: 5, 3: 8}  # comparison of each standard
CORRELATION = np.array([[1.0, 0.3, 0.1], [0.3, 1.0, 0.2], [0.1, 0.2, 1.0]])
LABORATORY = np.array([3, 2, 1, 0])  # of each calibration

# Shares of each standard at the comparisons of the meters: its reference part at its own comparisons, its scatter, its change.
# At comparison 2 nothing is left beside: 0.6^2 + 0.8^2 and a rounding error.
BEHIND_FIRST = StandardBehind(
    2,
    np.array([[0.3, 0.1, 0.0], [0.05, 0.2, 0.15], [0.0, 0.2, 0.4]]),
    np.array([[0.2, -0.1], [0.3, 0.25], [0.0, 0.8 + 1e-12]]),
    np.array([[0.1, 0.05, 0.0], [0.0, 0.12, 0.08], [0.0, 0.0, 0.0]]),
)
BEHIND_SECOND = (
    StandardBehind(3, np.array([[0.2, 0.3], [0.1, 0.5]]), np.array([[0.15, 0.1], [-0.2, 0.1]]), np.array([[0.1, 0.1], [0.0, 0.3]])),
    StandardBehind(
        2,
        np.array([[0.1, 0.05, 0.0], [0.0, 0.1, 0.2]]),
        np.array([[0.05, 0.2], [0.1, -0.15]]),
        np.array([[0.02, 0.03, 0.0], [0.0, 0.04, 0.06]]),
    ),
)  # fmt: skip

# Points: comparison to the left, to the right, the way between, what its error does to the reading, the reading.
POINTS = (
    (0, 1, 0.25, 0.012, 0), (1, 2, 0.5, 0.03, 0), (3, 4, 0.4, -0.05, 1), (5, 6, 0.3, 0.013, 2), (2, 2, 0.0, -0.08, 3),
    (8, 9, 0.6, 0.02, 4),
)  # fmt: skip
WHOLE = [0.042, -0.05, 0.013, -0.08, 0.02]
OF_LABORATORY = LABORATORY[[0, 1, 2, 0, 3]]  # of each reading


def told(standards=((BEHIND_FIRST,), BEHIND_SECOND, (), ())):
    """Readings by these calibrations; the certificates of the first meter and of the first standard state correlations."""
    curves = [correction((0.0, 0.0), nodes=nodes) for nodes in NODES]
    curves[0], curves[2] = (replace(curve, correlation=CORRELATION) for curve in (curves[0], curves[2]))
    calibrations = Calibrations(LABORATORY, [np.ones(len(nodes)) for nodes in NODES], standards)
    return replace(readings(single(2.0), curves=curves), calibrations=calibrations)


def of_points():
    left, right, way, borne, reading = (np.array(column) for column in zip(*POINTS, strict=True))
    return OfReadings(Neighbours(left, right, way), np.array(WHOLE), borne, reading)


def rows_of(standard):
    """Shares of a standard by comparison of a meter, each as its reference part, scatter and change."""
    stood_behind = [(0, BEHIND_FIRST)] if standard == 2 else []
    stood_behind.append((3, next(each for each in BEHIND_SECOND if each.standard == standard)))
    return {
        first + row: (behind.reference[row].tolist(), behind.scatter[row].tolist(), behind.stability[row].tolist())
        for first, behind in stood_behind
        for row in range(len(behind.reference))
    }


def weights(point):
    """What of a point stands to its left and to its right, by what each is worth."""
    left, right, way, *_ = point
    low, high = (1 - way) * U[left], way * U[right]
    return {left: 1.0} if left == right else {left: low / (low + high), right: high / (low + high)}


def at_points(standard, kind):
    """(point -> shares) of one kind: 0 the reference part, 1 the scatter, 2 the change."""
    rows = rows_of(standard)
    size = len(next(iter(rows.values()))[kind])
    return [
        [sum(weight * rows[place][kind][q] for place, weight in weights(point).items() if place in rows) for q in range(size)]
        for point in POINTS
    ]  # fmt: skip


def borne_of(standard):
    """(n, 4) what readings bear of a standard: its reference part, two directions of scatter, its change."""
    reference, scatter, change = (at_points(standard, kind) for kind in range(3))
    return [
        [
            sum(point[3] * sum(part) for point, part in zip(POINTS, reference, strict=True) if point[4] == row),
            *(sum(point[3] * part[j] for point, part in zip(POINTS, scatter, strict=True) if point[4] == row) for j in (0, 1)),
            sum(point[3] * sum(part) for point, part in zip(POINTS, change, strict=True) if point[4] == row),
        ]
        for row in range(len(WHOLE))
    ]  # fmt: skip


def along_standard(standard, kind):
    """Where readings bear it: shares at the comparisons of the standard's calibration."""
    worth = {}
    for point, shares in zip(POINTS, at_points(standard, kind), strict=True):
        for q, share in enumerate(shares):
            if sum(shares):
                place = point[4], FIRST[standard] + q
                worth[place] = worth.get(place, 0.0) + abs(point[3]) * share
    whole = {row: sum(each for (result, _), each in worth.items() if result == row) for row, _ in worth}
    return {(row, place): each / whole[row] for (row, place), each in worth.items()}


def summed(at):
    """Shares of readings at comparisons; the points of a reading may stand beside the same."""
    added = {}
    for result, comparison, share in zip(at.result.tolist(), at.comparison.tolist(), at.share.tolist(), strict=True):
        added[result, comparison] = added.get((result, comparison), 0.0) + share
    return added


def test_readings_bear_of_each_standard_what_stands_behind_their_comparisons():
    found = reference_of(told(), of_points(), OF_LABORATORY).parts
    first, second = borne_of(2), borne_of(3)
    for row, whole in enumerate(WHOLE):
        of_standards = [*first[row], *second[row]]
        rest = math.copysign(math.sqrt(max(whole**2 - sum(part**2 for part in of_standards), 0.0)), whole)
        assert found[row] == pytest.approx([rest, *of_standards], rel=1e-12, abs=1e-9 if row == 3 else 1e-18), row
        assert math.hypot(*found[row]) == pytest.approx(abs(whole), rel=1e-11)
    assert found[2].tolist() == [0.013, *[0.0] * 8]  # of the standard itself


def test_what_is_borne_is_shared_as_the_standard_s_own_errors():
    own, *of_standards = reference_of(told(), of_points(), OF_LABORATORY, 2).shares
    assert (own.group.tolist(), own.rule, own.columns, own.pool) == (
        [3, 2, 1, 3, 0],
        not_known,
        slice(2, 3),
        REFERENCE_STANDARD,
    )
    expected = []
    for place in (3, 7):
        expected += [
            (not_known, slice(place, place + 1), REFERENCE_STANDARD),
            (common, slice(place + 1, place + 3), SCATTER),
            (not_known_of_a_change, slice(place + 3, place + 4), STABILITY),
        ]
    assert [(share.rule, share.columns, share.pool) for share in of_standards] == expected
    assert [share.behind for share in (own, *of_standards)] == [False, *[True] * 6]
    # Who bears nothing of a standard is of nobody's group: the number after those of the calibrations.
    assert [share.group.tolist() for share in of_standards] == [
        *([1, 1, 5, 1, 5], [2, 2, 5, 2, 5], [2, 2, 5, 2, 5]),
        *([5, 0, 5, 5, 5], [5, 3, 5, 5, 5], [5, 3, 5, 5, 5]),
    ]


def test_what_is_borne_stands_at_the_comparisons_of_the_standard():
    _, by_first, _, change_of_first, by_second, _, change_of_second = reference_of(
        told(), of_points(), OF_LABORATORY
    ).shares
    for share, standard, kind in (
        (by_first, 2, 0),
        (change_of_first, 2, 2),
        (by_second, 3, 0),
        (change_of_second, 3, 2),
    ):
        assert summed(share.at) == pytest.approx(along_standard(standard, kind), rel=1e-12)


def test_what_no_standard_accounts_for_stands_at_the_meter_s_own_comparisons():
    """Worth u sqrt(1 - sum of squares) there; where nothing is left, or nothing is uncertain, the nearest counts."""
    own = reference_of(told(), of_points(), OF_LABORATORY).shares[0]
    left = list(U)
    for standard in (2, 3):
        for place, (reference, scatter, change) in rows_of(standard).items():
            squares = sum(reference) ** 2 + sum(change) ** 2 + sum(part**2 for part in scatter)
            left[place] = math.sqrt(max((left[place] / U[place]) ** 2 - squares, 0.0)) * U[place]
    worth = {}
    for first, second, way, borne, reading in POINTS:
        low, high = (1 - way) * left[first], way * left[second]
        of_second = high / (low + high) if low + high else way
        for place, share in ((first, 1 - of_second), (second, of_second)):
            worth[reading, place] = worth.get((reading, place), 0.0) + abs(borne) * share
    expected = {
        (row, place): each / sum(abs(point[3]) for point in POINTS if point[4] == row)
        for (row, place), each in worth.items()
    }
    assert summed(own.at) == pytest.approx(expected, rel=1e-12)


def test_of_a_certificate_made_in_house_the_standard_tells_more_closely_than_stated_correlations():
    own, by_first, _, change, by_second, *_ = reference_of(told(), of_points(), OF_LABORATORY).shares
    for share in (own, by_first, by_second):
        ((first, matrix),) = share.at.correlated
        assert (first, matrix is CORRELATION) == (5, True)
    assert change.at.correlated == ()


@pytest.mark.parametrize("standards", [None, (), ((), (), (), ())])
def test_behind_no_standard_the_whole_is_the_laboratory_s(standards):
    plain = told(standards or ())
    plain = replace(plain, calibrations=None) if standards is None else plain
    found = reference_of(plain, of_points(), OF_LABORATORY)
    (share,) = found.shares
    assert found.parts[:, 0].tolist() == WHOLE
    assert found.parts.shape == (5, 1)
    assert (share.group.tolist(), share.rule, share.columns, share.pool) == (
        [3, 2, 1, 3, 0],
        not_known,
        slice(0, 1),
        REFERENCE_STANDARD,
    )
    assert [first for first, _ in share.at.correlated] == [0, 5]
    low, high = 0.75 * 0.02, 0.25 * 0.05
    middle_low, middle_high = 0.5 * 0.05, 0.5 * 0.16
    at_middle = 0.012 * high / (low + high) + 0.03 * middle_low / (middle_low + middle_high)
    assert summed(share.at)[0, 1] == pytest.approx(at_middle / 0.042, rel=1e-12)
    assert reference_of(plain, of_points(), OF_LABORATORY, 4).shares[0].columns == slice(4, 5)


def test_readings_of_one_point_bear_what_their_point_does():
    each = of_points()
    found = reference_of(told(), replace(each, whole=each.borne, reading=None), np.zeros(6, dtype=np.int64))
    first = at_points(2, 0)
    for row, point in enumerate(POINTS):
        assert found.parts[row, 1] == pytest.approx(point[3] * sum(first[row]), rel=1e-12)
    at = found.shares[1].at
    expected = {
        (row, 5 + q): share / sum(shares) for row, shares in enumerate(first) if sum(shares) for q, share in enumerate(shares)
    }  # fmt: skip
    assert summed(at) == pytest.approx(expected, rel=1e-12)


def test_who_bears_nothing_of_its_reference_part_is_of_nobody_s_group():
    each = of_points()
    exact = replace(each, borne=each.borne * np.array([1, 1, 0, 1, 1, 1]), whole=each.whole * np.array([1, 0, 1, 1, 1]))
    _, *of_standards = reference_of(told(), exact, OF_LABORATORY).shares
    assert [int(share.group[1]) for share in of_standards] == [5] * 6


def test_between_comparisons_that_are_worth_nothing_the_nearness_counts():
    beside = Neighbours(np.array([0, 1]), np.array([1, 2]), np.array([0.3, 0.2]))
    rows = np.array([[1.0, 10.0], [2.0, 20.0], [4.0, 60.0]])
    found = between_comparisons(beside, np.array([0.0, 0.0, 0.5]), rows)
    assert found == pytest.approx(np.array([[0.7 + 0.3 * 2.0, 7.0 + 0.3 * 20.0], [4.0, 60.0]]), rel=1e-12)
