"""fits.csv: King's law E^2 = a + b v^n through comparisons.csv with equal weights of E^2, n free and n = 1/2.

For each n the line in v^n has a closed form; the n of the least sum of squares is found by golden section.
"""

from math import fsum, sqrt

from tests.reference import numbers

V, E = numbers("hot_wire", "comparisons")


def line(n):
    """Intercept, slope and sum of squared residuals."""
    x, y = [v**n for v in V.tolist()], [e**2 for e in E.tolist()]
    x_mean, y_mean = fsum(x) / len(x), fsum(y) / len(y)
    b = fsum((u - x_mean) * (w - y_mean) for u, w in zip(x, y, strict=True)) / fsum((u - x_mean) ** 2 for u in x)
    a = y_mean - b * x_mean
    return a, b, fsum((w - a - b * u) ** 2 for u, w in zip(x, y, strict=True))


def exponent():
    low, high = 0.2, 0.8
    part = (sqrt(5) - 1) / 2
    while high - low > 1e-9:
        left, right = high - part * (high - low), low + part * (high - low)
        low, high = (low, right) if line(left)[2] < line(right)[2] else (left, high)
    return (low + high) / 2


def tables():
    n = exponent()
    (a, b, _), (a_root, b_root, _) = line(n), line(0.5)
    found = {"a free": a, "b free": b, "n free": n, "a square root": a_root, "b square root": b_root}
    return {"fits": [{"symbol": symbol, "printed": f"{value:.5f}"} for symbol, value in found.items()]}
