"""A measuring range as a register of instruments writes it, in one cell; and the quantity that the unit of an instrument says.

Both ends and their unit stand in the cell of the lower end: 0.4 to 25 m/s, -20…60 °C, ±2500 Pa. How people write a range is common
practice, no source. A thousands comma that may be a decimal one (0-5,000 fpm) is left to who wrote it.
"""

import re
from collections.abc import Mapping

from calib.procedures.typed.spelling import PLUS_MINUS
from calib.procedures.typed.unit_spelling import unit_meant
from calib.quantities import COMMA_OR_THOUSANDS, INSTRUMENT_QUANTITIES, UNITS

_NUMBER = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)"
_BOTH_ENDS = re.compile(
    rf"([+\u2212-]?{_NUMBER})\s*(?:-|\u2013|\u2014|\u2026|\.{{3}}|~|to)\s*([+\u2212-]?{_NUMBER})\s*(\D.*)?",
    re.IGNORECASE,
)
_EITHER_SIDE = re.compile(rf"{PLUS_MINUS}({_NUMBER})\s*(\D.*)?")


def _parts(cells: Mapping[str, str | None]) -> tuple[str, str, str | None] | None:
    """Both ends as numbers and their unit, from the cell of the lower end; None where it is no range, or another's."""
    cell = (cells.get("range_low") or "").strip()
    if cells.get("range_high"):
        return None
    if either := _EITHER_SIDE.fullmatch(cell):
        ends, typed = (f"-{either[1]}", either[1]), either[2]
    elif both := _BOTH_ENDS.fullmatch(cell):
        ends, typed = (both[1], both[2]), both[3]
    else:
        return None
    unit = None if typed is None else unit_meant(typed)
    own = cells.get("unit")
    if any(COMMA_OR_THOUSANDS.fullmatch(end) for end in ends) or (typed is not None and unit is None):
        return None
    if unit is not None and own is not None and unit_meant(own) != unit:
        return None
    low, high = (end.replace("\u2212", "-").replace(",", ".").lstrip("+") for end in ends)
    return low, high, unit


def low_end(cells: Mapping[str, str | None]) -> str | None:
    """The lower end of a range that stands in one cell."""
    parts = _parts(cells)
    return parts and parts[0]


def high_end(cells: Mapping[str, str | None]) -> str | None:
    """The upper end of it."""
    parts = _parts(cells)
    return parts and parts[1]


def unit_of_range(cells: Mapping[str, str | None]) -> str | None:
    """Its unit."""
    parts = _parts(cells)
    return parts and parts[2]


def quantity_of(cells: Mapping[str, str | None]) -> str | None:
    """What an instrument measures: as it was typed, else what its unit is of; of one that indicates another quantity a velocity.

    None where neither says it.
    """
    symbol = unit_meant(cells.get("unit") or unit_of_range(cells) or "")
    of_unit = next((quantity for quantity in INSTRUMENT_QUANTITIES if symbol in UNITS[quantity]), None)
    return cells.get("quantity") or ("air velocity" if cells.get("indication_quantity") else of_unit)
