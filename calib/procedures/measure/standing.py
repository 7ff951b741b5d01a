"""One reading with all that it rests on."""

from dataclasses import dataclass

import numpy as np

from calib.airflow.traverse import Section
from calib.confirmation.interval import CalibrationOnRecord, Decision
from calib.measurement.way import Way
from calib.measurement.ways import way_of_reading
from calib.procedures.measure.air import AirFound
from calib.procedures.measure.indicated import repeatability_of
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.typed.observations import Observed
from calib.quantities import unit
from calib.records import tables
from calib.uncertainty.estimate import type_a
from calib.uncertainty.series import type_a_of_series


@dataclass(frozen=True)
class Indication:
    """Mean indication of a reading with the evaluation of its repeatability; of a traverse, of one indication at a point."""

    mean: float  # [SI]
    u: float  # of the mean [SI]
    type_a: bool
    dof: float
    observations: int  # repeated: values, or passes of a traverse
    effective_observations: float  # fewer where a logged series is correlated


@dataclass(frozen=True)
class Standing:
    """A reading that the gate lets stand, with all that it rests on."""

    reading: tables.Reading
    observed: Observed
    indication: Indication
    outlet: tables.Outlet  # as it counts now
    instrument: tables.Instrument
    method: tables.Method
    calibration: CalibrationOnRecord
    decision: Decision
    probe: tables.Instrument | None = None
    probe_decision: Decision | None = None
    air: AirFound | None = None
    factor: tables.FoundFactor | None = None
    flags: tuple[str, ...] = ()  # what is worth saying of a reading that stands

    @property
    def way(self) -> Way:
        """The way in which it was measured."""
        return way_of_reading(
            way_of_instrument(self.instrument),
            in_known_air=self.air is not None,
            is_throttled=bool(self.observed.throttled),
        )


def indication_of(reading: tables.Reading, observed: Observed, instrument: tables.Instrument) -> Indication:
    """Mean indication and its repeatability: Type A of several values, else what the instrument declares."""
    typed = unit(instrument.indicated, reading.unit)
    mean = typed.to_si(observed.mean)
    if observed.traversed is not None:
        passes = observed.traversed.passes
        dof = float(passes - 1) if passes > 1 else np.inf
        return Indication(mean, repeatability_of(instrument), passes > 1, dof, passes, float(passes))
    return _of_values(observed.values, mean, instrument, reading.unit, observed.logged)


def _of_values(
    values: tuple[float, ...], mean: float, instrument: tables.Instrument, symbol: str, logged: bool
) -> Indication:
    typed, count = unit(instrument.indicated, symbol), len(values)
    if logged:
        series = type_a_of_series(values)
        u = typed.difference_to_si(series.estimate.standard_uncertainty)
        return Indication(mean, u, True, series.estimate.degrees_of_freedom, count, series.effective_observations)
    if count > 1:
        estimate = type_a(values)
        u = typed.difference_to_si(estimate.standard_uncertainty)
        return Indication(mean, u, True, estimate.degrees_of_freedom, count, float(count))
    # Whoever typed the reading was asked for two observations where the instrument declares no repeatability.
    return Indication(mean, repeatability_of(instrument), False, np.inf, 1, 1.0)


def throttled_indication(reading: Standing) -> Indication:
    """Indication of a hood with its throttle set."""
    values = reading.observed.throttled
    mean = unit(reading.instrument.indicated, reading.reading.unit).to_si(sum(values) / len(values))
    return _of_values(values, mean, reading.instrument, reading.reading.unit, logged=False)


def section_of(outlet: tables.Outlet) -> Section:
    """The section of an outlet or duct [m]; raises CalibError where its sizes make none."""
    sizes = (outlet.width, outlet.height, outlet.diameter)
    return section_from(str(outlet.shape), sizes, str(outlet.dimension_unit))


def section_from(shape: str, sizes: tuple[str | None, str | None, str | None], symbol: str) -> Section:
    """The section of a shape from width, height and diameter as typed in a unit; raises CalibError."""
    length = unit("length", symbol)
    width, height, diameter = (length.to_si(float(size or 0)) for size in sizes)
    return Section(shape, diameter, diameter) if shape == "round" else Section(shape, width, height)
