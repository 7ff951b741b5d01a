"""Validation of the law of propagation of uncertainty by a Monte Carlo method (JCGM 101:2008, 8)."""

from dataclasses import dataclass

from calib.uncertainty.monte_carlo import CoverageInterval, numerical_tolerance


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


def validate_law(
    value: float,
    standard_uncertainty: float,
    expanded_uncertainty: float,
    interval: CoverageInterval,
    significant_digits: int = 2,
) -> Validation:
    """Compare y, u(y) and U of the law of propagation with an interval of the Monte Carlo method (JCGM 101 8.1).

        d_low = |y - U - y_low|,     d_high = |y + U - y_high|

    U and the interval must be for the same coverage probability. The interval should come from a run that stabilised with
    `tolerance_fraction` 1/5 (8.2), so that its own scatter decides nothing. All in the unit of the result.
    """
    return Validation(
        float(abs(value - expanded_uncertainty - interval.low)),
        float(abs(value + expanded_uncertainty - interval.high)),
        numerical_tolerance(standard_uncertainty, significant_digits),
    )
