"""Probability that several results conform at once, from what their errors have in common.

    P = E_f prod_i [Phi((b_i - L_i f)/o_i) - Phi((a_i - L_i f)/o_i)]

with limits a_i, b_i in standard uncertainties from the results, common factors f and an own part o_i
(calib.uncertainty.common_factors): for given f the results are independent. Never the product of the single probabilities: where
some results lie near an upper limit and others near a lower one, an error that they share takes one side out, whichever sign it
has, and the product says too much.

A result with few degrees of freedom has Student's t; it is brought to the normal scale at equal probability, so that each
probability of conformity by itself is the one printed (a Gaussian copula, R. B. Nelsen, An Introduction to Copulas, from memory).

Decision (2026-11-29): a shifted lattice of Richtmyer's with the baker's transform over the factors (A. Genz and F. Bretz,
Computation of Multivariate Normal and t Probabilities, 2009, from memory), eight fixed shifts, doubled until their spread is
small. Options: scipy's multivariate normal distribution (random, and its cost grows with the square of the results); quadrature
(four factors at the most). Cost: the last digits are the lattice's; three standard errors of the eight are given beside.

Decision (2026-11-29): Phi is asked of a table there, for one result after the other: its values stay near the processor.
Options: scipy's ndtr (four times the time for a job of a thousand); fewer points; all results together in portions (162 ms for
244 of a job of a thousand with five factors, 62 for 31 of sixty; another function and a size of portions). Cost: 1e-8 of each
probability, well below what the lattice leaves.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr, ndtri, stdtr

from calib.arrays import Floats
from calib.confirmation.conformity import ToleranceIntervals

_SHIFTS = 8
_SEED = 20261129
_FIRST, _LAST = 1 << 10, 1 << 12  # points of each shift
_SMALL_ENOUGH = 1e-3  # of the numerical error
_NOTHING = 1e-9  # standard uncertainties: smaller factors are left out, and no own part counts for less
_FAR = 6.0  # a limit so many standard uncertainties away is not crossed: 1e-9
_STEPS = 2048  # of the table of Phi, for each standard uncertainty: straight lines between are within 1e-8
_PHI = ndtr(np.linspace(-_FAR, _FAR, int(2 * _FAR * _STEPS) + 1))
_RISE = np.diff(_PHI)


@dataclass(frozen=True)
class JointProbability:
    """A probability [1], and three standard errors of its computation."""

    probability: float
    numerical_error: float


def standard_limits(
    value: Floats, standard_uncertainty: Floats, degrees_of_freedom: Floats, interval: ToleranceIntervals
) -> ToleranceIntervals:
    """Limits as the results see them, on the normal scale: Phi(b) = F_nu((T_U - y)/u). Arrays are (n,), u above 0."""

    def scaled(limit: Floats) -> Floats:
        t = (limit - value) / standard_uncertainty
        student = -np.sign(t) * ndtri(stdtr(degrees_of_freedom, -np.abs(t)))
        # Of infinity there is no sign to be multiplied with 0, and a limit that far is as far in any distribution.
        return np.where(np.isfinite(degrees_of_freedom) & np.isfinite(t), student, t)

    return ToleranceIntervals(scaled(interval.lower), scaled(interval.upper))


def probability_of_all(limits: ToleranceIntervals, loadings: Floats, own: Floats) -> JointProbability:
    """Probability that n results lie within their standard limits at once.

    `loadings` (n, m) and `own` (n,) are shares of each result's standard uncertainty: their squares add to 1 for each.
    """
    left, size, _ = np.linalg.svd(loadings, full_matrices=False)
    counts = size > _NOTHING
    factors = left[:, counts] * size[counts]
    if not factors.shape[1]:
        return JointProbability(float(np.prod(ndtr(limits.upper) - ndtr(limits.lower))), 0.0)
    generators = np.sqrt(_primes(factors.shape[1]))
    shifts = np.random.Generator(np.random.PCG64(_SEED)).random((_SHIFTS, factors.shape[1]))
    sums, done, points = np.zeros(_SHIFTS), 0, _FIRST
    while True:
        sums += [_sum(limits, factors, own, generators, shift, range(done + 1, points + 1)) for shift in shifts]
        means, done = sums / points, points
        error = 3.0 * float(np.std(means, ddof=1) / np.sqrt(_SHIFTS))
        if error <= _SMALL_ENOUGH or points >= _LAST:
            return JointProbability(float(np.mean(means)), error)
        points *= 2


def _sum(
    limits: ToleranceIntervals, factors: Floats, own: Floats, generators: Floats, shift: Floats, points: range
) -> float:
    """Sum over points of a lattice of factors of the probability that all results conform, given these."""
    lattice = np.mod(np.array(points)[:, np.newaxis] * generators + shift, 1.0)
    drawn = ndtri(np.abs(2.0 * lattice - 1.0))
    # In standard deviations of the own parts.
    scale = np.maximum(own, _NOTHING)
    lower, upper, directions = limits.lower / scale, limits.upper / scale, factors / scale[:, np.newaxis]
    any_near = np.any(upper < lower + 2.0 * _FAR)  # else the other limit is far from each result wherever it lies
    all_inside = np.ones(len(drawn))
    for low, high, direction in zip(lower, upper, directions, strict=True):
        given = drawn @ direction
        above, below = given - low, high - given
        inside = _phi(np.minimum(above, below))
        if any_near:
            inside -= _phi(-np.maximum(above, below))
        all_inside *= inside
    return float(np.sum(all_inside))


def _phi(x: Floats) -> Floats:
    """Phi in the place of x, by straight lines between the values of the table."""
    steps = np.clip(x, -_FAR, _FAR, out=x)
    steps += _FAR
    steps *= _STEPS
    place = steps.astype(np.int32)
    steps -= place
    steps *= _RISE.take(place, mode="clip")  # at the end nothing is left of a step: any rise will do
    steps += _PHI.take(place, mode="clip")
    return steps


def _primes(count: int) -> Floats:
    """The first prime numbers."""
    primes: list[int] = []
    candidate = 2
    while len(primes) < count:
        if all(candidate % prime for prime in primes):
            primes.append(candidate)
        candidate += 1
    return np.array(primes, dtype=float)
