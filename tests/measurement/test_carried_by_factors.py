"""What a found factor carries of the calibration of its traverses, in the test's own arithmetic; flows among others.

Sources: JCGM 100:2008, 5.2.2; what K = q/(v A) makes of an error of q, worked out for each reading as one number after the other.
"""

import math
from dataclasses import replace

import numpy as np
import pytest

from calib.measurement import flows
from calib.measurement.carried_by_factors import (
    FoundInDuct,
    Traverses,
    first_of,
    for_their_difference,
    with_what_factors_carry,
)
from calib.measurement.flows import Flows, LowPoints
from calib.measurement.standards_behind import REFERENCE_STANDARD, SCATTER, STABILITY
from calib.procedures.measure.results import results_of_flows
from calib.uncertainty.propagation import Contribution, UnlikeSeries
from calib.uncertainty.sharing import AtComparisons, Share, common, independent, not_known, not_known_of_a_change
from tests.arrays import readings, single

EXACTLY = {"rel": 1e-12, "abs": 1e-15}


def test_what_is_known_by_limits_stays_so_beside_the_traverses_of_other_jobs():
    """A change within limits has short tails (JCGM 101, 6.4.2): beside few observations it makes a smaller k than a normal one."""
    alone = readings(single(2.0, u=0.03, limit=0.05, dof=2))
    beside = readings(single(2.0, u=0.03, limit=0.05, dof=2), single(3.0))
    expected = results_of_flows(flows(alone)).expanded_uncertainty
    found = results_of_flows(first_of(flows(beside), 1, 1)).expanded_uncertainty
    assert found == pytest.approx(expected, rel=1e-12)


def line(name, parts, shares=(), source=None, dof=None, **said):
    """A contribution; one column where a number stands for each result."""
    columns = np.array(parts, dtype=float)
    columns = columns[:, np.newaxis] if columns.ndim == 1 else columns
    size = len(columns)
    own = np.zeros(size, dtype=np.int64) if source is None else np.array(source)
    exactly = np.full(size, math.inf) if dof is None else np.array(dof, dtype=float)
    return Contribution(name, np.zeros(size, dtype=bool), columns, own, exactly, tuple(shares), **said)


def along(*entries):
    """Where results bear an error: result, comparison, share."""
    result, comparison, share = zip(*entries, strict=True)
    return AtComparisons(np.array(result), np.array(comparison), np.array(share))


def entries(at):
    return {
        (int(result), int(comparison)): share
        for result, comparison, share in zip(at.result, at.comparison, at.share, strict=True)
    }


def of_flows(flow, *contributions, **said):
    q = np.array(flow, dtype=float)
    return Flows(q, (), q, contributions, q, **said)


# --- the first of some flows -----------------------------------------------------------------------------------------------------


def test_the_first_flows_keep_all_that_is_known_of_them():
    matrix = np.array([[1.0, 0.2], [0.2, 1.0]])
    at = replace(along((0, 3, 0.4), (2, 3, 1.0), (1, 4, 0.7), (0, 5, 0.6), (1, 5, 0.3)), correlated=((3, matrix),))
    of_two = UnlikeSeries(
        np.array([[0.4, 0.6], [0.3, 0.7], [0.2, 0.8]]), np.array([[2.0, 3.0], [4.0, 5.0], [6.0, 7.0]])
    )
    own = line(
        REFERENCE_STANDARD, [[1.0, 2.0], [3.0, 4.0], [5.0, 6.0]],
        [
            Share(np.array([7, 8, 9]), not_known, slice(0, 1), at, "pool", np.array([3.0, 4.0, 5.0]), behind=True),
            Share(np.array([4, 5, 6]), common, slice(1, 2)),
        ],
        source=[2, 1, 0], dof=[11, 12, 13], is_rectangular=True, unlike=of_two,
    )  # fmt: skip
    own = replace(own, type_a=np.array([True, False, True]))
    of_points = LowPoints(*(np.arange(4.0) + start for start in (10, 20, 30, 40)))
    everything = Flows(
        np.array([1.0, 2.0, 3.0]), (own,), np.array([4.0, 5.0, 6.0]), (own, own), np.array([7.0, 8.0, 9.0, 10.0]),
        np.array([0.1, 0.2, 0.3]), of_points, np.array([-0.5, 0.5, 0.25]),
    )  # fmt: skip
    first = first_of(everything, 2, 3)
    assert [first.velocity.tolist(), first.flow.tolist()] == [[1.0, 2.0], [4.0, 5.0]]
    assert first.point_velocity.tolist() == [7.0, 8.0, 9.0]
    assert [first.by_density.tolist(), first.bend.tolist()] == [[0.1, 0.2], [-0.5, 0.5]]
    assert [each.tolist() for each in vars(first.low).values()] == [
        [start + k for k in range(3)] for start in (10, 20, 30, 40)
    ]
    assert (len(first.velocity_contributions), len(first.contributions)) == (1, 2)
    for each in (*first.velocity_contributions, *first.contributions):
        assert (each.name, each.is_rectangular) == (REFERENCE_STANDARD, True)
        assert each.type_a.tolist() == [True, False]
        assert each.parts.tolist() == [[1.0, 2.0], [3.0, 4.0]]
        assert (each.source.tolist(), each.degrees_of_freedom.tolist()) == ([2, 1], [11.0, 12.0])
        assert each.unlike.share.tolist() == [[0.4, 0.6], [0.3, 0.7]]
        assert each.unlike.degrees_of_freedom.tolist() == [[2.0, 3.0], [4.0, 5.0]]
        known, plain = each.shares
        assert (known.group.tolist(), known.degrees_of_freedom.tolist()) == ([7, 8], [3.0, 4.0])
        assert (known.rule, known.columns, known.pool, known.behind) == (not_known, slice(0, 1), "pool", True)
        assert entries(known.at) == {(0, 3): 0.4, (1, 4): 0.7, (0, 5): 0.6, (1, 5): 0.3}
        assert known.at.correlated == ((3, matrix),)
        assert (plain.group.tolist(), plain.at, plain.degrees_of_freedom) == ([4, 5], None, None)


def test_the_first_flows_say_nothing_of_what_was_not_told_of_all():
    first = first_of(of_flows([1.0, 2.0], line("method", [0.1, 0.2])), 1, 1)
    assert (first.by_density, first.low, first.bend) == (None, None, None)
    assert first.contributions[0].unlike is None


# --- what factors carry ----------------------------------------------------------------------------------------------------------

# Readings 0 to 5, traverses 6 to 10. Factor 0 was found by traverses 6 and 7, factor 1 by 8 and 9, of two calibrations, 2 by 10.
FLOW = [3.0, 5.0, 2.0, 7.0, 4.0, 1.5, 6.0, 9.0, 8.0, 2.5, 2.0]
OF_FACTORS = [np.array([6, 7]), np.array([8, 9]), np.array([10])]
FACTOR = [0, 0, -1, 1, 2, 0]
U = [0.9, 0.8, 0.05, 0.3, 0.5, 0.0]  # of the flows, by the factors
RELATIVE_REFERENCE = [0.2, 0.05, 0.03, 0.02, 0.125, 0.0]
DOF = [8.0, 6.0, 12.0, 9.0, 5.0, 7.0]
SCATTERED = {6: (0.30, -0.12), 7: (0.45, 0.09), 8: (0.4, 0.2), 9: (0.3, 0.1), 10: (0.0, 0.0)}
OF_LABORATORY = {6: 0.24, 7: 0.54, 8: 0.16, 9: 0.25, 10: 0.5}
OF_STANDARD = {6: 0.36, 7: 0.18, 8: -0.32, 9: -0.05, 10: 0.0}
CHANGED = {6: -0.12, 7: 0.36, 8: 0.4, 9: 0.5, 10: 0.0}
BY_CALIBRATION = np.array([0, 0, 0, 0, 0, 0, 2, 2, 1, 2, 3])
BY_STANDARD = np.array([0, 0, 0, 0, 0, 0, 1, 4, 5, 5, 3])  # one that stands behind both calibrations of factor 1
BORNE_AT = along(
    (0, 10, 1.0), (6, 10, 0.4), (6, 11, 0.6), (7, 11, 0.3), (7, 12, 0.7), (8, 11, 1.0), (9, 13, 1.0), (10, 20, 1.0)
)  # fmt: skip


def at_traverses(parts, of_readings):
    return [of_readings] * 6 + [parts[row] for row in range(6, 11)]


def carried():
    """The factors' line with what they carry, of traverses whose calibrations err in four ways."""
    everything = of_flows(
        FLOW,
        line(SCATTER, at_traverses(SCATTERED, (0.1, 0.2)), [Share(BY_CALIBRATION, common, pool=SCATTER)]),
        line(
            REFERENCE_STANDARD,
            np.column_stack([at_traverses(OF_LABORATORY, 0.7), at_traverses(OF_STANDARD, 0.3)]),
            [
                Share(BY_CALIBRATION, not_known, slice(0, 1), BORNE_AT, REFERENCE_STANDARD, np.full(11, 50.0)),
                Share(BY_STANDARD, common, slice(1, 2), pool=SCATTER, behind=True),
            ],
        ),
        line(STABILITY, at_traverses(CHANGED, 0.2), [Share(BY_CALIBRATION, not_known_of_a_change, at=BORNE_AT, pool=STABILITY)]),
        line("probe", [0.0] * 11, [Share(BY_CALIBRATION, common, pool=SCATTER)]),
        line("dimension", [0.3] * 11),
        line("method", [0.5] * 11, [Share(BY_CALIBRATION, not_known)]),
    )  # fmt: skip
    factors = line("outlet factor", U, source=[3, 3, 4, 5, 6, 3], dof=DOF)
    dimension = line("dimension", [0.1] * 6)
    traverses = Traverses(OF_FACTORS, np.array(FACTOR), np.array(RELATIVE_REFERENCE))
    other, found = with_what_factors_carry(everything, [dimension, factors], traverses)
    assert other is dimension
    return found


def relative_parts(factor):
    """What a factor carries relative to its flow: of two scatters, the laboratory, the standard behind, the change."""
    if factor == 0:
        of_mean = [(SCATTERED[6][k] / 6.0 + SCATTERED[7][k] / 9.0) / 2 for k in (0, 1)]
        of_mean.append((OF_LABORATORY[6] / 6.0 + OF_LABORATORY[7] / 9.0) / 2)
        # Traverse 6 was not behind the same standard as 7.
        return [*of_mean, 0.0, (CHANGED[6] / 6.0 + CHANGED[7] / 9.0) / 2]
    of_standard = (OF_STANDARD[8] / 8.0 + OF_STANDARD[9] / 2.5) / 2
    return {-1: [0.0] * 5, 1: [0.0, 0.0, 0.0, of_standard, 0.0], 2: [0.0, 0.0, 0.5 / 2.0, 0.0, 0.0]}[factor]


def test_a_factor_carries_the_mean_of_its_traverses_and_no_more_than_it_says_of_them():
    found = carried()
    for row, factor in enumerate(FACTOR):
        relative = relative_parts(factor)
        whole = math.sqrt(sum(part**2 for part in relative))
        held = min(1.0, RELATIVE_REFERENCE[row] / whole) if whole else 0.0
        parts = [FLOW[row] * part * held for part in relative]
        rest = math.sqrt(max(U[row] ** 2 - sum(part**2 for part in parts), 0.0))
        assert found.parts[row] == pytest.approx([rest, *parts], **EXACTLY), row
        assert found.variance[row] == pytest.approx(U[row] ** 2, **EXACTLY)
        # What is left has the degrees of freedom with which the whole has the factor's own: u^4/nu is the same.
        left = rest / U[row] if U[row] else 1.0
        expected = DOF[row] * left**4 if left else math.inf
        assert found.shares[0].degrees_of_freedom[row] == pytest.approx(expected, rel=1e-12), row
    assert found.parts[4].tolist() == [0.0, 0.0, 0.0, 0.5, 0.0, 0.0]  # 0.125 of 4 m3/s: nothing of it is its own
    assert found.degrees_of_freedom.tolist() == DOF
    # Where there is less of it than it says, the whole is carried.
    assert abs(found.parts[0, 1] / (FLOW[0] * relative_parts(0)[0])) == pytest.approx(1.0, rel=1e-12)
    assert math.hypot(*found.parts[1, 1:]) == pytest.approx(0.05 * FLOW[1], rel=1e-12)


def test_a_factor_shares_what_it_carries_with_the_calibrations_of_its_traverses():
    own, scattered, laboratory, standard, changed = carried().shares
    assert (own.group.tolist(), own.rule, own.columns, own.pool) == ([3, 3, 4, 5, 6, 3], common, slice(0, 1), None)
    told = [
        (share.rule, share.columns, share.pool, share.behind) for share in (scattered, laboratory, standard, changed)
    ]
    assert told == [
        (common, slice(1, 3), SCATTER, False),
        (not_known, slice(3, 4), REFERENCE_STANDARD, False),
        (common, slice(4, 5), SCATTER, True),
        (not_known_of_a_change, slice(5, 6), STABILITY, False),
    ]
    # Who carries nothing of it, or has no such factor, is of no calibration's group: the number after the last.
    assert scattered.group.tolist() == [2, 2, 4, 4, 3, 2]
    assert laboratory.group.tolist() == [2, 2, 4, 4, 3, 2]
    assert standard.group.tolist() == [6, 6, 6, 5, 3, 6]
    assert changed.group.tolist() == [2, 2, 4, 4, 3, 2]
    assert all(share.degrees_of_freedom is None for share in (scattered, laboratory, standard, changed))
    assert (scattered.at, standard.at) == (None, None)


def test_what_a_factor_carries_stands_where_its_traverses_were_compared():
    """Of each traverse by what it is worth: of the laboratory 0.02 and 0.03 of the flow, of the change -0.01 and 0.02."""
    *_, laboratory, _, changed = carried().shares
    by_laboratory = {10: 0.4 * 2 / 5, 11: (0.6 * 2 + 0.3 * 3) / 5, 12: 0.7 * 3 / 5}
    of_six, of_seven = -0.02 / 0.02, 0.04 / 0.02
    by_change = {10: 0.4 * of_six, 11: 0.6 * of_six + 0.3 * of_seven, 12: 0.7 * of_seven}
    with_factor_0 = (0, 1, 5)
    expected = {(row, place): share for row in with_factor_0 for place, share in by_laboratory.items()} | {(4, 20): 1.0}
    assert entries(laboratory.at) == pytest.approx(expected, rel=1e-12)
    expected = {(row, place): share for row in with_factor_0 for place, share in by_change.items()}
    assert entries(changed.at) == pytest.approx(expected, rel=1e-12)


def test_factors_whose_traverses_show_nothing_of_their_calibrations_stay_as_they_are():
    everything = of_flows([2.0, 3.0], line(SCATTER, [0.2, 0.0], [Share(np.zeros(2, int), common, pool=SCATTER)]))
    factors = line("outlet factor", [0.1], dof=[4])
    (found,) = with_what_factors_carry(
        everything, [factors], Traverses([np.array([1])], np.array([0]), np.array([0.03]))
    )
    assert found is factors


# --- a duct and the outlet whose factor was found in it --------------------------------------------------------------------------

# The duct is row 0, the outlet row 1, the traverses 2 and 3; row 4 stands apart.
Q = [4.0, 3.8, 4.2, 4.4, 9.0]
ALL, APART = np.array([0, 0, 0, 0, 1]), np.array([0, 1, 0, 0, 1])
SCATTER_THERE = [(0.05, -0.02), (0.9, 0.8), (0.07, 0.01), (0.04, -0.03), (0.5, 0.5)]


def in_the_duct(u_factor=0.3, relative_reference=0.05):
    """Flows with lines that err alike in the duct and its traverses, and some that do not."""
    by_both = [
        line(SCATTER, SCATTER_THERE, [Share(ALL, common, pool=SCATTER)]),
        line("method", [0.06, 0.5, 0.08, 0.09, 0.7], [Share(APART, not_known)]),
        line("density", [0.02, 0.0, 0.03, 0.01, 0.4], [Share(ALL, common)]),
    ]
    by_one = [
        line("density", [(0.0, 0.02), (0.0, 0.03), (0.0, 0.03), (0.0, 0.01), (0.0, 0.2)], [Share(ALL, common, slice(1, 2))]),
        line("dimension", [0.1, 0.1, 0.1, 0.1, 0.1], [Share(np.array([0, 1, 0, 2, 3]), common)]),
        line("method own", [0.1, 0.1, 0.1, 0.1, 0.1], [Share(APART, independent)]),
        line("repeatability", [0.1, 0.1, 0.1, 0.1, 0.1], [Share(APART, common)]),
        line("resolution", [0.1, 0.1, 0.1, 0.1, 0.1], [Share(APART, common)]),
        line("plant drift", [0.1, 0.1, 0.1, 0.1, 0.1], [Share(APART, common)]),
    ]  # fmt: skip
    factor = line("outlet factor", [0.0, u_factor, 0.2, 0.2, 0.2], [Share(APART, common)], dof=[3, 4, 5, 6, 7])
    everything = of_flows(Q, *by_both, *by_one, factor)
    return everything, for_their_difference(everything, FoundInDuct(0, 1, (2, 3), relative_reference))


def borne_by_the_outlet():
    """By the mean of its two traverses: two scatters, the method, the density [m3/s]."""
    of_two = [(0.07, 0.04), (0.01, -0.03), (0.08, 0.09), (0.03, 0.01)]
    return [3.8 * (first / 4.2 + second / 4.4) / 2 for first, second in of_two]


def test_the_duct_has_less_of_what_the_outlet_bears_through_its_factor():
    everything, net = in_the_duct()
    borne = borne_by_the_outlet()
    own = [0.05, -0.02, 0.06, 0.02]
    expected = [mine - its for mine, its in zip(own, borne, strict=True)]
    found = [*net.contributions[0].parts[0], net.contributions[1].parts[0, 0], net.contributions[2].parts[0, 0]]
    assert found == pytest.approx(expected, rel=1e-12)
    for before, after in zip(everything.contributions[:3], net.contributions[:3], strict=True):
        assert after.parts[1:].tolist() == before.parts[1:].tolist()
        assert after.shares == before.shares
    for before, after in zip(everything.contributions[3:-1], net.contributions[3:-1], strict=True):
        assert after.parts.tolist() == before.parts.tolist(), before.name


def test_the_factor_has_left_what_the_duct_does_not_bear():
    _, net = in_the_duct()
    left = math.sqrt(0.3**2 - sum(part**2 for part in borne_by_the_outlet()))
    factor = net.contributions[-1]
    assert factor.parts == pytest.approx(np.array([[0.0], [left], [0.2], [0.2], [0.2]]), rel=1e-12)
    assert factor.degrees_of_freedom == pytest.approx([3.0, 4.0 * (left / 0.3) ** 4, 5.0, 6.0, 7.0], rel=1e-12)
    assert factor.shares == ()


def test_no_more_cancels_than_the_factor_says_of_its_traverses():
    _, net = in_the_duct(relative_reference=0.01)
    borne = borne_by_the_outlet()
    held = 0.01 * 3.8 / math.sqrt(sum(part**2 for part in borne))
    assert net.contributions[1].parts[0, 0] == pytest.approx(0.06 - held * borne[2], rel=1e-12)
    assert net.contributions[-1].parts[1, 0] == pytest.approx(math.sqrt(0.3**2 - (0.01 * 3.8) ** 2), rel=1e-12)


def test_a_factor_of_which_all_cancels_has_nothing_left_and_is_exactly_known():
    _, net = in_the_duct(u_factor=0.02)
    factor = net.contributions[-1]
    assert (factor.parts[1, 0], factor.degrees_of_freedom[1]) == (0.0, math.inf)


def test_flows_of_which_nothing_cancels_stay_as_they_are():
    factor = line("outlet factor", [0.0, 0.3, 0.0], dof=[3, 4, 5])
    everything = of_flows([4.0, 3.8, 4.2], line("dimension", [0.1] * 3, [Share(np.arange(3), common)]), factor)
    assert for_their_difference(everything, FoundInDuct(0, 1, (2,), 0.05)).contributions == everything.contributions
