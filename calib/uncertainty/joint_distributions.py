"""Joint distributions of quantities that are known together (JCGM 101:2008, 6.4.8; JCGM 102:2011, 5.3).

    what is known                                                  distribution                 clause
    estimates and covariance matrix                                MultivariateNormal           6.4.8
    estimates from one series of observations or one fit           MultivariateT                JCGM 102:2011, 5.3.2

A joint distribution gives the model one array for each of its quantities, in their order.
"""

import math
from dataclasses import dataclass, field

import numpy as np

from calib.arrays import Floats
from calib.errors import CalibError
from calib.uncertainty.distributions import require_degrees_of_freedom, standard_deviation_of_t


@dataclass(frozen=True)
class MultivariateNormal:
    """Multivariate normal distribution N(x, V): estimates of N quantities with their covariance matrix (6.4.8).

    V may be singular: quantities that determine one another. Raises CalibError where V is not positive semi-definite.
    """

    mean: Floats  # (N,) estimates [units of the quantities]
    covariance: Floats  # (N, N) symmetric, positive semi-definite [products of those units]
    _root: Floats = field(init=False, repr=False, compare=False)  # (N, N): root root^T = covariance

    def __post_init__(self) -> None:
        object.__setattr__(self, "_root", _square_root(self.mean, self.covariance))

    @property
    def standard_uncertainty(self) -> Floats:
        """(N,) square roots of the diagonal [units of the quantities]."""
        return np.sqrt(np.diag(self.covariance))

    def draw(self, generator: np.random.Generator, trials: int) -> Floats:
        """(N, trials) x + root z, z independent standard normal (6.4.8.4)."""
        drawn = np.asarray(self._root @ generator.standard_normal((self.mean.size, trials)))
        drawn += self.mean[:, np.newaxis]
        return drawn


@dataclass(frozen=True)
class MultivariateT:
    """Multivariate t-distribution t_nu(x, S): N quantities from one series of observations (JCGM 102:2011, 5.3.2).

    Also the coefficients of a curve whose scatter has nu degrees of freedom. The scale matrix S, which may be singular, is the
    covariance matrix of the law of propagation; that of the distribution is nu/(nu-2) S, and infinite for nu <= 2. Raises
    CalibError where S is not positive semi-definite.
    """

    location: Floats  # (N,) estimates [units of the quantities]
    scale_matrix: Floats  # (N, N) symmetric, positive semi-definite [products of those units]
    degrees_of_freedom: float  # nu, above 0 and finite
    _root: Floats = field(init=False, repr=False, compare=False)  # (N, N): root root^T = scale_matrix

    def __post_init__(self) -> None:
        require_degrees_of_freedom(self.degrees_of_freedom)
        object.__setattr__(self, "_root", _square_root(self.location, self.scale_matrix))

    @property
    def mean(self) -> Floats:
        """(N,) the location; not a number for nu <= 1 [units of the quantities]."""
        return self.location if self.degrees_of_freedom > 1.0 else np.full_like(self.location, math.nan)

    @property
    def standard_uncertainty(self) -> Floats:
        """(N,) square roots of the diagonal times sqrt(nu/(nu-2)); infinite for nu <= 2 [units of the quantities]."""
        scale = np.sqrt(np.diag(self.scale_matrix))
        widening = standard_deviation_of_t(self.degrees_of_freedom)
        return np.multiply(scale, widening, out=np.zeros_like(scale), where=scale > 0)  # 0, not 0 times infinity

    def draw(self, generator: np.random.Generator, trials: int) -> Floats:
        """(N, trials) x + root z sqrt(nu/w), z independent standard normal, w chi-squared with nu degrees of freedom."""
        drawn = np.asarray(self._root @ generator.standard_normal((self.location.size, trials)))
        drawn *= np.sqrt(self.degrees_of_freedom / generator.chisquare(self.degrees_of_freedom, trials))
        drawn += self.location[:, np.newaxis]
        return drawn


# On the scale of the correlations. Below the first, an eigenvalue is negative by more than rounding explains; up to N times
# the second it is 0.
_NEGATIVE = -1e-10
_ZERO = 1e-14


def _square_root(mean: Floats, covariance: Floats) -> Floats:
    """(N, N) root with root root^T = covariance; raises CalibError where there is none.

    The symmetric root of the correlations, times the standard uncertainties: unlike a Cholesky factor (6.4.8.4) it exists for
    singular matrices, and unlike other roots it is unique, so that a seed means the same draws, but
    for rounding, on every machine.
    """
    _require_shapes(mean, covariance)
    scale = np.sqrt(np.abs(np.diag(covariance)))
    product = np.outer(scale, scale)
    correlations = np.divide(covariance, product, out=np.array(covariance, dtype=float), where=product > 0)
    if np.abs(correlations - correlations.T).max() > 1e-9:
        raise CalibError(
            "covariance matrix is not symmetric: state the covariance of each pair of quantities once, for both places"
        )
    values, vectors = np.linalg.eigh(correlations)
    if values[0] < _NEGATIVE:
        raise CalibError(
            f"covariance matrix is not positive semi-definite: its correlations have the eigenvalue {values[0]:.3g}; "
            "look for a correlation that contradicts the others, or state the correlations with more digits"
        )
    above_zero = np.where(values > _ZERO * mean.size, values, 0.0)
    return np.asarray(scale[:, np.newaxis] * ((vectors * np.sqrt(above_zero)) @ vectors.T))


def _require_shapes(mean: Floats, covariance: Floats) -> None:
    size = mean.size
    if not size or mean.shape != (size,) or covariance.shape != (size, size):
        raise CalibError(
            f"estimates of shape {mean.shape} with a covariance matrix of shape {covariance.shape}: (N,) and (N, N) are needed"
        )
    if not (np.isfinite(mean).all() and np.isfinite(covariance).all()):
        raise CalibError(f"estimates {mean.tolist()} with covariance matrix {covariance.tolist()}: all must be finite")
