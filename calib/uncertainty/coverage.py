"""Coverage factor and expanded uncertainty (GUM 6 and Annex G)."""

import math

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.special import ndtri, stdtrit

# ILAC-P14:09/2020 asks for approximately 95 %; 95.45 % gives k = 2 where the degrees of freedom are many.
COVERAGE_PROBABILITY = 0.9545

# GUM Table G.2, note: these stated probabilities stand for exactly 1, 2 and 3 standard deviations.
_STANDARD_DEVIATIONS = {0.6827: 1.0, 0.9545: 2.0, 0.9973: 3.0}


def exact_probability(stated: float) -> float:
    """Coverage probability meant by a stated one: 0.6827, 0.9545, 0.9973 stand for 1, 2, 3 standard deviations."""
    k = _STANDARD_DEVIATIONS.get(round(stated, 9))
    return stated if k is None else math.erf(k / math.sqrt(2.0))


def coverage_factor(degrees_of_freedom: ArrayLike, probability: float = COVERAGE_PROBABILITY) -> NDArray[np.float64]:
    """Coverage factor k_p = t_p(nu), nu cut to the next lower integer (GUM G.4.1 NOTE 1, G.6.4), never below 1.

    Degrees of freedom of any shape, infinite allowed; 0 < probability < 1. Source: GUM Tables G.1 and G.2.
    """
    nu = np.asarray(degrees_of_freedom, dtype=float)
    quantile = 0.5 * (1.0 + exact_probability(probability))
    # The quantile of t is dear and the whole numbers are few: each is asked for once.
    # A count that arithmetic left a rounding error below an integer is that integer.
    whole, place = np.unique(np.maximum(np.floor(nu * (1.0 + 1e-12)), 1.0), return_inverse=True)
    finite = np.isfinite(whole)
    k = np.where(finite, stdtrit(np.where(finite, whole, 1.0), quantile), ndtri(quantile))
    k[np.isnan(whole)] = np.nan  # unknown is not infinite
    return np.asarray(k[place].reshape(nu.shape))
