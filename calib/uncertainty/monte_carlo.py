"""Propagation of distributions by a Monte Carlo method, and whether the law of propagation agrees (JCGM 101:2008, 7 and 8).

    Y = f(X_1, ..., X_N):   draw the inputs M times, evaluate the model for each draw, and read from the M model values
    the estimate, its standard uncertainty and coverage intervals.

The trials run in blocks that stay in the processor's cache. The adaptive procedure adds blocks until the figures are stable to
the number of significant digits asked for, or a stated maximum is reached: which of the two is said in the result.
"""

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from calib.errors import CalibError
from calib.uncertainty.coverage import COVERAGE_PROBABILITY, exact_probability
from calib.uncertainty.distributions import InputDistribution

Floats = NDArray[np.float64]
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
    shortest_interval: CoverageInterval  # of all intervals with p; its ends scatter more than those of the symmetric one
    delta: float  # what the scatter was held against: numerical tolerance (7.9.2) times the fraction [unit of the result]
    scatter: Floats  # (4,) standard deviations of the averages of y, u(y), y_low, y_high over the blocks; NaN for one block
    stabilised: bool  # twice each scatter is at most delta (7.9.4); False: more trials are needed for that many digits
    sample: Floats  # (M,) model values, rising, read-only: the distribution for drawing (7.5) [unit of the result]


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
    """Propagate the distributions of the inputs through a model: the adaptive Monte Carlo procedure (JCGM 101 7.9.4).

    `model` takes one array (trials,) for each input quantity, in the order of `inputs` (a joint distribution gives several), and
    returns the array (trials,) of the output. Blocks of max(100/(1-p), 10^4) trials are added until twice the standard deviations
    of the averages of y, u(y) and the ends of the symmetric interval are at most the numerical tolerance of u(y) for
    `significant_digits`, times `tolerance_fraction` (1/5 to validate the law of propagation, 8.2), at the earliest after ten blocks;
    or until `maximum_trials`. With `trials` that number is run instead. The seed decides every draw: same seed, same result.
    Memory: 8 bytes for each trial and one block. Source: JCGM 101 7.2 to 7.9.

    Raises CalibError for numbers that allow no such run, and where the model gives values that are no finite numbers.
    """
    block = block_size(coverage_probability)
    limit = maximum_trials if trials is None else trials
    _require_enough(limit, block, coverage_probability, adaptive=trials is None)
    generator = np.random.default_rng(seed)
    values = np.empty(limit)  # memory is taken up as it is filled
    blocks = _Blocks(np.empty((-(-limit // block), 4)), block)
    done = 0
    while done < limit:
        part = values[done : done + block]
        part[:] = _model_values(model, inputs, generator, part.size)
        done += part.size
        blocks.append(part, coverage_probability)
        if trials is None and blocks.stable(significant_digits, tolerance_fraction):
            break
    return _result(values[:done], blocks, coverage_probability, significant_digits, tolerance_fraction)
