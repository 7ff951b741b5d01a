"""The section of a duct with the points of its traverse in words, and in signs for a terminal."""

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from calib.airflow.traverse import RECTANGULAR, ROUND, Section, TraversePlace
from calib.counted import count_of
from calib.quantities import Unit

_Array = NDArray[np.float64]

# Digits after the point that a person can mark on a probe: a tenth of a millimetre, or nearly so.
_DECIMALS = {"mm": 1, "cm": 2, "m": 4, "in": 2, "ft": 3}
_FEWEST_SIGNS, _MOST_SIGNS, _FEWEST_ROWS, _MOST_ROWS = 25, 61, 9, 25


def length_text(length: float, unit: Unit) -> str:
    """A length [m] in a unit, to the digit that can be marked on a probe."""
    return marked(unit.from_si(length), unit.symbol)


def marked(length: float, symbol: str) -> str:
    """A length in the unit of a symbol, to the digit that can be marked on a probe."""
    return f"{length:.{_DECIMALS.get(symbol, 3)}f}"


def size_text(section: Section, unit: Unit) -> str:
    """The size of a section as a person says it: "1200 × 500 mm", "Ø 400 mm"."""
    width, height = (short_length_text(side, unit) for side in (section.width, section.height))
    return f"Ø {width} {unit.symbol}" if section.shape == ROUND else f"{width} × {height} {unit.symbol}"


def short_length_text(length: float, unit: Unit) -> str:
    """The same without zeros at its end."""
    digits = length_text(length, unit)
    return digits.rstrip("0").rstrip(".") if "." in digits else digits


def lines_text(points: Sequence[TraversePlace]) -> str:
    """How many lines and points there are: "4 lines with 7 and 6 points, 26 in all"."""
    lines = lines_of(points)
    on_each = " and ".join(str(count) for count in dict.fromkeys(len(line) for line in lines))
    return f"{count_of(len(lines), 'line', 'lines')} with {on_each} point{'s' * (on_each != '1')}, {len(points)} in all"


def lines_of(points: Sequence[TraversePlace]) -> list[list[TraversePlace]]:
    """The points of each line, in the order of the lines."""
    return [[point for point in points if point.line == line] for line in range(1, points[-1].line + 1)]


def section_text(section: Section, points: Sequence[TraversePlace]) -> str:
    """The section in signs: dots for the wall, and for each point the last digit of its line's number; nearly to scale."""
    # A sign is about twice as high as wide.
    signs = _odd(min(max(2 * _MOST_ROWS * section.width / section.height, _FEWEST_SIGNS), _MOST_SIGNS))
    rows = _odd(min(max(signs * section.height / section.width / 2, _FEWEST_ROWS), _MOST_ROWS))
    x = (np.arange(-1, signs + 1) + 0.5) * section.width / signs
    y = (np.arange(-1, rows + 1) + 0.5) * section.height / rows
    grid = np.where(_wall(inside(section, x[None, :], y[:, None])), ".", " ")
    for point in points:
        row, column = int(point.y / section.height * rows), int(point.x / section.width * signs)
        grid[1 + min(row, rows - 1), 1 + min(column, signs - 1)] = str(point.line % 10)
    return "\n".join("".join(row).rstrip() for row in grid[::-1])


def _odd(count: float) -> int:
    """The odd number at or above it: the middle has a place of its own."""
    return 2 * math.ceil((count - 1) / 2) + 1


def inside(section: Section, x: _Array, y: _Array) -> NDArray[np.bool_]:
    """Which places [m] lie inside the walls."""
    if section.shape == RECTANGULAR:
        return (x > 0) & (x < section.width) & (y > 0) & (y < section.height)
    radius = section.height / 2
    axis = np.clip(x, radius, section.width - radius)
    return np.hypot(x - axis, y - radius) < radius


def _wall(within: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Places outside with one inside beside, above or below them, or at a corner."""
    padded = np.pad(within, 1)
    rows, columns = within.shape
    near = [padded[i : i + rows, j : j + columns] for i in range(3) for j in range(3)]
    around: NDArray[np.bool_] = np.any(near, axis=0) & ~within
    return around
