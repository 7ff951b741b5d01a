"""Traverse rules of ISO 3966 by name: positions on a line, and the weights of their points.

Source: reference_data/traverse_positions. Positions: class D, solved from the definitions of the rules by an independent
computation and rounded to 6, 4 and 3 decimals. The 26 points: class C, positions from memory, weights recomputed.
Exception, listed below: 0.3675 (and its mirror image 0.6325) of the 26 points is printed where the mean of a + b ln y over its
zone is exact at 1/e = 0.36788.
"""

import pytest

from calib.airflow.traverse import LOG_LINEAR, RECTANGULAR, ROUND, Section, traverse
from tests.reference import agrees, rows

POSITIONS = rows("traverse_positions", "positions")
POINTS_26 = rows("traverse_positions", "log_linear_26")
# A log-Tchebycheff or equal-area grid has three lines or more; a round section two diameters.
LINES = {RECTANGULAR: 3, ROUND: 2}
# Units of the last printed digit, 0.0001: 1/e lies 0.00038 from 0.3675.
EXCEPTIONS = {"0.3675": "3.8", "0.6325": "3.8"}


def named(row):
    return f"{row['rule']} {row['shape']} {row['points_on_line']} {row['index']}"


def point_of(row):
    """The point of a row on the first line of a section 1 m wide and high."""
    found = traverse(Section(row["shape"], 1.0, 1.0), row["rule"], LINES[row["shape"]], int(row["points_on_line"]))
    return next(one for one in found if (one.line, one.point) == (1, int(row["index"])))


def test_a_point_stands_where_it_is_printed():
    cells = [(row, point_of(row).along, row[f"position_{decimals}"]) for row in POSITIONS for decimals in (6, 4, 3)]
    assert [(named(row), along, text) for row, along, text in cells if not agrees(along, text)] == []


def test_a_point_counts_on_its_line_as_much_as_is_printed():
    weights = [(row, point_of(row).weight * LINES[row["shape"]]) for row in POSITIONS]
    assert [(named(row), weight, row["weight"]) for row, weight in weights if not agrees(weight, row["weight"])] == []


def nearest(row):
    """The point of the 26 that lies nearest to a printed one."""
    printed = float(row["width"]), float(row["height"])
    points = traverse(Section(RECTANGULAR, 1.0, 1.0), LOG_LINEAR, 4, 7)
    return min(points, key=lambda one: max(abs(one.x - printed[0]), abs(one.y - printed[1])))


@pytest.mark.parametrize("row", POINTS_26, ids=lambda row: row["index"])
def test_each_of_the_26_points_stands_where_it_is_printed(row):
    point = nearest(row)
    for value, text in ((point.x, row["width"]), (point.y, row["height"])):
        assert agrees(value, text, EXCEPTIONS.get(text, "0.5"))


@pytest.mark.parametrize("row", POINTS_26, ids=lambda row: row["index"])
def test_each_of_the_26_points_counts_as_much_as_is_printed(row):
    assert agrees(nearest(row).weight, row["weight"])


def test_no_two_printed_points_of_the_26_are_one():
    assert len({(nearest(row).line, nearest(row).point) for row in POINTS_26}) == 26
