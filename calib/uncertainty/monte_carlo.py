"""Propagation of distributions by a Monte Carlo method (JCGM 101:2008, 7).

    Y = f(X_1, ..., X_N):   draw the inputs M times, evaluate the model for each draw, and read from the M model values
    the estimate, its standard uncertainty and coverage intervals.

The trials run in blocks that stay in the processor's cache. The adaptive procedure adds blocks until the figures are stable to
the number of significant digits asked for, or a stated maximum is reached: which of the two is said in the result.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from calib.arrays import Floats, Integers
from calib.errors import CalibError
from calib.uncertainty.coverage import COVERAGE_PROBABILITY, exact_probability
from calib.uncertainty.distributions import InputDistribution

Model = Callable[..., Floats]

MAXIMUM_TRIALS = 10_000_000  # 80 MB of model values

# 7.9.4 may stop after two blocks, whose scatter is itself hardly known: two can lie close together by chance.
FEWEST_BLOCKS = 10


@dataclass(frozen=True)
class CoverageInterval:
    """Interval that holds the value of the quantity with a stated probability (VIM 2.36)."""

    low: float  # [unit of the result]
    high: float  # [unit of the result]

    @property
    def half_length(self) -> float:
        """Half the distance of the ends: U where the interval is symmetric about the estimate [unit of the result]."""
        return 0.5 * (self.high - self.low)

    def coverage_factor(self, standard_uncertainty: float) -> float:
        """Coverage factor that the interval implies: k = half-length / u (JCGM 101 7.7; EA-4/02 S9, S10) [1].

        Where a rectangular input is dominant it is smaller than that of the normal distribution. Above 0: u [unit of the result].
        """
        return self.half_length / standard_uncertainty


@dataclass(frozen=True)
class MonteCarloResult:
    """What the model values say about the output quantity (JCGM 101 7.5 to 7.7)."""

    trials: int  # M, number of model values
    value: float  # estimate y: mean of the model values [unit of the result]
    standard_uncertainty: float  # u(y): their standard deviation [unit of the result]
    coverage_probability: float  # p, as stated
    symmetric_interval: CoverageInterval  # probabilistically symmetric: (1-p)/2 beyond either end
    shortest_interval: CoverageInterval  # of all intervals with p; its ends scatter more than the symmetric ones
    delta: float  # numerical tolerance of u(y) times the fraction asked for (7.9.2) [unit of the result]
    scatter: Floats  # (4,) standard deviations of the averages of y, u(y), y_low, y_high (7.9.4); NaN from one block
    stabilised: bool  # twice each scatter is at most delta; False: so many digits take more trials
    model_values: Floats  # (M,) in no order, read-only [unit of the result]

    @cached_property
    def sample(self) -> Floats:
        """(M,) model values, rising, read-only: the distribution for drawing (7.5). They are sorted when it is asked for."""
        rising = np.sort(self.model_values)
        rising.setflags(write=False)
        return rising


def propagate_distributions(
    model: Model,
    inputs: Sequence[InputDistribution],
    *,
    seed: int,
    coverage_probability: float = COVERAGE_PROBABILITY,
    significant_digits: int = 2,
    tolerance_fraction: float = 1.0,
    trials: int | None = None,
    maximum_trials: int = MAXIMUM_TRIALS,
) -> MonteCarloResult:
    """Propagate the distributions of the inputs through a model by the adaptive Monte Carlo procedure (JCGM 101 7.9.4).

    `model` takes one array (trials,) for each input quantity, in the order of `inputs` (a joint distribution gives several), and
    returns the array (trials,) of the output. Blocks of max(100/(1-p), 10^4) trials are added until twice the standard deviations
    of the averages of y, u(y) and the ends of the symmetric interval are at most the numerical tolerance of u(y) for
    `significant_digits`, times `tolerance_fraction` (1/5 to validate the law of propagation, 8.2); at the earliest after ten
    blocks, at the latest at `maximum_trials`. With `trials` that number is run instead. Every draw follows from the seed: same
    seed, same result. Memory: 8 bytes for each trial, and one block. Source: JCGM 101 7.2 to 7.9.

    Raises CalibError for numbers that allow no such run, and for a model that gives anything but one finite value for each trial.
    """
    limit = maximum_trials if trials is None else trials
    _require_run(limit, coverage_probability, significant_digits, tolerance_fraction)
    generator = np.random.default_rng(seed)
    model_values = np.empty(limit)  # memory is taken up as it is filled
    count = limit // block_size(coverage_probability)
    parts = np.array_split(model_values, count)
    blocks = _Blocks(np.array([part.size for part in parts]), np.empty((count, 4)))
    for done, part in enumerate(parts, start=1):
        part[:] = _evaluate(model, inputs, generator, part.size)
        blocks.figures[done - 1] = _figures(part, coverage_probability)
        so_far = blocks.first(done)
        if trials is None and done >= FEWEST_BLOCKS and so_far.stable(significant_digits, tolerance_fraction):
            break
    return _result(model_values, so_far, coverage_probability, significant_digits, tolerance_fraction)


def numerical_tolerance(standard_uncertainty: float, significant_digits: int = 2) -> float:
    """Numerical tolerance delta = 10^l / 2 of u = c 10^l, c an integer of `significant_digits` digits (JCGM 101 7.9.2).

    Half a unit of the last digit to which u is stated [unit of u]. Raises CalibError unless u is above 0 and finite.
    """
    if not 0.0 < standard_uncertainty < math.inf or significant_digits < 1:
        raise CalibError(
            f"u = {standard_uncertainty} to {significant_digits} significant digit(s): "
            "it must be above 0 and finite, and have at least one digit"
        )
    rounded = f"{standard_uncertainty:.{significant_digits - 1}e}"  # 9.96 is 1.0e+01
    exponent = int(rounded.partition("e")[2])
    return float(f"5e{exponent - significant_digits}")


def block_size(coverage_probability: float) -> int:
    """Trials in one block: the larger of 10^4 and 100/(1-p), rounded up (JCGM 101 7.9.4 b)."""
    return max(10_000, math.ceil(100.0 / (1.0 - exact_probability(coverage_probability))))


@dataclass(frozen=True)
class _Blocks:
    sizes: Integers  # (h,) trials of each block
    figures: Floats  # (h, 4) y, u(y), y_low, y_high of each block

    def first(self, count: int) -> "_Blocks":
        return _Blocks(self.sizes[:count], self.figures[:count])

    def mean_and_deviation(self) -> tuple[float, float]:
        """Mean and standard deviation of all model values (7.6), from those of the blocks."""
        means, deviations = self.figures[:, 0], self.figures[:, 1]
        total = self.sizes.sum()
        mean = self.sizes @ means / total
        squares = (self.sizes - 1) @ deviations**2 + self.sizes @ (means - mean) ** 2
        return float(mean), math.sqrt(squares / (total - 1))

    def scatter(self) -> Floats:
        """(4,) standard deviations of the averages over the blocks (7.9.4 g, h)."""
        count = len(self.sizes)
        if count == 1:
            return np.full(4, math.nan)
        return np.asarray(np.std(self.figures, axis=0, ddof=1) / math.sqrt(count))

    def delta(self, digits: int, fraction: float) -> float:
        return fraction * numerical_tolerance(self.mean_and_deviation()[1], digits)

    def stable(self, digits: int, fraction: float) -> bool:
        return bool(np.all(2.0 * self.scatter() <= self.delta(digits, fraction)))


def _require_run(limit: int, probability: float, digits: int, fraction: float) -> None:
    if not 0.0 < probability < 1.0 or digits < 1 or not fraction > 0.0:
        raise CalibError(
            f"coverage probability {probability}, {digits} significant digit(s), {fraction} of the numerical tolerance: "
            "the first must lie between 0 and 1, the second be at least 1, the third above 0"
        )
    if limit < block_size(probability):
        raise CalibError(
            f"{limit} trials: at least {block_size(probability)} for a coverage probability of {probability}"
        )


def _evaluate(model: Model, inputs: Sequence[InputDistribution], generator: np.random.Generator, trials: int) -> Floats:
    drawn = [row for distribution in inputs for row in np.atleast_2d(distribution.draw(generator, trials))]
    with np.errstate(divide="ignore", invalid="ignore", over="ignore"):  # refused below, with their number
        values = np.asarray(model(*drawn), dtype=float)
    if values.shape != (trials,):
        raise CalibError(
            f"the model gave values of shape {values.shape} for {trials} trials: one value for each is needed"
        )
    wrong = trials - np.count_nonzero(np.isfinite(values))
    if wrong:
        raise CalibError(
            f"the model gave {wrong} value(s) that are no finite numbers in {trials} trials: "
            "an input reaches where the model is not defined; choose a distribution that stays inside"
        )
    return values


def _ends(trials: int, probability: float) -> tuple[int, int]:
    """Places of the lower and the upper end of the symmetric interval among the values in rising order, from 0 (7.7)."""
    inside = _inside(trials, probability)
    low = (trials - inside + 1) // 2 - 1
    return low, low + inside


def _inside(trials: int, probability: float) -> int:
    """Steps q between the ends of an interval with that probability: p M to the nearest integer (7.7.1); of a block below M."""
    return math.floor(exact_probability(probability) * trials + 0.5)


def _figures(values: Floats, probability: float) -> tuple[float, float, float, float]:
    low, high = _ends(values.size, probability)
    ordered = np.partition(values, (low, high))
    return float(values.mean()), float(values.std(ddof=1)), float(ordered[low]), float(ordered[high])


def _tails(values: Floats, tail: int) -> tuple[Floats, Floats]:
    """(tail,) of the least and of the largest values, rising; puts the values in another order."""
    values.partition((tail, -tail))
    return np.sort(values[:tail]), np.sort(values[-tail:])


def _result(
    model_values: Floats, blocks: _Blocks, probability: float, digits: int, fraction: float
) -> MonteCarloResult:
    trials = int(blocks.sizes.sum())
    values = model_values[:trials]
    # Of each interval from the r-th to the (r+q)-th value, which has that probability (7.7), the two ends.
    lows, highs = _tails(values, trials - _inside(trials, probability))
    values.setflags(write=False)
    symmetric, shortest = (
        CoverageInterval(float(lows[r]), float(highs[r]))
        for r in (_ends(trials, probability)[0], int(np.argmin(highs - lows)))
    )
    value, standard_uncertainty = blocks.mean_and_deviation()
    return MonteCarloResult(
        trials=trials,
        value=value,
        standard_uncertainty=standard_uncertainty,
        coverage_probability=probability,
        symmetric_interval=symmetric,
        shortest_interval=shortest,
        delta=blocks.delta(digits, fraction),
        scatter=blocks.scatter(),
        stabilised=blocks.stable(digits, fraction),
        model_values=values,
    )
