"""A value with its unit, as every document writes it."""

from calib.faces.written import Content
from calib.quantities import UNITS, Unit, preferred, unit


def value_in(in_unit: Unit, value: float, u: float | None = None) -> Content:
    """A value [SI] in a unit; with its standard uncertainty where one is given."""
    written = {"value": float(in_unit.from_si(value)), "unit": in_unit.symbol}
    return written if u is None else written | {"standard_uncertainty": float(in_unit.difference_from_si(u))}


def system_of_units(units: str | None) -> str | None:
    """The system that was asked for, "si" or "ip"; None of a unit of flows, which says nothing of other quantities."""
    return None if units in UNITS["volume flow"] else units


def velocity_unit(symbol: str, units: str | None) -> Unit:
    """Unit of a velocity: in the system asked for, else the one an indication is in; of one in volts or pascals m/s."""
    system = system_of_units(units)
    if system is not None:
        return preferred("air velocity", system)
    return unit("air velocity", symbol if symbol in UNITS["air velocity"] else "m/s")
