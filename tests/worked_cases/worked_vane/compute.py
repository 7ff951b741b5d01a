"""results.csv: weighted least squares of the corrections of comparisons.csv in exact fractions, and the value at x.

d^2 = repeatability^2/observations + resolution^2/12; chi^2 = sum (residual/d)^2; u_scatter^2 = j C j^T; u_reference is U/k of the
certificate, interpolated between neighbouring indications. p is the probability that chi^2 with 5 degrees of freedom is higher:
erfc(sqrt(x/2)) + sqrt(2 x/pi) exp(-x/2) (1 + x/3).
"""

from fractions import Fraction
from math import erfc, exp, pi, sqrt

from tests.reference import rows

RESOLUTION, X = Fraction("0.01"), Fraction("4.20")


def points():
    for row in rows("worked_vane", "comparisons"):
        reference, x, s, n, u = map(Fraction, row.values())
        yield x, reference - x, 1 / (s**2 / n + RESOLUTION**2 / 12), u


def interpolated(nodes, x):
    after = next(k for k, (node, _) in enumerate(nodes) if node >= x)
    (left, u_left), (right, u_right) = nodes[after - 1], nodes[after]
    return u_left + (u_right - u_left) * (x - left) / (right - left)


def tables():
    data = list(points())
    w, wx, wxx = (sum(weight * x**k for x, _, weight, _ in data) for k in range(3))
    wc, wxc = (sum(weight * c * x**k for x, c, weight, _ in data) for k in range(2))
    constant = sum(weight * (c - wc / w) ** 2 for _, c, weight, _ in data)
    determinant = w * wxx - wx**2
    b_1 = (w * wxc - wx * wc) / determinant
    b_0 = (wxx * wc - wx * wxc) / determinant
    line = sum(weight * (c - b_0 - b_1 * x) ** 2 for x, c, weight, _ in data)
    scatter = (wxx - 2 * X * wx + X**2 * w) / determinant
    half = float(line)
    p = erfc(sqrt(half / 2)) + sqrt(2 * half / pi) * exp(-half / 2) * (1 + half / 3)
    u = interpolated([(x, u) for x, _, _, u in data], X)
    values = [
        ("resolution", "0.01", "m/s"),
        ("x", "4.20", "m/s"),
        ("chi2 degree 0", f"{float(constant):.0f}", ""),
        ("nu degree 0", f"{len(data) - 1}", ""),
        ("chi2 degree 1", f"{half:.2f}", ""),
        ("nu degree 1", f"{len(data) - 2}", ""),
        ("p degree 1", f"{p:.3f}", ""),
        ("b0", f"{float(b_0):.5f}", "m/s"),
        ("b1", f"{float(b_1):.6f}", ""),
        ("v", f"{float(X + b_0 + b_1 * X):.5f}", "m/s"),
        ("u scatter", f"{sqrt(scatter):.5f}", "m/s"),
        ("u reference", f"{float(u):.6f}", "m/s"),
    ]
    return {"results": [dict(zip(("symbol", "printed", "unit"), row, strict=True)) for row in values]}
