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
    first: list[_Thing] = []
    numbers: dict[Hashable, int] = {}
    index = []
    for thing in things:
        place = numbers.setdefault(kind(thing), len(first))
        if place == len(first):
            first.append(thing)
        index.append(place)
    return first, np.array(index, dtype=np.int64)


def finite(value: float) -> float | None:
    """A number as JSON knows it, which has no infinity: None for what is infinite, or not there."""
    return float(value) if math.isfinite(value) else None
