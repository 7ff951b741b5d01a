"""Input distributions: what is known about an input quantity, as a probability distribution (JCGM 101:2008, clause 6).

    what is known                                                  distribution                 clause
    limits                                                         Rectangular                  6.4.2
    limits that are themselves not exactly known                   CurvilinearTrapezoidal       6.4.3
    the sum of two quantities known by their limits                Trapezoidal, Triangular      6.4.4, 6.4.5
    limits of a sinusoidal swing                                   Arcsine                      6.4.6
    estimate and standard uncertainty                              Normal                       6.4.7
    a series of observations, or effective degrees of freedom      StudentT                     6.4.9

Each has `mean` and `standard_uncertainty` [unit of the quantity], and `draw(generator, trials)`. A parameter that makes no
distribution raises CalibError with its number. An input quantity without uncertainty is no distribution: it belongs into the
model. Quantities that are known together have a joint distribution: `joint_distributions`.
"""

import math
from dataclasses import dataclass
from typing import Protocol

import numpy as np

from calib.arrays import Floats
from calib.errors import CalibError
from calib.uncertainty.estimate import arcsine, rectangular, triangular


class InputDistribution(Protocol):
    """What the propagation of distributions asks of an input."""

    def draw(self, generator: np.random.Generator, trials: int) -> Floats:
        """Draw (trials,) values of the quantity, or (N, trials) of N quantities that are known together."""


@dataclass(frozen=True)
class Normal:
    """Normal (Gaussian) distribution N(x, u^2): an estimate with its standard uncertainty (6.4.7).

    Also a certificate's value with u = U/k, where nothing else is known.
    """

    mean: float  # estimate x [unit of the quantity]
    standard_uncertainty: float  # u, above 0 [unit of the quantity]

    def __post_init__(self) -> None:
        _require_finite("mean", self.mean)
        _require_above_zero("standard uncertainty", self.standard_uncertainty)

    def draw(self, generator: np.random.Generator, trials: int) -> Floats:
        """(trials,) x + u z, z standard normal (6.4.7.4)."""
        return _shifted(generator.standard_normal(trials), self.mean, self.standard_uncertainty)


@dataclass(frozen=True)
class _BetweenLimits:
    """A symmetric distribution between the limits mean - half_width and mean + half_width."""

    mean: float  # midpoint of the limits [unit of the quantity]
    half_width: float  # a, half the distance of the limits, above 0 [unit of the quantity]

    def __post_init__(self) -> None:
        _require_finite("mean", self.mean)
        _require_above_zero("half-width", self.half_width)


@dataclass(frozen=True)
class Rectangular(_BetweenLimits):
    """Rectangular distribution R(x - a, x + a): nothing is known but the limits (6.4.2). u = a/sqrt(3)."""

    @property
    def standard_uncertainty(self) -> float:
        """Half-width over sqrt(3) (6.4.2.3) [unit of the quantity]."""
        return rectangular(self.half_width)

    def draw(self, generator: np.random.Generator, trials: int) -> Floats:
        """(trials,) x - a + 2 a r, r standard rectangular (6.4.2.4)."""
        return _shifted(generator.random(trials), self.mean - self.half_width, 2.0 * self.half_width)


@dataclass(frozen=True)
class CurvilinearTrapezoidal(_BetweenLimits):
    """Rectangular with inexactly known limits, CTrap(x - a, x + a, d): each limit is known to within +-d (6.4.3).

    u^2 = a^2/3 + d^2/9. The midpoint of the limits is taken as known. Raises CalibError unless 0 < d < a.
    """

    limit_half_width: float  # d, how far a limit may lie from where it is stated [unit of the quantity]

    def __post_init__(self) -> None:
        super().__post_init__()
        _require_above_zero("half-width of a limit", self.limit_half_width)
        if self.limit_half_width >= self.half_width:
            raise CalibError(
                f"limits +-{self.half_width} known to within {self.limit_half_width}: the second must be below the first"
            )

    @property
    def standard_uncertainty(self) -> float:
        """Square root of a^2/3 + d^2/9 (6.4.3.3) [unit of the quantity]."""
        return math.hypot(rectangular(self.half_width), self.limit_half_width / 3.0)

    def draw(self, generator: np.random.Generator, trials: int) -> Floats:
        """(trials,) x + w (2 r2 - 1) with the half-width w = a + d (1 - 2 r1) (6.4.3.4)."""
        a, d = self.half_width, self.limit_half_width
        half_width = _shifted(generator.random(trials), a + d, -2.0 * d)
        half_width *= _shifted(generator.random(trials), -1.0, 2.0)
        half_width += self.mean
        return half_width


@dataclass(frozen=True)
class Trapezoidal(_BetweenLimits):
    """Symmetric trapezoidal distribution Trap(x - a, x + a, beta): the sum of two rectangular ones (6.4.4).

    u^2 = a^2 (1 + beta^2)/6. Two half-widths a1 >= a2 make a = a1 + a2 and beta = (a1 - a2)/a. Raises CalibError unless
    0 <= beta <= 1; beta = 1 is rectangular, beta = 0 triangular.
    """

    beta: float  # top over base, 0 to 1 [1]

    def __post_init__(self) -> None:
        super().__post_init__()
        if not 0.0 <= self.beta <= 1.0:
            raise CalibError(f"beta = {self.beta}: the top of a trapezoid over its base lies between 0 and 1")

    @property
    def standard_uncertainty(self) -> float:
        """Half-width times sqrt((1 + beta^2)/6) (6.4.4.3) [unit of the quantity]."""
        return triangular(self.half_width) * math.hypot(1.0, self.beta)

    def draw(self, generator: np.random.Generator, trials: int) -> Floats:
        """(trials,) x - a + a ((1 + beta) r1 + (1 - beta) r2) (6.4.4.4)."""
        wide = _shifted(generator.random(trials), self.mean - self.half_width, (1.0 + self.beta) * self.half_width)
        wide += _shifted(generator.random(trials), 0.0, (1.0 - self.beta) * self.half_width)
        return wide


@dataclass(frozen=True)
class Triangular(_BetweenLimits):
    """Symmetric triangular distribution T(x - a, x + a): the sum of two equal rectangular ones (6.4.5). u = a/sqrt(6)."""

    @property
    def standard_uncertainty(self) -> float:
        """Half-width over sqrt(6) (6.4.5.3) [unit of the quantity]."""
        return triangular(self.half_width)

    def draw(self, generator: np.random.Generator, trials: int) -> Floats:
        """(trials,) x - a + a (r1 + r2) (6.4.5.4)."""
        total = generator.random(trials)
        total += generator.random(trials)
        return _shifted(total, self.mean - self.half_width, self.half_width)


@dataclass(frozen=True)
class Arcsine(_BetweenLimits):
    """Arc sine (U-shaped) distribution U(x - a, x + a): a sinusoidal swing met at an unknown phase (6.4.6). u = a/sqrt(2)."""

    @property
    def standard_uncertainty(self) -> float:
        """Half-width over sqrt(2) (6.4.6.3) [unit of the quantity]."""
        return arcsine(self.half_width)

    def draw(self, generator: np.random.Generator, trials: int) -> Floats:
        """(trials,) x + a sin(2 pi r) (6.4.6.4)."""
        phase = generator.random(trials)
        phase *= 2.0 * math.pi
        return _shifted(np.sin(phase, out=phase), self.mean, self.half_width)


@dataclass(frozen=True)
class StudentT:
    """Scaled and shifted t-distribution t_nu(x, s^2): the mean of a series of observations (6.4.9).

    location = mean of n observations, scale = s/sqrt(n), nu = n - 1; or a certificate's value, U/k and effective degrees of
    freedom (6.4.9.7). The scale is the standard uncertainty of the law of propagation; that of the distribution is larger,
    scale sqrt(nu/(nu-2)), and infinite for nu <= 2: there coverage intervals remain, a standard uncertainty does not.
    """

    location: float  # mean of the observations [unit of the quantity]
    scale: float  # s/sqrt(n), above 0 [unit of the quantity]
    degrees_of_freedom: float  # nu, above 0 and finite

    def __post_init__(self) -> None:
        _require_finite("location", self.location)
        _require_above_zero("scale", self.scale)
        require_degrees_of_freedom(self.degrees_of_freedom)

    @property
    def mean(self) -> float:
        """The location; not a number for nu <= 1, where there is no mean (6.4.9.4) [unit of the quantity]."""
        return self.location if self.degrees_of_freedom > 1.0 else math.nan

    @property
    def standard_uncertainty(self) -> float:
        """Scale times sqrt(nu/(nu-2)); infinite for nu <= 2 (6.4.9.4) [unit of the quantity]."""
        return self.scale * standard_deviation_of_t(self.degrees_of_freedom)

    def draw(self, generator: np.random.Generator, trials: int) -> Floats:
        """(trials,) location + scale t, t with nu degrees of freedom (6.4.9.5)."""
        return _shifted(generator.standard_t(self.degrees_of_freedom, trials), self.location, self.scale)


def standard_deviation_of_t(nu: float) -> float:
    """Standard deviation of t with nu degrees of freedom: sqrt(nu/(nu-2)), infinite for nu <= 2."""
    return math.sqrt(nu / (nu - 2.0)) if nu > 2.0 else math.inf


def require_degrees_of_freedom(nu: float) -> None:
    """Raise CalibError unless degrees of freedom are above 0 and finite."""
    if not 0.0 < nu < math.inf:
        raise CalibError(
            f"{nu} degrees of freedom: they must be above 0 and finite; for infinitely many use the normal distribution"
        )


def _shifted(standard: Floats, location: float, scale: float) -> Floats:
    """Location + scale times fresh standard draws, in place."""
    standard *= scale
    standard += location
    return standard


def _require_finite(what: str, value: float) -> None:
    if not math.isfinite(value):
        raise CalibError(f"{what} {value}: it must be finite")


def _require_above_zero(what: str, value: float) -> None:
    if not 0.0 < value < math.inf:
        raise CalibError(
            f"{what} {value}: it must be above 0 and finite; leave an input without uncertainty to the model"
        )
