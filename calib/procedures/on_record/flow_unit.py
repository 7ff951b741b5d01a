"""The unit in which a volume flow is said: the one of the outlet on record, unless a system of units is asked for."""

from collections.abc import Iterable

from calib.quantities import Unit, preferred, unit
from calib.records.tables.outlets import Outlet


def flow_unit(outlet: Outlet, system: str | None = None) -> Unit:
    """Unit of an outlet's flow: that of a system ("si" or "ip"), else the one its design was typed in, else L/s."""
    if system is not None or outlet.flow_unit is None:
        return preferred("volume flow", system or "si")
    return unit("volume flow", outlet.flow_unit)


def common_flow_unit(symbols: Iterable[str]) -> Unit:
    """Unit of what several flows make: the one that they have in common, else L/s."""
    different = set(symbols)
    return unit("volume flow", different.pop()) if len(different) == 1 else preferred("volume flow", "si")
