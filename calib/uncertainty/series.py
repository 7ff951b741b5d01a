"""Type A evaluation of a logged series: successive values that are correlated with one another (GUM 4.2.7).

A meter that logs each second gives values that remember the ones before. Where neighbours correlate by r, and values k steps apart
by r^k (a first-order autoregression), n of them count for n_eff:

    r = r1 + (1 + 4 r1)/n,  then + 0.5 sqrt((1 - r^2)/n),  within 0 to 0.99     r1 the sample correlation at lag 1
    n_eff = n/(1 + 2 sum_(k=1)^(n-1) (1 - k/n) r^k),  at least 1.15
    u^2 = s^2 (n - 1)/(n - n/n_eff)/n_eff,            nu = max(1, n_eff - 1)

A sample correlation is too small on the average, by (1 + 4 r)/n, and scatters; a sample variance of correlated values is too small
too. A slow swing under quick noise hides from lag 1, and shows between means of blocks: the same is done with means of 2, 3 and 5
neighbours, of which there must be 8 at least, and the largest U counts. Taking all for independent, u = s/sqrt(n), understates it.

Sources, from memory: N. F. Zhang, Metrologia 43 (2006) S276 (the mean of a correlated series); F. H. C. Marriott and J. A. Pope,
Biometrika 41 (1954) 390 (the bias of r1). Half a standard deviation of r1, and the blocks: own simulations.

Decision (2026-11-29). Short records must be covered too: with 60 values and r = 0.9 this covers 97.9 %, and 94.5 % where half of
the variance is white noise; the sum over sample autocorrelations up to the first pair that is not positive covered 81 %. Options:
lag 1 alone (54 to 78 % under noise), means of a fixed number of batches (right, but no better for long records). Cost: U of an
uncorrelated record of 60 is larger by half than of independent values.
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats
from calib.errors import CalibError
from calib.uncertainty.coverage import coverage_factor
from calib.uncertainty.estimate import Estimate

FEWEST_OF_A_SERIES = 10  # values below which an autocorrelation says nothing

_BLOCKS = (1, 2, 3, 5)  # neighbours in a mean
_FEWEST_BLOCKS = 8
_STRONGEST = 0.99
_LEAST_EFFECTIVE = 1.15  # below it u^2 would be made up for a variance that the record cannot show

_TOO_FEW = 4.0  # effective values below which a record says little of its own mean
_ENOUGH = 10.0


@dataclass(frozen=True)
class SeriesEstimate:
    """Mean of a logged series, with what its autocorrelation does to the uncertainty."""

    estimate: Estimate  # mean, u, and degrees of freedom
    observations: int  # n
    standard_deviation: float  # s of one value, made up for the correlation
    effective_observations: float  # s^2/u^2, at most n: as many independent values would have that u
    correlation: float  # r of neighbours, or of neighbouring means
    block: int  # how many neighbours were averaged where the largest U showed; 1: none

    @property
    def values_wanted(self) -> int | None:
        """How long the record should have been, where it is too short: about the length for 10 effective values; else None."""
        effective = self.estimate.degrees_of_freedom + 1.0
        return None if effective >= _TOO_FEW else int(np.ceil(self.observations * _ENOUGH / effective))


@dataclass(frozen=True)
class _Mean:
    """Mean of equally spaced values as of a first-order autoregression."""

    variance: float  # of one value
    effective: float
    correlation: float

    @property
    def standard_uncertainty(self) -> float:
        return float(np.sqrt(self.variance / self.effective))

    @property
    def degrees_of_freedom(self) -> float:
        return max(1.0, self.effective - 1.0)


def type_a_of_series(values: ArrayLike) -> SeriesEstimate:
    """Mean of a logged series with its standard uncertainty; raises CalibError for fewer than 10 values or a non-finite one.

    For values of one steady quantity at equal steps of time. A drift shows as a long correlation and few effective observations.
    """
    series = np.asarray(values, dtype=float)
    n = series.size
    if n < FEWEST_OF_A_SERIES:
        raise CalibError(
            f"{n} logged value(s): at least {FEWEST_OF_A_SERIES} are needed to see how they are correlated"
        )
    if not np.all(np.isfinite(series)):
        raise CalibError(f"logged value {int(np.flatnonzero(~np.isfinite(series))[0]) + 1} is not finite")
    blocks = [size for size in _BLOCKS if n >= size * _FEWEST_BLOCKS]
    means = [_autoregression(_of_blocks(series, size)) for size in blocks]
    factors = coverage_factor([mean.degrees_of_freedom for mean in means])
    widest = int(np.argmax(factors * [mean.standard_uncertainty for mean in means]))
    mean, single = means[widest], means[0]
    u = mean.standard_uncertainty
    effective = min(float(n), single.variance / u**2) if u > 0 else float(n)
    estimate = Estimate(float(series.mean()), u, mean.degrees_of_freedom)
    return SeriesEstimate(estimate, n, float(np.sqrt(single.variance)), effective, mean.correlation, blocks[widest])


def _of_blocks(series: Floats, size: int) -> Floats:
    """Means of as many neighbours; what is left at the end counts for nothing."""
    blocks = series.size // size
    return np.asarray(series[: blocks * size].reshape(blocks, size).mean(axis=1))


def _autoregression(series: Floats) -> _Mean:
    n = series.size
    away = series - series.mean()
    squares = float(away @ away)
    first = float(away[1:] @ away[:-1]) / squares if squares > 0 else 0.0
    r = min(max(first + (1.0 + 4.0 * first) / n, 0.0), _STRONGEST)
    r = min(r + 0.5 * float(np.sqrt((1.0 - r**2) / n)), _STRONGEST)
    lags = np.arange(1, n)
    effective = max(n / (1.0 + 2.0 * float(np.sum((1.0 - lags / n) * r**lags))), _LEAST_EFFECTIVE)
    return _Mean(squares / (n - n / effective), effective, r)
