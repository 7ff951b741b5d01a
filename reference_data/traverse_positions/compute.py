"""positions.csv: points on a line by each rule, as a share of its length from one wall, solved from what the rule supposes.

With s the share of the half section between the wall and a point, y its distance from the wall in half lengths (y = s between
parallel walls, y = 1 - sqrt(1 - s) in a disc):

equal-area        each point halves its element in s
log-Tchebycheff   outermost element: the mean of ln y; the rest: equal weights, all moments up to the number of points; in a disc
                  moments of the squared radius, between walls those of the distance from the axis
log-linear        elements two by two from the axis: both points together have the mean of y and of ln y over the pair; an odd
                  element is the outermost, with the mean of ln y

Integrals by adaptive quadrature, positions by root finding, rounded to 6, 4 and 3 decimals.
"""

from math import exp, inf, log, sqrt

import numpy as np
from scipy.integrate import quad
from scipy.optimize import brentq, least_squares

from tests.reference import rows

KEY = ("rule", "shape", "points_on_line")


def depth(shape, s):
    return s if shape == "rectangular" else 1 - sqrt(1 - s)


def mean(shape, function, low, high):
    """Mean of a function of y over the elements between two shares."""
    return quad(lambda s: function(depth(shape, s)), low, high, epsabs=1e-13, epsrel=1e-12, limit=200)[0] / (high - low)


def equal_area(shape, count):
    if shape == "rectangular":
        return [(2 * k + 1) / (2 * count) for k in range(count)]
    return mirrored([depth(shape, (2 * k + 1) / count) for k in range(count // 2)])


def mirrored(half):
    """Both halves of a line, from positions in half lengths."""
    return [y / 2 for y in half] + [1 - y / 2 for y in reversed(half)]


def equal_weights(count):
    """Points of [0, 1] whose mean power k is 1/(k + 1), k = 1 to count, by moments about the middle."""
    start = (np.arange(count) + 0.5) / count

    def apart(points):
        centred = 2 * points - 1
        return [np.mean(centred**k) - (0 if k % 2 else 1 / (k + 1)) for k in range(1, count + 1)]

    found = least_squares(apart, start, xtol=1e-15, ftol=1e-15, gtol=1e-15)
    assert max(map(abs, found.fun)) < 1e-12  # noqa: S101  # it has come to rest
    return sorted(found.x)


def log_tchebycheff(shape, count):
    share = 2 / count
    outermost = exp(mean(shape, lambda y: log(y) if y else -inf, 0, share))
    if shape == "rectangular":
        inner = [1 / count + (1 - share) * point for point in equal_weights(count - 2)]
        return [outermost / 2, *inner, 1 - outermost / 2]
    squares = [(1 - share) * point for point in equal_weights(count // 2 - 1)]
    return mirrored([outermost, *sorted(1 - sqrt(square) for square in squares)])


def log_linear(shape, count):
    half, element = count // 2, 2 / count
    points, low = [], half % 2 * element
    if low:
        points.append(exp(mean(shape, lambda y: log(y) if y else -inf, 0, low)))
    for pair in range(half // 2):
        start = low + 2 * pair * element
        stop = min(start + 2 * element, 1.0)
        middle = mean(shape, lambda y: y, start, stop)
        logs = mean(shape, lambda y: log(y) if y else -inf, start, stop)
        nearer = brentq(lambda y, m=middle, g=logs: log(y) + log(2 * m - y) - 2 * g, 1e-9, middle, xtol=1e-14)
        points += [nearer, 2 * middle - nearer]
    return mirrored(points)


RULES = {"log-Tchebycheff": log_tchebycheff, "log-linear": log_linear, "equal-area": equal_area}


def positions(rule, shape, count):
    return RULES[rule](shape, count)


def tables():
    made = []
    for rule, shape, count in dict.fromkeys(
        tuple(row[name] for name in KEY) for row in rows("traverse_positions", "positions")
    ):
        for index, place in enumerate(positions(rule, shape, int(count)), 1):
            rounded = {f"position_{decimals}": f"{place:.{decimals}f}" for decimals in (6, 4, 3)}
            key = {"rule": rule, "shape": shape, "points_on_line": count, "index": f"{index}"}
            made.append(key | rounded | {"weight": f"{1 / int(count):.6f}"})
    return {"positions": made}
