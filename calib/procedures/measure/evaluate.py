"""Evaluate a job: every reading that the gate lets stand with its flow and uncertainty, the totals, and the refusals.

The gate is asked again with what the records hold now: a reading that passed when it was typed and would be refused on what has
been recorded since yields no flow, and stands among the refusals.
"""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray
from sqlmodel import Session, select

from calib.airflow.profile import Profile
from calib.airflow.profile import judge as judge_profile
from calib.measurement import Flows, Readings, flows
from calib.procedures.measure.arrays import arrays_of
from calib.procedures.measure.gate_reading import gate_reading
from calib.procedures.measure.results import Judgement, Results, judge, results
from calib.procedures.measure.stability import basis_of
from calib.procedures.measure.standing import Standing, section_of
from calib.procedures.measure.totals import (
    Plan,
    Total,
    Totals,
    counted,
    design_of,
    totals_of_job,
    totals_of_rooms,
    totals_of_systems,
    with_flows,
)
from calib.procedures.on_record.by_name import job_named
from calib.procedures.on_record.in_force import OnRecord, on_record_of, outlets_in_force, traverses_on_record
from calib.procedures.typed.observations import observed
from calib.records import tables
from calib.records.record import key, moment
from calib.records.tables import NET
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from calib.uncertainty.propagation import combine

__all__ = ["NET", "Evaluation", "Judgement", "Measured", "Refused", "Results", "Total", "evaluate", "results"]


@dataclass(frozen=True)
class Measured(Standing):
    """A reading that stands, and whether the totals take it."""

    latest: bool = False  # no later reading of its outlet stands
    in_totals: bool = False  # the latest reading of an outlet that belongs to totals


@dataclass(frozen=True)
class Refused:
    """One refused reading, everything typed kept."""

    outlet: tables.Outlet
    instrument: tables.Instrument
    typed: tables.Refusal | tables.Reading
    reasons: tuple[str, ...]


@dataclass(frozen=True)
class Evaluation:
    """A job evaluated. Rows of `measured` and of every array run together."""

    job: tables.Job
    measured: tuple[Measured, ...]
    refused: tuple[Refused, ...]
    of_systems: Totals
    of_job: Totals
    of_rooms: Totals
    readings: Readings | None = None  # absent where no reading stands, like all below
    flows: Flows | None = None
    velocity: Results | None = None
    flow: Results | None = None
    judgement: Judgement | None = None
    profiles: Mapping[int, Profile] = field(default_factory=dict)  # of traverses, by their row
    curves: Mapping[int, tables.StoredCurve] = field(default_factory=dict)  # by the id of the calibration
    calibrations: Mapping[int, tables.Calibration] = field(default_factory=dict)  # by their id
    histories: Mapping[int, str] = field(default_factory=dict)  # what a stability rests on, by the calibration

    def point_velocities(self, row: int) -> NDArray[np.float64]:
        """Velocity at each point of a traverse, the mean of its passes [m/s]."""
        traversed = self.measured[row].observed.traversed
        assert self.readings is not None and self.flows is not None and traversed is not None  # noqa: S101, PT018
        return _of_points(self.readings, self.flows, row, traversed.passes)

    @cached_property
    def measured_outlets(self) -> dict[int, tables.Outlet]:
        """Outlets that a reading stands of, as they count now, by their key."""
        return {key(one.outlet.id): one.outlet for one in self.measured}

    @property
    def totals(self) -> tuple[Total, ...]:
        """Totals of the systems."""
        return self.of_systems.totals

    @property
    def total_flow(self) -> Results | None:
        """Their flows."""
        return self.of_systems.flow


def evaluate(
    session: Session, name: str, now: datetime, coverage_probability: float = COVERAGE_PROBABILITY
) -> Evaluation:
    """Evaluate a job at a time; raises NotInRecordsError for a job that is not there."""
    job = job_named(session, name)
    records = on_record_of(session, jobs=[key(job.id)])
    plan = _plan(session, job)
    measured, refused = _sorted_out(session, records, key(job.id), plan, now)
    stands = frozenset(key(one.outlet.id) for one in measured)
    systems, whole, rooms = totals_of_systems(plan, stands), totals_of_job(plan, stands), totals_of_rooms(plan, stands)
    if not measured:
        return Evaluation(job, (), refused, Totals(tuple(systems)), Totals(tuple(whole)), Totals(tuple(rooms)))
    readings = arrays_of(measured, records)
    found = flows(readings)
    flow = results(found.flow, combine(found.contributions), coverage_probability)
    counts = [one if one.in_totals else None for one in measured]
    of_systems, of_job, of_rooms = (
        with_flows(one, counts, found, job.decision_rule, coverage_probability) for one in (systems, whole, rooms)
    )
    used = {number for one in measured for number in _calibrations(one)}
    return Evaluation(
        job,
        measured,
        refused,
        of_systems,
        of_job,
        of_rooms,
        readings,
        found,
        results(found.velocity, combine(found.velocity_contributions), coverage_probability),
        flow,
        _judge(job, measured, flow),
        _profiles(measured, readings, found),
        {number: records.curves[number] for number in sorted(used)},
        {number: records.calibrations[number] for number in sorted(used)},
        _histories(records, measured),
    )


def _plan(session: Session, job: tables.Job) -> Plan:
    designs = session.exec(select(tables.SystemDesign).where(tables.SystemDesign.job_id == job.id))
    rooms = session.exec(select(tables.Room).where(tables.Room.job_id == job.id))
    return Plan(
        outlets_in_force(session, [key(job.id)]),
        {(one.system, one.service): one for one in designs},
        {one.room: one.pressure for one in rooms},
    )


def _histories(records: OnRecord, measured: Sequence[Standing]) -> dict[int, str]:
    each = {one.calibration.record_id: one for one in measured}
    found = {number: basis_of(records, one.instrument, one.calibration) for number, one in each.items()}
    return {number: basis for number, basis in found.items() if basis is not None}


def _calibrations(one: Standing) -> list[int]:
    probe = one.probe_decision
    of_probe = [] if probe is None or probe.calibration is None else [probe.calibration.record_id]
    return [one.calibration.record_id, *of_probe]


def _sorted_out(
    session: Session, records: OnRecord, job: int, plan: Plan, now: datetime
) -> tuple[tuple[Measured, ...], tuple[Refused, ...]]:
    outlets = plan.outlets
    standing: list[Standing] = []
    refused: list[Refused] = []
    of_traverse = traverses_on_record(session, job)
    for reading in _of_job(session, tables.Reading, job):
        seen = observed(reading.model_dump(), _log(session, reading), of_traverse.get(reading.traverse_id))
        gated = gate_reading(records, reading, seen, outlets[reading.outlet_id], now)
        if gated.standing is None:
            instrument = records.instruments[reading.instrument_id]
            refused.append(Refused(outlets[reading.outlet_id], instrument, reading, gated.reasons))
        else:
            standing.append(gated.standing)
    for refusal in _of_job(session, tables.Refusal, job):
        reasons = tuple(json.loads(refusal.reasons))
        instrument = records.instruments[refusal.instrument_id]
        refused.append(Refused(outlets[refusal.outlet_id], instrument, refusal, reasons))
    measured = _with_totals(standing, counted(outlets).keys())
    measured.sort(key=lambda one: (key(one.outlet.id), moment(one.reading.observed_at), key(one.reading.id)))
    refused.sort(key=lambda one: (key(one.outlet.id), moment(one.typed.observed_at)))
    return tuple(measured), tuple(refused)


def _of_job(session: Session, table: Any, job: int) -> Sequence[Any]:
    return session.exec(select(table).join(tables.Outlet).where(tables.Outlet.job_id == job).order_by(table.id)).all()


def _log(session: Session, reading: tables.Reading) -> bytes | None:
    kept = None if reading.logged_series_id is None else session.get(tables.LoggedSeries, reading.logged_series_id)
    return None if kept is None else kept.content


def _with_totals(standing: Sequence[Standing], belong: Any) -> list[Measured]:
    last: dict[int, int | None] = {}
    for one in sorted(standing, key=lambda one: (moment(one.reading.observed_at), key(one.reading.id))):
        last[one.reading.outlet_id] = one.reading.id
    latest = [last[one.reading.outlet_id] == one.reading.id for one in standing]
    return [
        Measured(**vars(one), latest=is_last, in_totals=is_last and one.outlet.id in belong)
        for one, is_last in zip(standing, latest, strict=True)
    ]


def _judge(job: tables.Job, measured: Sequence[Measured], flow: Results) -> Judgement:
    design = np.array([design_of(one.outlet) for one in measured])
    tolerance = np.array([float(one.outlet.tolerance_percent or "nan") / 100 for one in measured])
    return judge(flow, design, tolerance, job.decision_rule)


def _profiles(measured: Sequence[Measured], readings: Readings, found: Flows) -> dict[int, Profile]:
    """Profiles of the traverses: the mean of the passes at each point."""
    if readings.points is None:
        return {}
    found_profiles = {}
    for row, one in enumerate(measured):
        traversed = one.observed.traversed
        if traversed is not None:
            without = sum(min(values) <= 0 for values in traversed.indications)
            velocity = _of_points(readings, found, row, traversed.passes)
            found_profiles[row] = judge_profile(traversed.places(section_of(one.outlet)), velocity, without)
    return found_profiles


def _of_points(readings: Readings, found: Flows, row: int, passes: int) -> NDArray[np.float64]:
    assert readings.points is not None  # noqa: S101 (a traverse has points)
    mine = slice(*np.searchsorted(readings.points.reading, (row, row + 1)))
    return np.asarray(found.point_velocity[mine].reshape(passes, -1).mean(axis=0))
