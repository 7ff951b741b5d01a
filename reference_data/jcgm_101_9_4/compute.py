"""computed.csv: shortest 95 % intervals of Y = X1^2 + X2^2 by quadrature. Unit: 1e-6.

X is normal about (x1, 0), u = 0.005, correlation r.
Along the axes of the ellipse X1 and X2 are independent, with variances u^2 (1 +- r). P(Y <= y) is an integral over one of them. The
shortest interval begins at 0 where the density falls from there, and else where it is as dense at both its ends.
"""

from functools import partial

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from tests.reference import rows

U = 0.005
NODES, WEIGHTS = np.polynomial.legendre.leggauss(200)


def below(x1, r, y):
    if y <= 0:
        return 0.0
    along, across = U * np.sqrt(1 + r), U * np.sqrt(1 - r)
    mean, radius = x1 / np.sqrt(2), np.sqrt(1e-6 * y)
    angle = 0.5 * np.pi * NODES
    place, reach = radius * np.sin(angle), radius * np.cos(angle)
    dense = np.exp(-0.5 * ((place - mean) / along) ** 2) / (along * np.sqrt(2 * np.pi))
    inside = ndtr((reach - mean) / across) - ndtr((-reach - mean) / across)
    return float(np.sum(0.5 * np.pi * WEIGHTS * reach * dense * inside))


def quantile(distribution, probability):
    return brentq(lambda y: distribution(y) - probability, 0.0, 1e4, xtol=1e-9)


def shortest(x1, r):
    distribution = partial(below, x1, r)

    def ends(tail):
        return (quantile(distribution, tail) if tail > 0 else 0.0), quantile(distribution, tail + 0.95)

    def length(tail):
        low, high = ends(tail)
        return high - low

    tails = np.concatenate([[0.0], np.linspace(1e-4, 0.0499, 12)])
    best = int(np.argmin([length(tail) for tail in tails]))
    if best == 0:
        return ends(0.0)

    def denser_at_the_low_end(tail):
        low, high = ends(tail)
        step = 0.01
        return sum(sign * (distribution(end + step) - distribution(end - step)) for sign, end in ((1, low), (-1, high)))

    return ends(brentq(denser_at_the_low_end, tails[best - 1] or 1e-6, tails[best + 1]))


def tables():
    made = []
    for row in rows("jcgm_101_9_4", "computed"):
        low, high = shortest(float(row["x1"]), float(row["r"]))
        made.append({"x1": row["x1"], "r": row["r"], "low [1e-6]": f"{low:.1f}", "high [1e-6]": f"{high:.1f}"})
    return {"computed": made}
