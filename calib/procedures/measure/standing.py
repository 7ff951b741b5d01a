"""One reading with all that it rests on.

Decision (2026-11). The gate is asked once for what readings share: the instrument, probe, method and air of a stretch of time
(`MeasuringSystem`), since between two events, checks or pairings a day has one answer (`OnRecord.stretch`). A reading and an
outlet are each one named tuple of their cells. Options: the gate and mapped objects for each (150 µs a reading of 10,000, 0.8
times as fast as the kernel of `uncertainties`, which asks no gate); columns alone, and a reading put together again for whoever
shows it (two shapes of one thing). Cost: what the gate will go by one day has to cut the stretches too; a test holds the gate
against them.
"""

from dataclasses import dataclass
from datetime import datetime
from functools import cached_property
from typing import NamedTuple

import numpy as np

from calib.airflow.traverse import Section
from calib.confirmation.interval import CalibrationOnRecord, Decision
from calib.measurement.way import Way
from calib.measurement.ways import way_of_reading
from calib.procedures.measure.air import AirFound
from calib.procedures.measure.indicated import repeatability_of
from calib.procedures.on_record.way_of_instrument import way_of_instrument
from calib.procedures.typed.observations import Observed
from calib.procedures.typed.section import section_from
from calib.quantities import Unit, unit
from calib.records.tables.factors import FoundFactor
from calib.records.tables.instruments import Instrument
from calib.records.tables.methods import Method
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading
from calib.uncertainty.estimate import type_a
from calib.uncertainty.series import type_a_of_series


class Indication(NamedTuple):
    """Mean indication of a reading with the evaluation of its repeatability; of a traverse, of one indication at a point."""

    mean: float  # [SI]
    u: float  # of the mean [SI]
    type_a: bool
    dof: float
    observations: int  # repeated: values, or passes of a traverse
    effective_observations: float  # fewer where a logged series is correlated


@dataclass(frozen=True, eq=False)
class MeasuringSystem:
    """With what a reading was taken (VIM 3.2), by what method and in what air, and what the gate says of each.

    One for all readings of a stretch of time in which the gate says the same.
    """

    instrument: Instrument
    method: Method
    decision: Decision  # on the instrument
    probe: Instrument | None = None
    probe_decision: Decision | None = None
    air: AirFound | None = None
    reasons: tuple[str, ...] = ()  # against all but the instrument

    @property
    def calibration(self) -> CalibrationOnRecord:
        """The calibration of the instrument that counts; there is one where a reading stands."""
        assert self.decision.calibration is not None  # noqa: S101 (the gate lets nothing stand without one)
        return self.decision.calibration

    @property
    def probe_calibration(self) -> CalibrationOnRecord | None:
        """The calibration of the probe that counts."""
        return None if self.probe_decision is None else self.probe_decision.calibration

    @property
    def calibrations(self) -> tuple[int, ...]:
        """Keys of both, that of the instrument first."""
        both = (self.calibration, self.probe_calibration)
        return tuple(each.record_id for each in both if each is not None)

    @cached_property
    def notes(self) -> tuple[str, ...]:
        """That a review decided which curve holds, and open reviews that were known then."""
        held = (
            f"which curve holds for certificate {each.certificate} was decided in an impact review"
            for each in (self.decision.calibration, self.probe_calibration)
            if each is not None and each.certificate_id is not None
        )
        of_probe = () if self.probe_decision is None else self.probe_decision.notes
        return (*held, *self.decision.notes, *of_probe)

    @cached_property
    def declared_way(self) -> Way:
        """The way of its instrument."""
        return way_of_instrument(self.instrument)

    @cached_property
    def way(self) -> Way:
        """The way in which it measures, its throttle open if it has one."""
        return way_of_reading(self.declared_way, in_known_air=self.air is not None, is_throttled=False)

    @cached_property
    def throttled_way(self) -> Way:
        """The way in which it measures with its throttle set too."""
        return way_of_reading(self.declared_way, in_known_air=self.air is not None, is_throttled=True)

    @cached_property
    def indicated(self) -> str:
        """The quantity that its instrument indicates."""
        return self.instrument.indicated


class Standing(NamedTuple):
    """A reading that the gate lets stand, with all that it rests on. A job has thousands: what they share is in the system."""

    reading: Reading
    at: datetime  # of its observation
    observed: Observed
    outlet: Outlet  # as it counts now
    system: MeasuringSystem
    factor: FoundFactor | None = None
    flags: tuple[str, ...] = ()  # what is worth saying of a reading that stands

    @property
    def instrument(self) -> Instrument:
        """Its instrument."""
        return self.system.instrument

    @property
    def method(self) -> Method:
        """Its method."""
        return self.system.method

    @property
    def calibration(self) -> CalibrationOnRecord:
        """The calibration of its instrument that counts."""
        return self.system.calibration

    @property
    def probe(self) -> Instrument | None:
        """Its probe, where that has a calibration of its own."""
        return self.system.probe

    @property
    def air(self) -> AirFound | None:
        """The air that it names."""
        return self.system.air

    @property
    def way(self) -> Way:
        """The way in which it was measured."""
        return self.system.throttled_way if self.observed.throttled else self.system.way

    @property
    def unit(self) -> Unit:
        """The unit in which it was typed."""
        return unit(self.system.indicated, self.reading.unit)

    @property
    def indication(self) -> Indication:
        """Its mean indication, and its repeatability: Type A of several values, else what the instrument declares."""
        traversed = self.observed.traversed
        if traversed is None:
            return self._of_values(self.observed.values, self.observed.mean, logged=self.observed.logged)
        passes, u = traversed.passes, repeatability_of(self.instrument)
        dof = float(passes - 1) if passes > 1 else np.inf
        return Indication(self.unit.to_si(self.observed.mean), u, passes > 1, dof, passes, float(passes))

    @property
    def throttled_indication(self) -> Indication:
        """The indication of a hood with its throttle set."""
        values = self.observed.throttled
        return self._of_values(values, sum(values) / len(values), logged=False)

    def _of_values(self, values: tuple[float, ...], mean: float, *, logged: bool) -> Indication:
        typed, count = self.unit, len(values)
        if logged:
            series = type_a_of_series(values)
            estimate, effective = series.estimate, series.effective_observations
        elif count > 1:
            estimate, effective = type_a(values), float(count)
        else:
            # Whoever typed the reading was asked for two observations where the instrument declares no repeatability.
            return Indication(typed.to_si(mean), repeatability_of(self.instrument), False, np.inf, 1, 1.0)
        u = typed.difference_to_si(estimate.standard_uncertainty)
        return Indication(typed.to_si(mean), u, True, estimate.degrees_of_freedom, count, effective)


def with_what(reading: Standing) -> tuple[int, int]:
    """The calibration that a reading was taken with, and the state of its instrument in the register."""
    return reading.calibration.record_id, id(reading.instrument)


def section_of(outlet: Outlet) -> Section:
    """The section of an outlet or duct [m]; raises CalibError where its sizes make none."""
    sizes = (outlet.width, outlet.height, outlet.diameter)
    return section_from(str(outlet.shape), sizes, str(outlet.dimension_unit))
