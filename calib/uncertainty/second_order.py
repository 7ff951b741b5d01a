"""Terms of second order of a measurement function: where its distribution lies unsymmetrically, and what the law leaves out.

    Y = y + sum c_i X_i + 1/2 sum f_ij X_i X_j + ...,     X_i errors that are independent and symmetric, V = sum c_i^2 u_i^2
    u^2(y) = V + sum [1/2 f_ij^2 + c_i f_ijj] u_i^2 u_j^2                                 (note to GUM 5.1.2)
    middle - y = 1/2 sum f_ii u_i^2 + (z^2 - 1)/(2 V) sum c_i c_j f_ij u_i^2 u_j^2        (Cornish and Fisher)

The second line holds for normal errors. The third is the mean of the term of second order where the term of first order lies at
either end of its interval, +-z sqrt(V): by so much both ends move, and with them the middle of the interval that leaves as much of
the probability below as above. It is exact to first order in f_ij for normal errors, (z^2 - 1)/6 times the skewness. An error with
few degrees of freedom counts there as a normal one that reaches farther: in f_ii with k(nu) u/z, since where it rules the ends are
its own; beside others, whose share shrinks where it is large, with the root of k(nu)/z (own rule, held against Monte Carlo).

A flow is a product of factors: the measured value, opening, outlet factor, method, density. Each is known relative to its estimate;
that of a velocity pressure is a root. Of a product f_ij = 1 for every two factors, and of a factor that goes with the power m of
what is uncertain f_ii = (m - 1)/m and f_iii = f_ii (2 f_ii - 1), with c_i = 1 and all relative to the product.

Sources: JCGM 100:2008, 5.1.2, note, from memory; E. A. Cornish, R. A. Fisher, Revue de l'Institut International de Statistique
5 (1938) 307, from memory; the conditional mean: first-order change of a quantile, own derivation.

Decision (2026-11-29). The interval is y - U + d to y + U + d, d the third line: two rows of sums for readings of which U is large
beside the flow, none for the others. Options: a convolution of the logarithms (exact for a product of one sign, but a value is a
sum of its own errors, and one with two degrees of freedom has no logarithm); Monte Carlo for each reading (see
`calib.uncertainty.convolution`). Cost: beside Monte Carlo the ends are off by 1 % of U for a product of u = 24 %, and for a root by
3 % at u = 10 % and 8 % at 15 %; with two or three degrees of freedom by 1 to 2 % more (tests/uncertainty/test_second_order.py).
Rectangular errors count as normal ones, and the points of a traverse as one. Not told: what the resistance ratio of a hood with
its throttle set bends, squares of a diameter and of the density (some 1 % of U at the limits that are usual), net flows, in which
what is bent on one side meets the other, and readings with a point near zero, whose value is the mean over the bend already.

Decision (2026-11-29). Terms of second order stay outside U, so that its lines add up to it; where they would change it by more than
5 % the reading is flagged. Of a product of two factors alike that begins at u = 0.63 of it, of a root at 0.17.
"""

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats, Integers
from calib.uncertainty.coverage import COVERAGE_PROBABILITY, coverage_factor

UNSYMMETRICAL_BY = 0.05  # of U, by which the middle of an interval lies beside the value: then its ends are told
CHANGED_BY = 0.05  # of U, by which terms of second order would change it: then the result is flagged


@dataclass(frozen=True)
class Derivatives:
    """Derivatives of a measurement function at the estimates of its f input quantities."""

    first: Floats  # (f,) c_i
    second: Floats  # (f, f) f_ij
    third: Floats  # (f, f) f_ijj = d^3 f/dx_i dx_j^2


def standard_uncertainty_to_second_order(derivatives: Derivatives, uncertainties: ArrayLike) -> Floats:
    """(n,) u(y) with the terms of second order, from standard uncertainties (n, f) of normal errors (note to GUM 5.1.2)."""
    variance = np.asarray(uncertainties, dtype=float) ** 2
    of_pairs = 0.5 * derivatives.second**2 + derivatives.first[:, np.newaxis] * derivatives.third
    beyond = np.sum((variance @ of_pairs) * variance, axis=1)
    return np.asarray(np.sqrt(np.maximum(variance @ derivatives.first**2 + beyond, 0.0)))


def middle_of_interval(
    derivatives: Derivatives, uncertainties: ArrayLike, probability: float = COVERAGE_PROBABILITY
) -> Floats:
    """(n,) by how much the middle of the coverage interval lies above the value, from standard uncertainties (n, f).

    The term of first order must have a width.
    """
    variance = np.asarray(uncertainties, dtype=float) ** 2
    bent = derivatives.first * variance
    along = np.sum((bent @ derivatives.second) * bent, axis=1)
    z = float(coverage_factor(np.inf, probability))
    mean = 0.5 * variance @ np.diag(derivatives.second)
    return np.asarray(mean + 0.5 * (z**2 - 1.0) * along / (bent @ derivatives.first))


@dataclass(frozen=True)
class Product:
    """How n results are products of factors."""

    factor: Integers  # (c,) in which factor each contribution stands; within one they add
    bend: Floats  # (n,) f_ii of the first factor, (m - 1)/m: 0 of a straight one, -1 of a root; NaN: nothing is told of it


@dataclass(frozen=True)
class SecondOrder:
    """What terms of second order make of n results."""

    above: Floats  # (n,) by how much the middle of the interval lies above the value [unit of the result]; 0 where it is symmetric
    changed: Floats  # (n,) by which share of itself U would change, where that is more than 5 %, else 0 [1]


def second_order_of(
    product: Product,
    value: Floats,
    expanded_uncertainty: Floats,
    uncertainties: Floats,
    degrees_of_freedom: Floats,
    probability: float = COVERAGE_PROBABILITY,
) -> SecondOrder:
    """What terms of second order make of products, from standard uncertainties and degrees of freedom (n, c) of contributions.

    Both are 0 where they are within their limits, and where the value is 0.
    """
    z = float(coverage_factor(np.inf, probability))
    above, changed = np.zeros(value.size), np.zeros(value.size)
    # With c_i = 1 and |f_ij| <= 1 the middle moves by z/2 sqrt(V) of U at most, and z sqrt(V) is hardly above U.
    asked = np.flatnonzero(expanded_uncertainty > 1.8 * UNSYMMETRICAL_BY * np.abs(value))
    asked = asked[(value[asked] != 0) & np.isfinite(product.bend[asked])]
    if asked.size == 0:
        return SecondOrder(above, changed)
    relative = uncertainties[asked] / np.abs(value[asked, np.newaxis])
    dof = degrees_of_freedom[asked]
    few = np.isfinite(dof) & (relative > 0)
    farther = np.ones_like(relative)
    farther[few] = coverage_factor(dof[few], probability) / z
    u, alone, beside = (_of_factors(product, relative * by) for by in (1.0, farther, np.sqrt(farther)))
    # The usual job has one bend or two.
    for bend in np.unique(product.bend[asked]).tolist():
        mine = product.bend[asked] == bend
        rows, derivatives = asked[mine], of_product(u.shape[1], bend)
        own, mixed = np.diag(np.diag(derivatives.second)), derivatives.second - np.diag(np.diag(derivatives.second))
        middle = value[rows] * (
            middle_of_interval(replace(derivatives, second=own), alone[mine], probability)
            + middle_of_interval(replace(derivatives, second=mixed), beside[mine], probability)
        )
        above[rows] = np.where(np.abs(middle) > UNSYMMETRICAL_BY * expanded_uncertainty[rows], middle, 0.0)
        of_law = np.linalg.norm(u[mine], axis=1)
        share = standard_uncertainty_to_second_order(derivatives, u[mine]) / of_law - 1.0
        changed[rows] = np.where(np.abs(share) > CHANGED_BY, share, 0.0)
    return SecondOrder(above, changed)


def of_product(factors: int, bend: float) -> Derivatives:
    """Derivatives of a product of `factors`, relative to it, by relative errors of the factors; the first has f_11 = `bend`."""
    second = 1.0 - np.eye(factors)
    second[0, 0] = bend
    third = np.zeros_like(second)
    third[:, 0] = bend
    third[0, 0] = bend * (2.0 * bend - 1.0)
    return Derivatives(np.ones(factors), second, third)


def _of_factors(product: Product, relative: Floats) -> Floats:
    """(n, f) relative standard uncertainty of each factor."""
    factors = np.eye(int(product.factor.max()) + 1)[product.factor]
    return np.asarray(np.sqrt(relative**2 @ factors))
