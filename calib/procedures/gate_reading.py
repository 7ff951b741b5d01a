"""Ask the gate about a reading as typed."""

from collections.abc import Mapping
from datetime import datetime

from calib.confirmation.interval import Decision, InstrumentOnRecord, gate
from calib.procedures.observations import mean_indication
from calib.procedures.register import moment
from calib.quantities import unit


def gate_reading(
    register: Mapping[str, InstrumentOnRecord], tag: str, cells: Mapping[str, str | None], now: datetime
) -> Decision:
    """The gate's decision on a reading as typed."""
    mean = mean_indication(cells)
    shown = f"{cells.get('indication') or f'{mean:.6g}'} {cells['unit']}"
    indication = unit("air velocity", str(cells["unit"])).to_si(mean)
    return gate(register, tag, moment(str(cells["observed_at"])), now, indication, shown)
