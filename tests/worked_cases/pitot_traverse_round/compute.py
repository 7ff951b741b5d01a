"""results.csv: q = A K mean(sqrt(2 (dp + correction)/rho)) of pressures.csv, the terms of its u, and its distribution.

Each term is sensitivity times u; the noise of a point is 2 % of its velocity, of the mean the root of the sum of squares over the
number of points, with 15 degrees of freedom as a whole. k = t at 95.45 %, its digits, with the degrees of freedom uncut.
"""

from math import fsum, hypot, pi, sqrt

import numpy as np
from scipy.special import stdtrit

from tests.reference import numbers, printed

DIGITS = {"sd of the distribution": 11}  # a difference of squares: the twelfth hangs on the machine


def distribution(given, dp):
    """Mean and standard deviation of q: normal inputs; by Gauss-Hermite quadrature, the inputs being independent."""
    nodes, weights = np.polynomial.hermite_e.hermegauss(60)
    weights = weights / weights.sum()
    n = dp.size
    # Moments of what multiplies: D^2, K, rho^-1/2, and the method.
    d2 = (given["D"] + given["u D"] * nodes) ** 2
    inverse_root = 1 / np.sqrt(given["rho"] + given["u rho"] * nodes)
    k = given["K"] + given["u K"] * nodes
    method = 1 + given["u method"] * nodes
    # The mean over the points, given the correction's error; the noise of a point multiplies its velocity.
    roots = np.sqrt(2 * (dp[:, None] + given["correction"] + given["u correction"] * nodes))
    mean_root = roots.mean(axis=0)
    square_root = mean_root**2 + given["u point"] ** 2 * (roots**2).sum(axis=0) / n**2
    first = np.prod([weights @ one for one in (d2, inverse_root, k, method, mean_root)])
    second = np.prod([weights @ one for one in (d2**2, inverse_root**2, k**2, method**2, square_root)])
    return pi / 4 * first, pi / 4 * sqrt(second - first**2)


def tables():
    given = {symbol: float(text) for symbol, text in printed("pitot_traverse_round", "inputs").items()}
    _, pressures = numbers("pitot_traverse_round", "pressures")
    dp = (pressures + given["correction"]).tolist()
    n = len(dp)
    velocities = [given["K"] * sqrt(2 * one / given["rho"]) for one in dp]
    v, area = fsum(velocities) / n, pi / 4 * given["D"] ** 2
    q = v * area
    of_mean = area * given["K"] * sqrt(2 * fsum(dp) / n / given["rho"])
    terms = {
        "manometer calibration": area
        * given["u correction"]
        * fsum(a / (2 * b) for a, b in zip(velocities, dp, strict=True))
        / n,
        "density": -q * given["u rho"] / (2 * given["rho"]),
        "pitot coefficient": q * given["u K"] / given["K"],
        "duct diameter": 2 * q * given["u D"] / given["D"],
        "reading noise": area * given["u point"] * hypot(*velocities) / n,
        "traverse method": q * given["u method"],
    }
    u = hypot(*terms.values())
    degrees = (n - 1) * (u / terms["reading noise"]) ** 4
    k = float(stdtrit(degrees, 0.97725))
    mean, sd = distribution(given, pressures)
    values = [
        ("v", v, "m/s"),
        ("A", area, "m2"),
        ("q", q, "m3/s"),
        ("q hourly", 3600 * q, "m3/h"),
        ("q of mean pressure", of_mean, "m3/s"),
        ("excess of mean pressure", 100 * (of_mean / q - 1), "%"),
        *((f"term {name}", value, "m3/s") for name, value in terms.items()),
        ("u_c", u, "m3/s"),
        ("u_c relative", 100 * u / q, "%"),
        ("nu_eff", degrees, ""),
        ("k", k, ""),
        ("U", k * u, "m3/s"),
        ("U relative", 100 * k * u / q, "%"),
        ("mean of the distribution", mean, "m3/s"),
        ("sd of the distribution", sd, "m3/s"),
    ]
    return {
        "results": [
            {"symbol": symbol, "printed": f"{value:#.{DIGITS.get(symbol, 12)}g}", "unit": unit}
            for symbol, value, unit in values
        ]
    }
