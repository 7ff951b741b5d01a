"""Arrays as every floor writes them in its signatures, many things by their kinds, and numbers as documents hold them."""

import math
from collections.abc import Callable, Hashable, Iterable
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Truths = NDArray[np.bool_]
Number = TypeVar("Number", float, NDArray[np.float64])  # what a formula takes and gives back

_Thing = TypeVar("_Thing")


def by_kind(things: Iterable[_Thing], kind: Callable[[_Thing], Hashable]) -> tuple[list[_Thing], Integers]:
    """Many things by their kinds: the first of each kind, and the number of the kind of each thing in that order, (n,)."""
    every = list(things)
    numbers: dict[Hashable, int] = {}
    index = np.array([numbers.setdefault(each, len(numbers)) for each in map(kind, every)], dtype=np.int64)
    first = np.empty(len(numbers), dtype=np.int64)
    first[index[::-1]] = np.arange(index.size)[::-1]  # from the last to the first: what stays of each kind is its first
    return [every[row] for row in first.tolist()], index


def finite(value: float) -> float | None:
    """A number as JSON knows it, which has no infinity: None for what is infinite, or not there."""
    return float(value) if math.isfinite(value) else None


def without_rounding(differences: Floats) -> Floats:
    """Differences of values, in the unit of an instrument: 0 where only the rounding of floats is left, below 1e-12 of the unit."""
    return np.where(np.abs(differences) < 1e-12, 0.0, differences)
