"""Coverage factor and expanded uncertainty (GUM 6 and Annex G)."""

import math

import numpy as np
from numpy.polynomial import Chebyshev
from numpy.typing import ArrayLike
from scipy.special import ndtri, stdtridf, stdtrit

from calib.arrays import Floats
from calib.errors import CalibError

# ILAC-P14:09/2020 asks for approximately 95 % (from memory); 95.45 % gives k = 2 where the degrees of freedom are many.
COVERAGE_PROBABILITY = 0.9545

# GUM Table G.2, note: these stated probabilities stand for exactly 1, 2 and 3 standard deviations.
_STANDARD_DEVIATIONS = {0.6827: 1.0, 0.9545: 2.0, 0.9973: 3.0}


def exact_probability(stated: float) -> float:
    """Coverage probability meant by a stated one: 0.6827, 0.9545, 0.9973 stand for 1, 2, 3 standard deviations."""
    k = _STANDARD_DEVIATIONS.get(round(stated, 9))
    return stated if k is None else math.erf(k / math.sqrt(2.0))


# From here on the series below agrees with the quantile to 1e-9, at the usual probability to 1e-13, and costs a fiftieth of it.
_MANY = 400.0

# Many quantiles between 1 and that are read off a Chebyshev series of ln t in 1/nu: to 1e-13 at the usual probability, and to
# 1e-8 at 99.9999 %. A few are asked for each by itself.
_DEGREE = 23
_FEW = 64


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


def _small(nu: Floats, quantile: float) -> Floats:
    """Quantile of t for degrees of freedom (n,) below `_MANY`."""
    if nu.size <= _FEW:
        return np.asarray(stdtrit(nu, quantile))
    k = np.empty_like(nu)
    below = nu < 1.0
    k[below] = stdtrit(nu[below], quantile)
    series = Chebyshev.interpolate(lambda x: np.log(stdtrit(1.0 / x, quantile)), _DEGREE, domain=[1.0 / _MANY, 1.0])
    k[~below] = np.exp(series(1.0 / nu[~below]))
    return k


def coverage_factor(degrees_of_freedom: ArrayLike, probability: float = COVERAGE_PROBABILITY) -> Floats:
    """Coverage factor k_p = t_p(nu), nu real-valued (GUM G.4.1 allows to interpolate; its table has whole numbers only).

    Degrees of freedom of any shape, infinite allowed, NaN where they are not known; 0 < probability < 1. Raises CalibError where
    degrees of freedom are 0 or below. Source: GUM G.3, G.4.1, Tables G.1 and G.2.
    """
    nu = np.asarray(degrees_of_freedom, dtype=float)
    if np.any(nu <= 0):
        raise CalibError(
            f"{np.min(nu[nu <= 0]):g} degrees of freedom: a coverage factor needs more than 0, as a scatter needs two observations"
        )
    quantile = 0.5 * (1.0 + exact_probability(probability))
    k = np.asarray(_large(nu, float(ndtri(quantile))))  # unknown degrees of freedom stay unknown: they are not infinite
    few = nu < _MANY
    if np.any(few):
        k[few] = _small(nu[few], quantile)
    return k


def degrees_of_freedom_from_factor(factor: ArrayLike, probability: float = COVERAGE_PROBABILITY) -> Floats:
    """Degrees of freedom nu at which t_p(nu) is a coverage factor, of any shape: the inverse of `coverage_factor`.

    Infinite where the factor is not above that of the normal distribution. 0 < probability < 1. Source: GUM G.3.
    """
    k = np.asarray(factor, dtype=float)
    quantile = 0.5 * (1.0 + exact_probability(probability))
    above = k > float(ndtri(quantile))
    nu = np.full_like(k, np.inf)
    nu[above] = stdtridf(quantile, k[above])
    return nu
