"""What rests on what: laws of graphs, and what the trade means by a chain.

Sources: VIM 2.41 and 2.42 (an unbroken chain of calibrations); ISO/IEC 17025:2017, 6.5 (from memory). The expected
sets are worked out here by repeated multiplication of a Boolean matrix.
"""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from calib.confirmation.traceability import TraceLink, circles, downward, is_accredited, reached, tree, upward


def links(*pairs):
    """Links between records called by numbers: (what rests, on what)."""
    return [TraceLink(("r", record), ("r", on), "standard") for record, on in pairs]


def numbers(records):
    return [number for _, number in records]


# 1 rests on 2 and 3, both on 4; 5 stands alone beneath 6
CHAIN = links((1, 2), (1, 3), (2, 4), (3, 4), (6, 5))


def test_everything_that_a_record_rests_on_is_reached():
    assert set(numbers(reached(upward(CHAIN), [("r", 1)]))) == {2, 3, 4}


def test_everything_that_hangs_on_a_record_is_reached():
    assert set(numbers(reached(downward(CHAIN), [("r", 4)]))) == {1, 2, 3}


def test_what_hangs_on_a_record_comes_after_what_of_it_it_rests_on():
    found = numbers(reached(downward(CHAIN), [("r", 4)]))
    assert found.index(1) > max(found.index(2), found.index(3))


def test_a_record_that_nothing_is_linked_to_reaches_nothing():
    assert reached(upward(CHAIN), [("r", 99)]) == ()


def test_the_tree_draws_what_two_branches_share_once():
    drawn = tree(upward([*CHAIN, *links((4, 7))]), ("r", 1))
    second, third = drawn.branches
    assert (second.record[1], third.record[1]) == (2, 3)
    assert [one.record[1] for one in second.branches[0].branches] == [7]
    assert third.branches[0].again
    assert third.branches[0].branches == ()


def test_the_tree_names_the_role_in_which_each_was_reached():
    drawn = tree(upward([TraceLink(("reading", 1), ("calibration", 2), "meter")]), ("reading", 1))
    assert (drawn.role, drawn.branches[0].role) == ("", "meter")


def test_a_circle_is_closed_where_it_meets():
    drawn = tree(upward(links((1, 2), (2, 1))), ("r", 1))
    assert drawn.branches[0].branches[0].on_itself


def test_circles_are_found_once_each():
    found = circles(upward(links((1, 2), (2, 1), (3, 3), (4, 1), (5, 6))))
    assert [numbers(one) for one in found] == [[1, 2], [3]]


def test_a_circle_is_told_from_its_smallest_record_on_in_the_order_of_its_links():
    found = circles(upward(links((2, 5), (5, 7), (7, 1), (1, 3), (3, 2), (7, 8), (9, 7))))
    assert [numbers(each) for each in found] == [[1, 3, 2, 5, 7]]


def test_the_shortest_circle_of_a_record_is_told():
    found = circles(upward(links((1, 2), (2, 3), (3, 1), (1, 4), (4, 1))))
    assert [numbers(each) for each in found] == [[1, 4], [1, 2, 3]]


def test_what_is_drawn_again_says_so_where_anything_is_beyond_it():
    drawn = tree(upward(CHAIN), ("r", 1))
    assert [each.branches[0].again for each in drawn.branches] == [False, False]
    assert [each.on_itself for each in drawn.branches] == [False, False]


def test_a_sound_register_has_no_circle():
    assert circles(upward(CHAIN)) == ()


def test_a_long_chain_is_no_trouble():
    found = reached(upward(links(*((one, one + 1) for one in range(5000)))), [("r", 0)])
    assert len(found) == 5000


PAIRS = st.lists(st.tuples(st.integers(0, 7), st.integers(0, 7)), max_size=20)


def closure(pairs):
    """Whether there is a way of one link or more from i to j, by repeated squaring of the adjacency matrix."""
    ways = np.zeros((8, 8), dtype=bool)
    for record, on in pairs:
        ways[record, on] = True
    for _ in range(4):
        ways = ways | ((ways.astype(int) @ ways.astype(int)) > 0)
    return ways


@given(PAIRS)
def test_what_is_reached_is_the_transitive_closure(pairs):
    ways, graph = closure(pairs), upward(links(*pairs))
    assert all(set(numbers(reached(graph, [("r", one)]))) == set(np.flatnonzero(ways[one])) for one in range(8))


@given(PAIRS)
def test_down_is_up_turned_round(pairs):
    up, down = upward(links(*pairs)), downward(links(*pairs))
    above = {(i, j) for i in range(8) for j in numbers(reached(up, [("r", i)]))}
    assert above == {(j, i) for i in range(8) for j in numbers(reached(down, [("r", i)]))}


@given(PAIRS)
def test_without_circles_each_comes_after_what_it_rests_on(pairs):
    falling = [(max(pair), min(pair)) for pair in pairs if pair[0] != pair[1]]
    found = numbers(reached(downward(links(*falling)), [("r", one) for one in range(8)]))
    assert all(found.index(record) > found.index(on) for record, on in falling if on in found)


@given(PAIRS)
def test_records_in_circles_are_those_that_reach_themselves(pairs):
    found = {number for one in circles(upward(links(*pairs))) for number in numbers(one)}
    assert found == set(np.flatnonzero(np.diag(closure(pairs))))


@pytest.mark.parametrize("cell", [None, "", " ", "none", "None", "no", "-", "n/a", "not accredited"])
def test_a_word_for_none_is_no_accreditation(cell):
    assert not is_accredited(cell)


@pytest.mark.parametrize("cell", ["accreditation 000 (invented)", "number 12"])
def test_anything_else_names_one(cell):
    assert is_accredited(cell)
