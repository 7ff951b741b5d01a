"""The drift of the plant while a job was measured: an outlet read early is read again at the end, and its flow has changed.

    d = q_repeat/q_first - 1            u(d): what the two readings do not share
    u_drift(q)/q = sqrt((d^2 + u(d)^2)/3)

for every flow of that system and service, as it was at the time of the first reading: somewhere between that and the repeat a
share s of the drift d has come, s from 0 to 1 in a way that is not known, so that the mean square of s d is (d^2 + u(d)^2)/3. It
is one error of the plant, common to the readings of one system and service; supply and return have fans of their own, and share
none of it.

The pair is a repeat and the last reading before it at the same outlet, by the same instrument and method: the errors of
calibration, opening and method are the same then and cancel, so that d is known far better than either flow.

Decision (2026-11-29): the drift is carried, not corrected. Options: correcting each flow in proportion to its time (the records
have no statement that a job wants it, and no plant is known to drift so evenly; filters load, doors open); leaving it out of
single flows, which hold for the time they were observed (they are compared with designs and summed as if of one time). Cost:
where the plant does drift evenly, U is wider than after a correction.
"""

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from calib.measurement import Flows
from calib.measurement.readings import PlantDrift
from calib.procedures.measure.standing import Standing
from calib.records.words import REPEAT
from calib.uncertainty.sharing import independent


@dataclass(frozen=True)
class DriftOfPlant:
    """What a repeated reading tells of the plant: of one system and service."""

    system: str
    service: str
    first: int  # rows of the evaluation
    repeat: int
    relative: float  # d [1]
    standard_uncertainty: float  # u(d) [1]

    @property
    def carried(self) -> float:
        """Relative standard uncertainty that each flow of the system and service gains [1]."""
        return math.sqrt((self.relative**2 + self.standard_uncertainty**2) / 3.0)


def drifts_of(measured: Sequence[Standing], flows: Flows) -> tuple[DriftOfPlant, ...]:
    """The drift that each repeat tells; `measured` stands by outlet and time. A repeat of a flow of 0 tells none."""
    return tuple(_drifts(measured, flows))


def _drifts(measured: Sequence[Standing], flows: Flows) -> Iterator[DriftOfPlant]:
    for row, reading in enumerate(measured):
        first = first_of_repeat(measured, row) if reading.reading.stage == REPEAT else None
        if first is not None and is_taken_alike(measured[first], reading) and flows.flow[first] != 0:
            drift = float(flows.flow[row] / flows.flow[first]) - 1.0
            u = _uncertainty(flows, first, row)
            yield DriftOfPlant(reading.outlet.system, reading.outlet.service, first, row, drift, u)


def first_of_repeat(measured: Sequence[Standing], repeat: int) -> int | None:
    """Row of the reading that a repeat repeats: the last one before it there that is none itself."""
    for earlier in range(repeat - 1, -1, -1):
        if measured[earlier].reading.outlet_id != measured[repeat].reading.outlet_id:
            return None
        if measured[earlier].reading.stage != REPEAT:
            return earlier
    return None


def is_taken_alike(first: Standing, repeat: Standing) -> bool:
    """Whether two readings of an outlet were taken with the same instrument, probe and method: what errs in both cancels."""
    used, again = (
        (each.reading.instrument_id, each.reading.probe_id, each.reading.method_id) for each in (first, repeat)
    )
    return used == again


def _uncertainty(flows: Flows, first: int, repeat: int) -> float:
    """u of q_repeat/q_first: relative errors that both bear cancel, the others add in quadrature (GUM 5.2.2)."""
    variance = 0.0
    for contribution in flows.contributions:
        for share in contribution.shared:
            parts = contribution.parts if share.columns is None else contribution.parts[:, share.columns]
            a, b = parts[repeat] / flows.flow[first], parts[first] * flows.flow[repeat] / flows.flow[first] ** 2
            is_shared = share.group[first] == share.group[repeat] and share.rule is not independent
            variance += float(np.sum((a - b) ** 2 if is_shared else a**2 + b**2))
    return math.sqrt(variance)


def plant_drift(measured: Sequence[Standing], drifts: Sequence[DriftOfPlant]) -> PlantDrift | None:
    """What the drifts add to each reading; of several of one system and service the largest. None where there is no drift."""
    if not drifts:
        return None
    streams = list(dict.fromkeys((drift.system, drift.service) for drift in drifts))
    largest = dict.fromkeys(streams, 0.0)
    exempt = {row for drift in drifts for row in (drift.first, drift.repeat)}
    for drift in drifts:
        stream = drift.system, drift.service
        largest[stream] = max(largest[stream], drift.carried)
    of_readings = [(reading.outlet.system, reading.outlet.service) for reading in measured]
    return PlantDrift(
        np.array([0.0 if row in exempt else largest.get(each, 0.0) for row, each in enumerate(of_readings)]),
        np.array([streams.index(each) if each in largest else len(streams) for each in of_readings]),
    )
