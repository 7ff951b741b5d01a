"""Rounding, and writing a measurement result (GUM 7)."""

import math
from dataclasses import dataclass
from decimal import MAX_PREC, ROUND_CEILING, ROUND_HALF_EVEN, Decimal, localcontext
from typing import Literal

from calib.errors import CalibError

Rounding = Literal["nearest", "up"]

# EA-4/02 M:2013, 6.3, from memory: where rounding to nearest brings U down by more than 5 %, the rounded-up value is used.
LARGEST_LOSS = Decimal("0.05")


@dataclass(frozen=True)
class Rounded:
    """A value and its expanded uncertainty, rounded to the same decimal place."""

    value: Decimal
    uncertainty: Decimal

    def __str__(self) -> str:
        return f"{plain(self.value)} ± {plain(self.uncertainty)}"


def round_uncertainty(uncertainty: float, digits: int = 2, rounding: Rounding = "nearest") -> Decimal:
    """Uncertainty to `digits` significant digits (GUM 7.2.6): to nearest, ties to even, but never losing more than 5 %; or up.

    The float is taken at the decimal digits that Python prints for it, so that 0.285 is a tie and not 0.28499999.
    Raises CalibError for a negative or non-finite uncertainty.
    """
    if not math.isfinite(uncertainty) or uncertainty < 0:
        raise CalibError(f"an uncertainty of {uncertainty} cannot be stated: it must be finite and not negative")
    exact = Decimal(repr(float(uncertainty)))
    if exact == 0:
        return Decimal(0)
    nearest = _significant(exact, digits, ROUND_HALF_EVEN)
    if rounding == "up" or (exact - nearest) > LARGEST_LOSS * exact:
        return _significant(exact, digits, ROUND_CEILING)
    return nearest


def _significant(exact: Decimal, digits: int, mode: str) -> Decimal:
    with localcontext(rounding=mode):
        return Decimal(f"{exact:.{digits - 1}e}")  # 9.96 is 1.0e+1


def round_result(value: float, uncertainty: float, digits: int = 2, rounding: Rounding = "nearest") -> Rounded:
    """Value and expanded uncertainty: the uncertainty to `digits` digits, the value to the same place, ties to even (GUM 7.2.6).

    Raises CalibError for a value or an uncertainty that is not finite, or a negative uncertainty.
    """
    if not math.isfinite(value):
        raise CalibError(f"a value of {value} cannot be stated: it must be finite")
    rounded = round_uncertainty(uncertainty, digits, rounding)
    exact = Decimal(repr(float(value)))
    if rounded == 0:
        return Rounded(exact, rounded)
    # A value may be far larger than its uncertainty; the default 28 digits would make quantize fail.
    with localcontext(prec=MAX_PREC):
        stated = exact.quantize(rounded, rounding=ROUND_HALF_EVEN)
        return Rounded(stated or abs(stated), rounded)  # nothing bears no sign: -0.00 is 0.00


def plain(value: Decimal) -> str:
    """Number without an exponent: 1.2E+3 is written 1200."""
    return f"{value:f}"


def statement(
    value: float,
    expanded_uncertainty: float,
    unit: str,
    coverage_factor: float,
    interval: tuple[float, float] | None = None,
) -> str:
    """A measurement result as it is reported (GUM 7.2.4; ILAC-P14:09/2020 5.3, from memory): (412 ± 23) m3/h, k = 2.00.

    Ends of an interval that lies unsymmetrically about the value follow: (412 ± 23) m3/h, k = 2.00, interval 392 to 438.
    """
    said = f"({round_result(value, expanded_uncertainty)}) {unit}, k = {coverage_factor:.2f}"
    return said if interval is None else f"{said}, interval {interval_text(*interval, expanded_uncertainty)}"


def interval_text(low: float, high: float, expanded_uncertainty: float) -> str:
    """The ends of an interval to the place of two digits of U: 392 to 438."""
    return " to ".join(plain(round_result(end, expanded_uncertainty).value) for end in (low, high))
