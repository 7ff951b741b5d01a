"""Stability since calibration of the instruments and probes that readings used."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Floats, Integers, by_kind
from calib.measurement.below_lowest import asked_at
from calib.procedures.measure.decided_change import decided_change
from calib.procedures.measure.indicated import StabilityHere, stability_limits
from calib.procedures.measure.stability import history_in_force, stability_alone, stability_at
from calib.procedures.measure.standing import Standing, with_what
from calib.procedures.on_record.in_force import OnRecord


def stability_of(standing: Sequence[Standing], owner: Integers, x: Floats, records: OnRecord) -> StabilityHere:
    """Stability of the instruments of readings at P indications [SI], each of the reading with the number `owner`, (P,).

    Below the lowest comparison that of the lowest, by ways that go down to zero.
    """
    of_systems, system = by_kind(standing, lambda reading: reading.system)
    firsts, kind = by_kind(of_systems, with_what)
    kind = kind[system]
    change = StabilityHere(np.empty(x.size), np.full(x.size, np.inf))
    for each, first in enumerate(firsts):
        lot = np.flatnonzero(kind[owner] == each)
        days = [standing[row].at.date() for row in owner[lot].tolist()]
        at = asked_at(records.curve(first.calibration.record_id), x[lot], first.way.goes_to_zero)
        here = stability_alone(records, first.instrument, first.calibration, days, at)
        change.half_width[lot], change.degrees_of_freedom[lot] = here.half_width, here.degrees_of_freedom
    return change


def decided_of(standing: Sequence[Standing], owner: Integers, x: Floats, records: OnRecord) -> Floats | None:
    """Half-widths by which reviews widened the values of readings at P indications [SI], (P,); None where none did."""
    if not any(reading.calibration.record_id in records.widened for reading in standing):
        return None
    firsts, kind = by_kind(standing, lambda reading: reading.calibration.record_id)
    change = np.zeros(x.size)
    for each, first in enumerate(firsts):
        lot, calibration = np.flatnonzero(kind[owner] == each), first.calibration.record_id
        at = asked_at(records.curve(calibration), x[lot], first.way.goes_to_zero)
        change[lot] = decided_change(records, calibration, at)
    return change


@dataclass(frozen=True)
class ProbeStability:
    """Limits of change of a probe: this times the velocity, plus a constant [m/s]."""

    relative: float
    absolute: float
    degrees_of_freedom: float


def stability_of_probe(records: OnRecord, reading: Standing) -> ProbeStability:
    """Stability of a reading's probe: of its history the largest relative change over the indications that were compared."""
    calibration = reading.system.probe_calibration
    if reading.probe is None or calibration is None:
        return ProbeStability(0.0, 0.0, math.inf)
    history = history_in_force(records, reading.probe, calibration)
    nodes = history[-1].as_left.indication if history else np.zeros(0)
    nodes = nodes[nodes > 0]
    here = stability_at(records, reading.probe, calibration, [reading.at.date()] * nodes.size, nodes)
    widened = _widened_probe(records, calibration.record_id)
    if not nodes.size or not np.all(np.isfinite(here.degrees_of_freedom)):
        relative, absolute = stability_limits(reading.probe)
        return ProbeStability(float(np.hypot(relative, widened)), absolute, math.inf)
    return ProbeStability(float(np.max(here.half_width / nodes)), 0.0, float(here.degrees_of_freedom.min()))


def _widened_probe(records: OnRecord, calibration: int) -> float:
    """The largest relative change that a review widened a probe's calibration by."""
    if calibration not in records.widened:
        return 0.0
    nodes = records.curve(calibration).reference_indications
    nodes = nodes[nodes > 0]
    return float(np.max(decided_change(records, calibration, nodes) / nodes, initial=0.0))
