"""The way in which an instrument on record measures."""

from calib.measurement.way import Way
from calib.measurement.ways import way_of
from calib.records.tables.instruments import Instrument


def way_of_instrument(instrument: Instrument) -> Way:
    """The way of an instrument that flows are measured with: that of its readings in known air, its throttle open if it has one."""
    way = way_of(instrument.quantity, instrument.density_effect)
    assert way is not None, instrument.quantity  # noqa: S101 (a reading with another is refused before it is on record)
    return way
