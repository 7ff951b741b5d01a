"""The way in which an instrument on record measures, and whether it is a probe or the meter behind one."""

from calib.measurement.way import ProbeUse, Way
from calib.measurement.ways import BEHIND_PROBES, OF_PROBES, way_of
from calib.procedures.certificate.fit_curve import indication_quantity
from calib.procedures.typed.sheets import Cells
from calib.records.tables.instruments import Instrument


def way_of_instrument(instrument: Instrument) -> Way:
    """The way of an instrument that flows are measured with: that of its readings in known air, its throttle open if it has one."""
    way = way_of(instrument.quantity, instrument.density_effect)
    assert way is not None, instrument.quantity  # noqa: S101 (a reading with another is refused before it is on record)
    return way


def expected_of_probe(cells: Cells) -> str | None:
    """What was expected of a probe instead of an instrument, by its cells; None where it may be one."""
    measures = cells.get("quantity"), indication_quantity(cells)
    if any(quantity not in (None, *OF_PROBES) for quantity in measures):
        return f"a probe calibrated in {' or '.join(OF_PROBES)} (this one is for {measures[0]})"
    effect = cells.get("density_effect")
    return None if effect is None else f"a probe, which has no density_effect of its own (this one has {effect})"


def expected_of_meter(cells: Cells) -> str | None:
    """What was expected of the meter behind a probe instead of an instrument, by its cells; None where it may be one."""
    way = way_of(cells.get("quantity"), cells.get("density_effect"))
    if way is not None and way.probe is not ProbeUse.NONE:
        return None
    return f"a meter to be used with a probe: one {BEHIND_PROBES} (this one is for {cells.get('quantity')})"
