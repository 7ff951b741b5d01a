"""Traverse rules on profiles whose mean is known: power laws, a product of two in a rectangle, the log law, the parabola.

Source: reference_data/traverse_profiles, class D, an independent computation. Power laws 1/n of the distance from the wall: the
true mean is 2 n^2/((n + 1)(2 n + 1)) of the velocity at the axis, 0.816667 for n = 7.
Exception: the 26 points, whose printed means rest on printed positions (0.034, 0.092, and 0.3675 where 1/e = 0.36788 is exact).
Their weights at the printed positions give the printed mean; at the exact positions it agrees to 0.00002.
"""

import re

import numpy as np
import pytest

from calib.airflow.traverse import LOG_LINEAR, RECTANGULAR, ROUND, Section, mean_velocity, traverse
from tests.reference import agrees, rows

MEANS = rows("traverse_profiles", "means")
PRINTED_26 = rows("traverse_positions", "log_linear_26")
OF_26 = [row for row in MEANS if row["points"] == "26"]
OTHERS = [row for row in MEANS if row["points"] != "26"]


def named(row):
    return f"{row['rule']} {row['shape']} {row['points']} {row['profile']}"


def number(row):
    return float(re.search(r"[\d.]+$", row["profile"])[0])


def from_wall(place):
    """Distance from the nearer wall, in half widths."""
    return 2 * np.minimum(place, 1 - place)


def velocity(row, x, y):
    """Velocity over that at the axis, or u+; x, y in a section 1 m wide and high."""
    if row["shape"] == RECTANGULAR:
        return (from_wall(x) * from_wall(y)) ** (1 / number(row))
    depth = 1 - 2 * np.hypot(x - 0.5, y - 0.5)
    if row["profile"].startswith("power"):
        return depth ** (1 / number(row))
    if row["profile"].startswith("log law"):
        return 2.44 * np.log(number(row) * depth) + 4.9
    return 1 - (1 - depth) ** 2


def true_mean(row):
    """The mean in closed form."""
    if row["profile"].startswith("log law"):
        return 2.44 * (np.log(number(row)) - 1.5) + 4.9
    if row["profile"].startswith("parabolic"):
        return 0.5
    n = number(row)
    return 2 * n**2 / ((n + 1) * (2 * n + 1)) if row["shape"] == ROUND else (n / (n + 1)) ** 2


def counts(row):
    """Lines and points on each: the rectangular rows tell all points of a square grid, the round ones those of a diameter."""
    points = int(row["points"])
    if row["rule"] == LOG_LINEAR and row["shape"] == RECTANGULAR:
        return 4, 7
    return (2, points) if row["shape"] == ROUND else (int(points**0.5), int(points**0.5))


def rule_mean(row):
    found = traverse(Section(row["shape"], 1.0, 1.0), row["rule"], *counts(row))
    x, y, weight = (np.array([getattr(one, name) for one in found]) for name in ("x", "y", "weight"))
    return mean_velocity(velocity(row, x, y), weight)


def test_every_row_is_asked():
    assert (len(OF_26), len(OTHERS)) == (3, 134)


def otherwise(listed, worked_out, column):
    """Rows of which something is worked out otherwise than it is printed: row, value, text."""
    found = [(named(row), worked_out(row), row[column]) for row in listed]
    return [(name, value, text) for name, value, text in found if not agrees(value, text)]


def test_the_true_mean_is_the_printed_one():
    assert otherwise(MEANS, true_mean, "true_mean") == []


def test_the_mean_by_the_rule_is_the_printed_one():
    assert otherwise(OTHERS, rule_mean, "rule_mean") == []


def test_the_error_of_the_rule_is_the_printed_one():
    assert otherwise(OTHERS, lambda row: 100 * (rule_mean(row) / true_mean(row) - 1), "error_percent") == []


@pytest.mark.parametrize("row", OF_26, ids=named)
def test_the_26_points_at_their_exact_positions_have_nearly_the_printed_mean(row):
    assert rule_mean(row) == pytest.approx(float(row["rule_mean"]), abs=2e-5)


@pytest.mark.parametrize("row", OF_26, ids=named)
def test_the_26_weights_at_the_printed_positions_have_the_printed_mean(row):
    x, y = (np.array([float(one[side]) for one in PRINTED_26]) for side in ("width", "height"))
    weight = np.array([round(float(one["weight"]) * 96) / 96 for one in PRINTED_26])
    assert agrees(mean_velocity(velocity(row, x, y), weight), row["rule_mean"])
    assert agrees(100 * (velocity(row, x, y) @ weight / true_mean(row) - 1), row["error_percent"])


def test_the_seventh_power_has_a_mean_of_0_816667_at_the_axis():
    row = next(one for one in MEANS if one["profile"] == "power 1/7" and one["shape"] == ROUND)
    assert row["true_mean"] == "0.816667"
