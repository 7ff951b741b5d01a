"""Coverage factor and expanded uncertainty (GUM 6 and Annex G)."""

import math

import numpy as np
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtrit

from calib.arrays import Floats

# ILAC-P14:09/2020 asks for approximately 95 % (from memory); 95.45 % gives k = 2 where the degrees of freedom are many.
COVERAGE_PROBABILITY = 0.9545

# GUM Table G.2, note: these stated probabilities stand for exactly 1, 2 and 3 standard deviations.
_STANDARD_DEVIATIONS = {0.6827: 1.0, 0.9545: 2.0, 0.9973: 3.0}


def exact_probability(stated: float) -> float:
    """Coverage probability meant by a stated one: 0.6827, 0.9545, 0.9973 stand for 1, 2, 3 standard deviations."""
    k = _STANDARD_DEVIATIONS.get(round(stated, 9))
    return stated if k is None else math.erf(k / math.sqrt(2.0))


# From here on the series below agrees with the quantile to 1e-11 and costs a fiftieth of it.
_MANY = 400.0


def _large(nu: Floats, z: float) -> Floats:
    """Quantile of t for many degrees of freedom, from the normal one z (Abramowitz and Stegun 26.7.5)."""
    terms = (
        (79 * z**9 + 776 * z**7 + 1482 * z**5 - 1920 * z**3 - 945 * z) / 92160,
        (3 * z**7 + 19 * z**5 + 17 * z**3 - 15 * z) / 384,
        (5 * z**5 + 16 * z**3 + 3 * z) / 96,
        (z**3 + z) / 4,
    )
    total = np.zeros_like(nu)
    for term in terms:
        total = (total + term) / nu
    return z + total


def coverage_factor(degrees_of_freedom: ArrayLike, probability: float = COVERAGE_PROBABILITY) -> Floats:
    """Coverage factor k_p = t_p(nu), nu cut to the next lower integer (GUM G.4.1 NOTE 1, G.6.4), never below 1.

    Degrees of freedom of any shape, infinite allowed; 0 < probability < 1. Source: GUM Tables G.1 and G.2.
    """
    nu = np.asarray(degrees_of_freedom, dtype=float)
    quantile = 0.5 * (1.0 + exact_probability(probability))
    # A count that arithmetic left a rounding error below an integer is that integer.
    whole = np.maximum(np.floor(nu * (1.0 + 1e-12)), 1.0)
    k = np.asarray(
        _large(whole, float(ndtri(quantile)))
    )  # unknown degrees of freedom stay unknown: they are not infinite
    few = whole < _MANY
    # The quantile of t is dear and the whole numbers are few: each is asked for once.
    asked = whole[few].astype(np.int64)
    numbers = np.flatnonzero(np.bincount(asked))
    quantiles = np.empty(numbers[-1] + 1 if numbers.size else 0)
    quantiles[numbers] = stdtrit(numbers, quantile)
    k[few] = quantiles[asked]
    return k
