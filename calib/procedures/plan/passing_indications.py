"""The indications of one meter that would pass at the outlets of a job: what digits are compared with before they are evaluated.

The ends of the flows that would pass are those of `calib.procedures.measure.verdict`, with the relative guard band w/q of the
reading that the design flow would give (`calib.procedures.plan.predicted_reading`) in the place of a reading's own. What a
reading proves is said by its own evaluation: its U is another one.
"""

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from calib.confirmation.interval import gate
from calib.confirmation.words import SIMPLE
from calib.errors import CurveError
from calib.measurement.way import ProbeUse
from calib.measurement.ways import way_of
from calib.procedures.measure.verdict import flows_within
from calib.procedures.on_record.by_name import amended_instrument
from calib.procedures.on_record.in_force import OnRecord, on_record_of, outlets_in_force
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.plan.plan_job import latest_air, plan_outlet
from calib.procedures.plan.planned import Gear, Predicted, Wish
from calib.procedures.plan.predicted_reading import Asked, indication_of
from calib.records.record import key
from calib.records.words import DUCT


@dataclass(frozen=True)
class PassingIndications:
    """What one meter may show at each outlet of a job."""

    unit: str  # of the meter
    of_outlets: Mapping[str, tuple[float, float]]  # by name; an end that its calibration does not reach is infinite


def passing_indications(
    session: Session, job: str, tag: str, methods: Sequence[str], at: datetime
) -> PassingIndications:
    """The indications of a meter that would pass by the best of some methods, or of all where none is named.

    Absent is each outlet where nothing is judged, no indication would pass or the meter has none to show, and each duct, where the
    mean of its points counts. Raises NotInRecordsError for a job or a meter that is not there.
    """
    own, instrument = job_named(session, job), amended_instrument(session, tag).at(at)
    records = on_record_of(session, [key(instrument.id)], [key(own.id)])
    wish, way = Wish(at, at, methods=tuple(methods)), way_of(instrument.quantity, instrument.density_effect)
    gear = Gear(instrument, gate(records.register, tag, at, at))
    if way is None or way.probe is ProbeUse.NEEDED or not gear.decision.allowed:
        return PassingIndications(instrument.unit, {})
    asked = Asked(records, wish, (gear,), (), latest_air(records, key(own.id), wish)[0])
    ends = {}
    for outlet in outlets_in_force(session, [key(own.id)]).values():
        planned = None if outlet.place == DUCT else plan_outlet(asked, outlet)
        if planned is None or not planned.candidates:
            continue
        prediction = planned.candidates[0]
        guard = 0.0 if own.decision_rule == SIMPLE else prediction.guard_band(planned.limits, own.decision_rule)
        if guard >= planned.design:
            continue
        low, high = flows_within(planned.limits, guard / planned.design)
        if low <= high:
            ends[outlet.outlet] = (_end(records, prediction, low, -math.inf), _end(records, prediction, high, math.inf))
    return PassingIndications(instrument.unit, ends)


def _end(records: OnRecord, prediction: Predicted, flow: float, without: float) -> float:
    """The indication of a flow in the design's state [m3/s]; `without` where no such limit is, or the calibration ends before."""
    try:
        return indication_of(records, prediction, prediction.as_measured(flow)) if 0 < flow < math.inf else without
    except CurveError:
        return without
