"""Arrays as every floor writes them in its signatures, and numbers as documents hold them."""

import math
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Truths = NDArray[np.bool_]
Number = TypeVar("Number", float, NDArray[np.float64])  # what a formula takes and gives back


def finite(value: float) -> float | None:
    """A number as JSON knows it, which has no infinity: None for what is infinite, or not there."""
    return float(value) if math.isfinite(value) else None
