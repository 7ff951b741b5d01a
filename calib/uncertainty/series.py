"""Type A evaluation of a logged series: successive values that are correlated with one another (GUM 4.2.7).

A meter that logs each second gives values that remember the ones before. Their mean has

    u^2 = (s^2/n) (1 + 2 sum_{k=1}^{K} (1 - k/n) rho_k),      n_eff = s^2/u^2

with the sample autocorrelations rho_k. Taking them for independent, u = s/sqrt(n), understates it by sqrt(n/n_eff).

The sum ends before the first pair rho_k + rho_(k+1) that is not positive: beyond it the sample autocorrelations are noise.
Sources, from memory: N. F. Zhang, Metrologia 43 (2006) S276 (the equation); C. J. Geyer, Statistical Science 7 (1992) 473 (where
the sum ends).
"""

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike

from calib.arrays import Floats
from calib.errors import CalibError
from calib.uncertainty.estimate import Estimate

FEWEST_OF_A_SERIES = 10  # values below which an autocorrelation says nothing


@dataclass(frozen=True)
class SeriesEstimate:
    """Mean of a logged series, with what its autocorrelation does to the uncertainty."""

    estimate: Estimate  # mean, u, n_eff - 1 degrees of freedom
    observations: int  # n
    standard_deviation: float  # s of one value, made up for the correlation
    effective_observations: float  # n_eff, 1 < n_eff <= n
    autocorrelation: Floats  # rho_1 ... rho_K that were summed

    @property
    def understated_by(self) -> float:
        """Factor by which s/sqrt(n) understates u."""
        return float(np.sqrt(self.observations / self.effective_observations))


def autocorrelation(values: ArrayLike) -> Floats:
    """Sample autocorrelations rho_0 = 1, rho_1 ... rho_(n-1) of a series, by the fast Fourier transform.

    Zeros after the first for a series that does not vary.
    """
    series = np.asarray(values, dtype=float)
    away = series - series.mean()
    spectrum = np.fft.rfft(away, 2 * series.size)
    covariances = np.fft.irfft(spectrum * np.conj(spectrum))[: series.size]
    if covariances[0] <= 0:
        return np.concatenate(([1.0], np.zeros(series.size - 1)))
    return np.asarray(covariances / covariances[0])


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
    summed = _summed(autocorrelation(series)[1:])
    lags = np.arange(1, summed.size + 1)
    inflation = max(1.0, 1.0 + 2.0 * float(np.sum((1.0 - lags / n) * summed)))
    effective = max(n / inflation, 2.0)
    # The sample variance of correlated values is too small by (1 - 1/n_eff) instead of (1 - 1/n).
    variance = float(np.mean((series - series.mean()) ** 2)) / (1.0 - 1.0 / effective)
    estimate = Estimate(float(series.mean()), float(np.sqrt(variance / effective)), effective - 1.0)
    return SeriesEstimate(estimate, n, float(np.sqrt(variance)), effective, summed)


def _summed(rho: Floats) -> Floats:
    """Autocorrelations before the first pair whose sum is not positive; a first one that is not positive counts for nothing."""
    even = rho[: rho.size - rho.size % 2]
    # Pairs as Geyer takes them: (rho_0, rho_1), (rho_2, rho_3)...: rho_0 = 1 belongs to the first.
    pairs = np.concatenate(([1.0 + even[0]], even[1:-1].reshape(-1, 2).sum(axis=1))) if even.size else np.zeros(0)
    ends = np.flatnonzero(pairs <= 0)
    last = int(ends[0]) if ends.size else pairs.size
    return np.asarray(rho[: max(2 * last - 1, 0)])
