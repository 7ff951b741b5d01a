"""Stability since calibration of the instruments and probes that readings used."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.procedures.measure.indicated import StabilityHere, stability_limits
from calib.procedures.measure.stability import history_in_force, stability_at
from calib.procedures.measure.standing import Standing
from calib.procedures.on_record.in_force import OnRecord
from calib.records.record import moment


def stability_of(owners: Sequence[Standing], indications: Sequence[float], records: OnRecord) -> StabilityHere:
    """Stability of each instrument at P indications [SI], one for each reading or for each of its points."""
    x = np.array(indications)
    places: dict[int, list[int]] = {}
    for place, owner in enumerate(owners):
        places.setdefault(owner.calibration.record_id, []).append(place)
    change = StabilityHere(np.empty(x.size), np.full(x.size, np.inf))
    for lot in places.values():
        first = owners[lot[0]]
        days = [moment(owners[place].reading.observed_at).date() for place in lot]
        here = stability_at(records, first.instrument, first.calibration, days, x[lot])
        change.half_width[lot], change.degrees_of_freedom[lot] = here.half_width, here.degrees_of_freedom
    return change


@dataclass(frozen=True)
class ProbeStability:
    """Limits of change of a probe: this times the velocity, plus a constant [m/s]."""

    relative: float
    absolute: float
    degrees_of_freedom: float


def stability_of_probe(records: OnRecord, reading: Standing) -> ProbeStability:
    """Stability of a reading's probe: of its history the largest relative change over the indications that were compared."""
    if reading.probe is None or reading.probe_decision is None or reading.probe_decision.calibration is None:
        return ProbeStability(0.0, 0.0, math.inf)
    calibration = reading.probe_decision.calibration
    history = history_in_force(records, reading.probe, calibration)
    nodes = history[-1].left.indication if history else np.zeros(0)
    nodes = nodes[nodes > 0]
    day = moment(reading.reading.observed_at).date()
    here = stability_at(records, reading.probe, calibration, [day] * nodes.size, nodes)
    if not nodes.size or not np.all(np.isfinite(here.degrees_of_freedom)):
        return ProbeStability(*stability_limits(reading.probe), math.inf)
    return ProbeStability(float(np.max(here.half_width / nodes)), 0.0, float(here.degrees_of_freedom.min()))
