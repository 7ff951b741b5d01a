"""What a reading proves at once: whether its outlet passes, which indications would, what would settle a doubt, what is left.

The indications that would pass are those whose flow lies within the acceptance interval, the relative guard band w/q of the
reading taken along to its ends:

    q_low = L/(1 - w/q)        q_high = U/(1 + w/q)        L, U: the limits of the flow

and the model gone through backwards gives their indications. Passes of a traverse are thought scaled together.
"""

import math
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from sqlmodel import Session, col, select

from calib.arrays import Floats
from calib.errors import MeasuringIntervalError
from calib.measurement import Readings, flow_values
from calib.procedures.measure.budget import observations_for
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.reading_in_job import ReadingInJob, reading_in_job
from calib.procedures.on_record.jobs_by_name import outlet_named
from calib.procedures.on_record.what_counts import not_retracted
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading

_STEPS = 6  # a curve is nearly straight between a reading and a limit: three would do


@dataclass(frozen=True)
class Verdict:
    """A reading in its job, and what it proves."""

    in_job: ReadingInJob
    passing: (
        tuple[float, float] | None
    )  # mean indications that would pass [unit typed], an end infinite; None: none would
    is_settled: bool  # a conditional statement is not
    observations: int | None  # so many would settle it; None: no number would, or it is settled
    left: tuple[Outlet, ...]  # outlets and ducts of the job that no reading stands of


def verdict_on_latest(session: Session, job: str, outlet: str, now: datetime) -> Verdict:
    """The verdict on the reading recorded last at an outlet; raises NotInRecordsError, or RefusedError where none stands."""
    latest = _latest_first(session, job, outlet, 0)
    return verdict_on(reading_in_job(session, latest or 0, now))


def reading_before(session: Session, job: str, outlet: str) -> int | None:
    """The reading of an outlet recorded before its latest, of those that stand; None where that is the first."""
    return _latest_first(session, job, outlet, 1)


def _latest_first(session: Session, job: str, outlet: str, place: int) -> int | None:
    """The reading at a place, from 0, among those of an outlet that count, the latest first; None where there is none."""
    own = Reading.outlet_id == outlet_named(session, job, outlet).id
    recorded = select(Reading.id).where(own, not_retracted(Reading)).order_by(col(Reading.id).desc())
    return session.exec(recorded.offset(place).limit(1)).first()


def verdict_on(in_job: ReadingInJob) -> Verdict:
    """The verdict on a reading of a job."""
    evaluation, row = in_job.evaluation, in_job.row
    settled = _is_settled(evaluation, row)
    return Verdict(
        in_job,
        passing_indications(evaluation, row)[row],
        settled,
        observations_to_settle(in_job),
        evaluation.not_measured,
    )


def _is_settled(evaluation: Evaluation, row: int) -> bool:
    assert evaluation.judgement is not None  # noqa: S101 (the reading stands)
    return not str(evaluation.judgement.statement[row]).startswith("conditional")


def observations_to_settle(in_job: ReadingInJob) -> int | None:
    """How many observations would settle a conditional statement; None where it is settled, or no number would."""
    evaluation, row = in_job.evaluation, in_job.row
    if _is_settled(evaluation, row):
        return None
    return observations_for(in_job, _to_the_nearest_limit(evaluation, row))


def _limits(evaluation: Evaluation, row: int) -> tuple[float, float]:
    assert evaluation.judgement is not None  # noqa: S101
    limits = evaluation.judgement.limits
    return float(limits.lower[row]), float(limits.upper[row])


def _judged_flow(evaluation: Evaluation, row: int) -> float:
    """The flow in the state in which it is judged [m3/s]."""
    assert evaluation.in_design_state is not None  # noqa: S101
    return float(evaluation.in_design_state.value[row])


def _to_the_nearest_limit(evaluation: Evaluation, row: int) -> float:
    """The U that would settle the statement, as measured [m3/s]."""
    judged = _judged_flow(evaluation, row)
    return min(abs(judged - limit) for limit in _limits(evaluation, row)) * _measured_flow(evaluation, row) / judged


def _measured_flow(evaluation: Evaluation, row: int) -> float:
    assert evaluation.flow is not None  # noqa: S101
    return float(evaluation.flow.value[row])


def passing_flows(evaluation: Evaluation, row: int) -> tuple[float, float] | None:
    """Flows that would pass with the relative guard band of a reading, in the state in which it is judged [m3/s]."""
    judged, judgement = _judged_flow(evaluation, row), evaluation.judgement
    assert judgement is not None  # noqa: S101
    lower, upper = _limits(evaluation, row)
    guard = float(judgement.guard_bands.width[row]) / judged
    if not (judged > 0 and guard < 1 and lower < upper):  # no limits too: they are not numbers
        return None
    ends = flows_within((lower, upper), guard)
    return ends if ends[0] <= ends[1] else None


def flows_within(limits: tuple[float, float], guard: float) -> tuple[float, float]:
    """The ends of the flows that lie within limits by a relative guard band at the least [as the limits]."""
    lower, upper = limits
    return lower / (1.0 - guard), upper / (1.0 + guard)


def passing_indications(evaluation: Evaluation, only: int | None = None) -> list[tuple[float, float] | None]:
    """Mean indications of each reading that would pass, an end infinite [unit typed]; None: none would, or nothing is judged.

    Of a single row `only` where that is asked for: the others read None.
    """
    readings, flow, in_state = evaluation.readings, evaluation.flow, evaluation.in_design_state
    if readings is None or flow is None or in_state is None:
        return []
    ends = [passing_flows(evaluation, row) if only in (None, row) else None for row in range(readings.size)]
    wanted = np.array([(np.nan, np.nan) if each is None else each for each in ends]) / in_state.value[:, None]
    low, high = (_scales(readings, flow.value, end) for end in wanted.T)
    means = [measured.observed.mean for measured in evaluation.measured]
    return [
        None
        if each is None or mean <= 0 or math.isinf(low[row]) or not high[row]
        else (float(low[row]) * mean, float(high[row]) * mean)
        for row, (each, mean) in enumerate(zip(ends, means, strict=True))
    ]


def _scales(readings: Readings, measured: Floats, wanted: Floats) -> Floats:
    """By what the indications of each reading would have to grow so that its flow grows by `wanted`.

    Infinite or 0 where that is beyond what its instrument is calibrated for.
    """
    try:
        return _scales_within(readings, measured, wanted)
    except MeasuringIntervalError:
        return np.array([_scale_alone(readings, measured, wanted, row) for row in range(readings.size)])


def _scale_alone(readings: Readings, measured: Floats, wanted: Floats, row: int) -> float:
    try:
        return float(_scales_within(readings, measured, np.where(np.arange(readings.size) == row, wanted, np.nan))[row])
    except MeasuringIntervalError:
        return math.inf if wanted[row] > 1 else 0.0


def _scales_within(readings: Readings, measured: Floats, wanted: Floats) -> Floats:
    """The same by secants of logarithms; raises MeasuringIntervalError."""
    sought = np.isfinite(wanted) & (wanted > 0)
    scale: Floats = np.where(sought, wanted, 1.0)
    before = np.zeros_like(scale), np.zeros_like(scale)
    without = np.zeros_like(sought)  # those at which no flow is left
    for _ in range(_STEPS):
        grown = _flows_at(readings, scale) / measured
        without |= sought & ~(grown > 0)
        here = np.log(scale), np.log(np.where(grown > 0, grown, 1.0))
        missing = np.log(np.where(sought, wanted, 1.0)) - here[1]
        going = sought & ~without & (np.abs(missing) >= 1e-8) & (here[0] != before[0])
        if not going.any():
            break
        slope = np.divide(here[1] - before[1], here[0] - before[0], out=np.ones_like(scale), where=going)
        before, scale = here, np.where(going, scale * np.exp(missing / slope), scale)
    return np.where(without, 0.0, np.where(sought, scale, np.where(wanted <= 0, 0.0, wanted)))


def _flows_at(readings: Readings, scale: Floats) -> Floats:
    """(n,) flows with the indications of each reading scaled [m3/s]."""
    owner = slice(None) if readings.points is None else readings.points.reading
    return flow_values(replace(readings, indication=readings.indication * scale[owner]))
