"""Validation of the law of propagation of uncertainty by a Monte Carlo method (JCGM 101:2008, 8).

Decision (2026-11-29). A stated interval stands as long as neither end lies more than 5 % of U off that of the distribution: so
much is what a convolution may exceed U by before it counts, and what the middle may lie beside the value before that is told. The
tolerance of clause 8 is some 0.5 to 5 % of u, by its leading digit, and judges the law's digits, not whether U may be cited.
Options: to cite the interval of the distribution where clause 8 rejects the law (then two answers cite two intervals for one
flow); no rule. Cost: an end that is off by less than 5 % of U is told and changes nothing.
"""

from dataclasses import dataclass

from calib.uncertainty.monte_carlo import CoverageInterval, numerical_tolerance

ENDS_WITHIN = 0.05  # of U


@dataclass(frozen=True)
class Validation:
    """How far the interval y +- U of the law of propagation lies from that of the Monte Carlo method (JCGM 101 8.1)."""

    d_low: float  # distance of the lower ends [unit of the result]
    d_high: float  # distance of the upper ends [unit of the result]
    delta: float  # numerical tolerance of u(y) (7.9.2) [unit of the result]

    @property
    def validated(self) -> bool:
        """Whether both ends agree to within delta: then the law of propagation may be used for this and like models."""
        return self.d_low <= self.delta and self.d_high <= self.delta


@dataclass(frozen=True)
class StatedInterval:
    """A stated interval, held against that of the Monte Carlo method for the same coverage probability. In parts of U [1]."""

    low: float  # lower end of the distribution's interval, above that stated; negative: it reaches farther down
    high: float  # its upper end, above that stated

    @property
    def stands(self) -> bool:
        """Whether neither end is off by more than 5 % of U."""
        return max(abs(self.low), abs(self.high)) <= ENDS_WITHIN

    @property
    def longer(self) -> float:
        """By how much the distribution's interval is longer than the stated one: by as much is U too small."""
        return 0.5 * (self.high - self.low)

    @property
    def above(self) -> float:
        """By how much its middle lies above that of the stated one."""
        return 0.5 * (self.high + self.low)


def check_interval(stated: CoverageInterval, drawn: CoverageInterval) -> StatedInterval:
    """Distances of the ends of the interval that was drawn from those of the one stated, over U = half the stated length."""
    u = stated.half_length
    return StatedInterval((drawn.low - stated.low) / u, (drawn.high - stated.high) / u)


def validate_law(
    value: float,
    standard_uncertainty: float,
    expanded_uncertainty: float,
    interval: CoverageInterval,
    significant_digits: int = 2,
    tolerance: float | None = None,
) -> Validation:
    """Compare y, u(y) and U of the law of propagation with an interval of the Monte Carlo method (JCGM 101 8.1).

        d_low = |y - U - y_low|,     d_high = |y + U - y_high|

    U and the interval must be for the same coverage probability. The interval should come from a run that stabilised with
    `tolerance_fraction` 1/5 (8.2), so that its own scatter decides nothing. All in the unit of the result; `tolerance` is that of
    u(y) as it is printed in another unit, of the digits where it is not given.
    """
    return Validation(
        float(abs(value - expanded_uncertainty - interval.low)),
        float(abs(value + expanded_uncertainty - interval.high)),
        numerical_tolerance(standard_uncertainty, significant_digits) if tolerance is None else tolerance,
    )
