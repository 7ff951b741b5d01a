"""Normalised error of two results (ISO 13528:2022, 9.7; ISO/IEC 17043:2023, Annex B; from memory).

    E_n = (x_1 - x_2)/sqrt(U_1^2 + U_2^2)

U with a coverage factor of about 2 each. The results agree where |E_n| <= 1. The two are taken as independent: an error that both
share, as after calibrations by one laboratory, cancels in the difference and does not show. Where U of the difference is known with
what both share,

    E_n = (x_1 - x_2)/U(x_1 - x_2)
"""

import math
from dataclasses import dataclass

from calib.errors import CalibError

LIMIT = 1.0
CAUTION = 0.8  # from here on a second look is worth it (common practice, no source)

# A value on the limit is inside; binary floats must not decide it.
_DECIMALS = 9


@dataclass(frozen=True)
class Agreement:
    """How two results agree."""

    normalised_error: float  # E_n with its sign
    caution: bool  # they agree, with 0.8 <= |E_n|

    @property
    def agrees(self) -> bool:
        """Whether |E_n| <= 1."""
        return _size(self.normalised_error) <= LIMIT


def agreement(first: float, u_first: float, second: float, u_second: float) -> Agreement:
    """E_n of two values with their expanded uncertainties, all in one unit; raises CalibError where both U are 0."""
    return agreement_of_difference(first - second, math.hypot(u_first, u_second))


def agreement_of_difference(difference: float, expanded_uncertainty: float) -> Agreement:
    """E_n of two values from their difference and the U of that, in one unit; raises CalibError where U is 0."""
    if not expanded_uncertainty > 0:
        raise CalibError("E_n needs an expanded uncertainty above 0 of at least one of the two values")
    e = difference / expanded_uncertainty
    return Agreement(e, CAUTION <= _size(e) <= LIMIT)


def _size(normalised_error: float) -> float:
    return round(abs(normalised_error), _DECIMALS)
