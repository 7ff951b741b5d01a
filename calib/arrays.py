"""Arrays as every floor writes them in its signatures, and numbers as documents hold them."""

import math
from collections.abc import Callable, Hashable, Iterable, Sequence
from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Integers = NDArray[np.int64]
Truths = NDArray[np.bool_]
Number = TypeVar("Number", float, NDArray[np.float64])  # what a formula takes and gives back

_Thing = TypeVar("_Thing")
_Kind = TypeVar("_Kind", bound=Hashable)
_Said = TypeVar("_Said")


def numbered(kinds: Iterable[_Kind]) -> tuple[list[_Kind], Integers]:
    """The kinds among many in the order in which they come, and the number of each in that order, (n,)."""
    numbers: dict[_Kind, int] = {}
    index = [numbers.setdefault(kind, len(numbers)) for kind in kinds]
    return list(numbers), np.array(index, dtype=np.int64)


def each_once(
    things: Sequence[_Thing], kind: Callable[[_Thing], Hashable], of: Callable[[_Thing], _Said]
) -> list[_Said]:
    """What `of` says of each thing, asked once of those of one kind."""
    kinds = [kind(thing) for thing in things]
    said = {each: of(thing) for each, thing in dict(zip(kinds, things, strict=True)).items()}
    return [said[each] for each in kinds]


def finite(value: float) -> float | None:
    """A number as JSON knows it, which has no infinity: None for what is infinite, or not there."""
    return float(value) if math.isfinite(value) else None
