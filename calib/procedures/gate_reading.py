"""Ask the gate about a reading as typed."""

from collections.abc import Mapping
from datetime import datetime

from calib.confirmation.interval import Decision, InstrumentOnRecord, gate
from calib.procedures.observations import Observed
from calib.procedures.register import moment
from calib.quantities import unit


def gate_reading(
    register: Mapping[str, InstrumentOnRecord],
    tag: str,
    cells: Mapping[str, object],
    observed: Observed,
    indicated: str,
    now: datetime,
) -> Decision:
    """The gate's decision on a reading as typed.

    `cells` holds observed_at, unit and, where it was typed, the indication; `indicated` is the quantity that the instrument
    indicates.
    """
    shown = f"{cells.get('indication') or f'{observed.mean:.6g}'} {cells['unit']}"
    indication = unit(indicated, str(cells["unit"])).to_si(observed.mean)
    return gate(register, tag, moment(str(cells["observed_at"])), now, indication, shown)
