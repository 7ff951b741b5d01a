"""The unit in which a volume flow is said: the one of the outlet on record, unless a system of units or a unit is asked for."""

from collections import Counter
from collections.abc import Iterable

from calib.quantities import UNITS, Unit, preferred, unit
from calib.records.tables.outlets import Outlet


def flow_unit(outlet: Outlet, system: str | None = None) -> Unit:
    """Unit of an outlet's flow: a unit or that of a system ("si" or "ip"), else the one its design was typed in, else L/s."""
    if system in UNITS["volume flow"]:
        return unit("volume flow", str(system))
    if system is not None or outlet.flow_unit is None:
        return preferred("volume flow", system or "si")
    return unit("volume flow", outlet.flow_unit)


def flow_unit_of_report(outlets: Iterable[Outlet]) -> str:
    """The one unit of a report's flows: that in which most of its outlets were typed, of equally many the first; else L/s."""
    typed = Counter(outlet.flow_unit for outlet in outlets if outlet.flow_unit is not None)
    return typed.most_common(1)[0][0] if typed else preferred("volume flow", "si").symbol


def common_flow_unit(symbols: Iterable[str]) -> Unit:
    """Unit of what several flows make: the one that they have in common, else L/s."""
    different = set(symbols)
    return unit("volume flow", different.pop()) if len(different) == 1 else preferred("volume flow", "si")
