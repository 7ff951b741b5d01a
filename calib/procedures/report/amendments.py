"""What was amended in a job since it was first typed: both values, the reason, and the flow as it was before.

Decision (2026-11-30). The flow before is evaluated with the outlet as it was and all else as it counts now: before and after
differ by the amendment alone. Options: the records as they were (an evaluation for each amendment). Cost: what was recorded since,
as a repeat that tells a drift, is in both; so a report that was issued before has the flow that it printed in its place.
"""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from itertools import pairwise
from typing import Any

from sqlmodel import Session, col, select

from calib.measurement import Readings, flows
from calib.procedures.measure.arrays import arrays_of
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.gate_reading import gate_readings
from calib.procedures.measure.results import Results, results_of_flows
from calib.procedures.measure.standing import Standing
from calib.procedures.on_record.amended import Amended
from calib.procedures.on_record.amendments_on_file import amendments_on_file
from calib.procedures.on_record.corrected_readings import corrected_cells
from calib.procedures.on_record.factors import factor_revisions
from calib.procedures.on_record.in_force import OnRecord, as_amended, on_record_of
from calib.procedures.on_record.jobs_by_name import amended_job
from calib.procedures.on_record.methods import amended_methods
from calib.procedures.on_record.outlets import history_of_outlet, revisions_of
from calib.procedures.on_record.withdrawn_readings import withdrawn_readings
from calib.records.ledger import written
from calib.records.record import key, moment
from calib.records.tables.jobs import Job
from calib.records.tables.outlets import Outlet, OutletRevision


@dataclass(frozen=True)
class FlowBefore:
    """A reading's flow as it was with the outlet before it was amended."""

    measured: Standing
    row: int  # of the reading in the evaluation
    flows: Results
    place: int  # of the flow among these


@dataclass(frozen=True)
class Amendment:
    """One correction by a record that supersedes an earlier one."""

    record: str  # what was amended: an outlet, or a factor found in the field
    revision: int
    changes: Mapping[str, tuple[str, str]]  # column -> value before, value after
    reason: str
    person: str
    time: str
    flows_before: tuple[FlowBefore, ...] = ()


def amendments_of(session: Session, evaluation: Evaluation, now: datetime) -> tuple[Amendment, ...]:
    """Amendments of a job's outlets and of the factors they use, in the order in which they were written."""
    job = evaluation.job
    records = on_record_of(session, jobs=[key(job.id)])
    outlets = _amended(session, job)
    as_before = {key(outlet.id): _before_last(session, outlet) for outlet in outlets}
    before = _flows_before(records, as_before, evaluation, now)
    amendments = [each for outlet in outlets for each in _of_outlet(session, outlet, evaluation, before)]
    factors = {standing.factor.factor for standing in evaluation.measured if standing.factor is not None}
    amendments += [amendment for name in sorted(factors) for amendment in _of_factor(session, name)]
    amendments += _of_readings(session, key(job.id))
    amendments += _of_revisions(session, f"job {job.job}", amended_job(session, job.job))
    methods = {key(standing.method.id) for standing in evaluation.measured}
    for method in amended_methods(session, methods).values():
        amendments += _of_revisions(session, f"method {method.first.method}", method)
    used = {
        key(each.id)
        for standing in evaluation.measured
        for each in (standing.instrument, standing.probe)
        if each is not None
    }
    for instrument in sorted(used & records.amended.keys()):
        amended = records.amended[instrument]
        amendments += _of_revisions(session, f"instrument {amended.first.tag}", amended)
    return tuple(sorted(amendments, key=lambda each: (moment(each.time), each.record, each.revision)))


def _amended(session: Session, job: Job) -> Sequence[Outlet]:
    """Outlets of a job that were amended: few of many, as a rule."""
    revised = select(OutletRevision.outlet_id)
    amended = select(Outlet).where(Outlet.job_id == job.id, col(Outlet.id).in_(revised))
    return session.exec(amended.order_by(col(Outlet.id))).all()


def _of_outlet(
    session: Session, outlet: Outlet, evaluation: Evaluation, before: Mapping[int, FlowBefore]
) -> Iterable[Amendment]:
    history = history_of_outlet(session, outlet)
    mine = tuple(flow for row, flow in before.items() if evaluation.measured[row].outlet.id == outlet.id)
    for revision in history.revisions:
        yield Amendment(
            f"outlet {outlet.outlet}",
            revision.revision,
            revision.changes,
            revision.reason,
            revision.person,
            revision.time,
            mine if revision is history.revisions[-1] else (),
        )


def _before_last(session: Session, outlet: Outlet) -> Outlet:
    *before, _ = revisions_of(session, outlet)
    return as_amended(outlet, before[-1] if before else None)


def _flows_before(
    records: OnRecord, outlets: Mapping[int, Outlet], evaluation: Evaluation, now: datetime
) -> dict[int, FlowBefore]:
    """Flows of the outlets' readings as these were before their last amendment, where the gate lets them stand so.

    All readings of the job are evaluated with them, since a repeatability is pooled over these.
    """
    taken = [(row, each) for row, each in enumerate(evaluation.measured) if key(each.outlet.id) in outlets]
    if not taken or evaluation.flow is None:
        return {}
    asked = [(each.reading, each.observed, outlets[key(each.outlet.id)]) for _, each in taken]
    stood: dict[int, Standing | None] = dict(enumerate(evaluation.measured))
    stood |= {row: each.standing for (row, _), each in zip(taken, gate_readings(records, asked, now), strict=True)}
    standing = {row: each for row, each in stood.items() if each is not None}
    readings = _with_drift(arrays_of(tuple(standing.values()), records), evaluation, list(standing))
    every = results_of_flows(flows(readings), evaluation.flow.coverage_probability)
    place = {row: at for at, row in enumerate(standing)}
    return {row: FlowBefore(each, row, every, place[row]) for row, each in taken if row in place}


def _with_drift(readings: Readings, evaluation: Evaluation, rows: Sequence[int]) -> Readings:
    """Readings as they were, with what the drift of the plant adds to them now."""
    drift = None if evaluation.readings is None else evaluation.readings.plant_drift
    return readings if drift is None else replace(readings, plant_drift=drift.of(rows))


def _of_factor(session: Session, name: str) -> Iterable[Amendment]:
    for before, after in pairwise(factor_revisions(session, name)):
        person, time = written(session, "found_factor", key(after.id))
        changes = {"value": (f"{before.value:.4g}", f"{after.value:.4g}")}
        yield Amendment(f"factor {name}", after.revision, changes, after.reason, person, time)


def _of_revisions(session: Session, record: str, amended: Amended[Any]) -> Iterable[Amendment]:
    """Amendments of a job, a method or an instrument; of the latter with the time from which on it holds."""
    for each in amendments_on_file(session, amended):
        named = record if each.holds_from is None else f"{record}, from {each.holds_from}"
        yield Amendment(named, each.revision, each.changes, each.reason, each.person, each.time)


def _of_readings(session: Session, job: int) -> Iterable[Amendment]:
    """Readings that were withdrawn or corrected, and refusals that were dismissed."""
    for each in withdrawn_readings(session, job):
        before, by = each.typed, each.taken_back.replaced_by
        after: Any = None if by is None else session.get_one(type(before), by)
        changes = {"counts": ("yes", "no")} if after is None else dict(corrected_cells(session, before, after))
        revision = (before.revision or 1) + (after is not None)
        back = each.taken_back
        yield Amendment(each.named, revision, changes, back.reason, back.by, back.at)
