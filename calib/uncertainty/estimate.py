"""Value, standard uncertainty, degrees of freedom: Type A and Type B evaluation (GUM 4)."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats
from calib.errors import CalibError


@dataclass(frozen=True)
class Estimate:
    """An input estimate (GUM 4.1.4)."""

    value: float  # [unit of the quantity]
    standard_uncertainty: float  # [unit of the quantity], not negative
    degrees_of_freedom: float = math.inf  # infinite where the uncertainty is taken as exactly known

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.standard_uncertainty)):
            raise CalibError(f"{self.value} with u = {self.standard_uncertainty}: both must be finite")
        if self.standard_uncertainty < 0 or not self.degrees_of_freedom > 0:
            raise CalibError(
                f"u = {self.standard_uncertainty} must not be negative, dof = {self.degrees_of_freedom} above 0"
            )


def type_a(observations: Sequence[float]) -> Estimate:
    """Mean of repeated observations, u = s/sqrt(n), n-1 degrees of freedom (GUM 4.2.3).

    For two or more independent observations of one quantity under repeatability conditions. The spread over different places
    is no such series. Raises CalibError for fewer than two.
    """
    n = len(observations)
    if n < 2:
        raise CalibError(f"{n} observation(s): a Type A evaluation needs at least 2")
    mean = math.fsum(observations) / n
    return Estimate(mean, uncertainty_of_mean(observations, mean), n - 1)


def uncertainty_of_mean(observations: Sequence[float], mean: float) -> float:
    """Experimental standard deviation of the mean of two or more observations: u = s/sqrt(n) (GUM 4.2.3)."""
    n = len(observations)
    s = math.sqrt(math.fsum([(value - mean) ** 2 for value in observations]) / (n - 1))
    return s / math.sqrt(n)


def type_a_covariance(observations: ArrayLike) -> tuple[Floats, Floats]:
    """Means and covariance matrix of the means of quantities observed together (GUM 5.2.3).

    `observations` has one row for each quantity and one column for each simultaneous observation, at least two.
    """
    series = np.asarray(observations, dtype=float)
    n = series.shape[1]
    if n < 2:
        raise CalibError(f"{n} observation(s): a Type A evaluation needs at least 2")
    return series.mean(axis=1), np.atleast_2d(np.cov(series)) / n


def rectangular(half_width: float) -> float:
    """Standard uncertainty of a value known to lie within +- half_width: a/sqrt(3) (GUM 4.3.7)."""
    return half_width / math.sqrt(3)


def triangular(half_width: float) -> float:
    """Standard uncertainty of a symmetric triangular distribution: a/sqrt(6) (GUM 4.3.9)."""
    return half_width / math.sqrt(6)


def arcsine(half_width: float) -> float:
    """Standard uncertainty of a value that swings sinusoidally within +- half_width: a/sqrt(2) (GUM H.1.3.4)."""
    return half_width / math.sqrt(2)


def resolution(step: float) -> float:
    """Standard uncertainty from a digital step: step/sqrt(12) (GUM F.2.2.1)."""
    return step / math.sqrt(12)


def from_expanded(expanded_uncertainty: float, coverage_factor: float) -> float:
    """Standard uncertainty of a certificate's value: U/k (GUM 4.3.3)."""
    return expanded_uncertainty / coverage_factor


def relative_uncertainty_of_s(observations: int) -> float:
    """Relative standard deviation of the standard deviation s of n normal observations (GUM E.4.3, Table E.1).

        sqrt((n-1)/2 (Gamma((n-1)/2)/Gamma(n/2))^2 - 1): 76 % for n = 2, 24 % for n = 10

    Of s over its expectation; raises CalibError for fewer than two observations.
    """
    if observations < 2:
        raise CalibError(f"{observations} observation(s) have no standard deviation: at least 2 are needed")
    half = (observations - 1) / 2
    ratio = math.exp(math.lgamma(half) - math.lgamma(half + 0.5))
    return math.sqrt(half * ratio**2 - 1.0)


def degrees_of_freedom_of(relative_uncertainty_of_u: float) -> float:
    """Degrees of freedom of a Type B uncertainty judged reliable to a fraction: 1/(2 r^2) (GUM G.4.2)."""
    return 0.5 / relative_uncertainty_of_u**2
