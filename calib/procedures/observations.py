"""Observations as typed in a cell."""

import math
from collections.abc import Mapping


def observed_values(cell: str) -> list[float]:
    """Observations joined by semicolons."""
    return [float(part) for part in cell.split(";")]


def mean_of(values: list[float]) -> float:
    """Arithmetic mean, correctly rounded."""
    return math.fsum(values) / len(values)


def mean_indication(cells: Mapping[str, str | None]) -> float:
    """Mean of the observations of a reading, or its indication where there are none, in the unit typed."""
    typed = cells.get("observations")
    return float(str(cells["indication"])) if typed is None else mean_of(observed_values(typed))
