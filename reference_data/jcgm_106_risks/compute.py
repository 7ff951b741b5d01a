"""risks.csv: global risks of a process N(0, u0) about the nominal value, measured with um, tolerance +-T, acceptance +-(T - w).

consumer     P(not conforming and accepted)     = 2 integral_T^inf phi(y/u0)/u0 P(accepted | y) dy
producer     P(conforming and rejected)         = integral_-T^T phi(y/u0)/u0 (1 - P(accepted | y)) dy
conforming   erf(T/(u0 sqrt 2))

by Gauss-Legendre with 40 nodes in each step of um, summed without loss; rounded to 15 decimals.
"""

from math import erf, erfc, exp, fsum, pi, sqrt

import numpy as np

from tests.reference import printed

NODES, WEIGHTS = (column.tolist() for column in np.polynomial.legendre.leggauss(40))


def integral(function, low, high, step):
    pieces = round((high - low) / step)
    width = (high - low) / pieces
    return fsum(
        weight * width / 2 * function(low + (piece + (1 + node) / 2) * width)
        for piece in range(pieces)
        for node, weight in zip(NODES, WEIGHTS, strict=True)
    )


def tables():
    given = {symbol: float(text) for symbol, text in printed("jcgm_106_risks", "process").items()}
    t, u_0, u_m = given["tolerance"], given["u0"], given["um"]

    def dense(y):
        return exp(-0.5 * (y / u_0) ** 2) / (u_0 * sqrt(2 * pi))

    def row(rule, w):
        limit = t - float(w)

        def rejected(y):
            return (erfc((limit - y) / (u_m * sqrt(2))) + erfc((limit + y) / (u_m * sqrt(2)))) / 2

        def accepted(y):
            return (erfc((y - limit) / (u_m * sqrt(2))) - erfc((y + limit) / (u_m * sqrt(2)))) / 2

        consumer = 2 * integral(lambda y: dense(y) * accepted(y), t, t + 12 * u_m, u_m)
        producer = integral(lambda y: dense(y) * rejected(y), -t, t, u_m)
        risks = {"consumer": consumer, "producer": producer, "conforming": erf(t / (u_0 * sqrt(2)))}
        return {"rule": rule, "w": w} | {name: f"{value:.15f}" for name, value in risks.items()}

    return {"risks": [row("binary rule", "0"), row("guard band w = 2 um", "0.08")]}
