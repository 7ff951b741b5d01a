"""The axes of a drawing for a page: how far they reach, where they are marked, how a number is written there."""

import math
from collections.abc import Iterable

_MARKS = 5  # at each axis, about


def reach(values: Iterable[float]) -> tuple[float, float]:
    """From the least to the greatest and a twentieth beyond both."""
    every = list(values)
    low, high = min(every), max(every)
    beyond = (high - low) / 20 or abs(high) / 20 or 1.0
    return float(low - beyond), float(high + beyond)


def marks(low: float, high: float) -> list[float]:
    """Round values between two, about as many as there should be marks: steps of 1, 2 or 5 times a power of ten."""
    rough = (high - low) / _MARKS
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(power * factor for factor in (1, 2, 5, 10) if power * factor >= rough)
    return [step * at for at in range(math.ceil(low / step), math.floor(high / step) + 1)]


def told(value: float) -> str:
    """A mark in letters; a minus sign is one."""
    return format(value + 0.0, ".6g").replace("-", "−")
