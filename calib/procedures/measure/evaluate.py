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
from sqlmodel import Session, select

from calib.airflow.profile import Profile, judge_profile
from calib.arrays import Floats
from calib.measurement import Flows, Readings, flows
from calib.procedures.measure.arrays import arrays_of
from calib.procedures.measure.gate_reading import gate_reading
from calib.procedures.measure.results import Judgement, Results, judge_flows, results
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
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from calib.uncertainty.propagation import combine


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

    def point_velocities(self, row: int) -> Floats:
        """Velocity at each point of a traverse, the mean of its passes [m/s]."""
        traversed = self.measured[row].observed.traversed
        assert self.readings is not None and self.flows is not None and traversed is not None  # noqa: S101, PT018
        return _of_points(self.readings, self.flows, row, traversed.passes)

    @cached_property
    def measured_outlets(self) -> dict[int, tables.Outlet]:
        """Outlets that a reading stands of, as they count now, by their key."""
        return {key(reading.outlet.id): reading.outlet for reading in self.measured}

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
    stands = frozenset(key(reading.outlet.id) for reading in measured)
    systems, whole, rooms = totals_of_systems(plan, stands), totals_of_job(plan, stands), totals_of_rooms(plan, stands)
    if not measured:
        return Evaluation(job, (), refused, Totals(tuple(systems)), Totals(tuple(whole)), Totals(tuple(rooms)))
    readings = arrays_of(measured, records)
    measured_flows = flows(readings)
    flow = results(measured_flows.flow, combine(measured_flows.contributions), coverage_probability)
    counts = [reading if reading.in_totals else None for reading in measured]
    of_systems, of_job, of_rooms = (
        with_flows(totals, counts, measured_flows, job.decision_rule, coverage_probability)
        for totals in (systems, whole, rooms)
    )
    used = {number for reading in measured for number in _calibrations(reading)}
    return Evaluation(
        job,
        measured,
        refused,
        of_systems,
        of_job,
        of_rooms,
        readings,
        measured_flows,
        results(measured_flows.velocity, combine(measured_flows.velocity_contributions), coverage_probability),
        flow,
        _judge(job, measured, flow),
        _profiles(measured, readings, measured_flows),
        {number: records.curves[number] for number in sorted(used)},
        {number: records.calibrations[number] for number in sorted(used)},
        _histories(records, measured),
    )


def _plan(session: Session, job: tables.Job) -> Plan:
    designs = session.exec(select(tables.SystemDesign).where(tables.SystemDesign.job_id == job.id))
    rooms = session.exec(select(tables.Room).where(tables.Room.job_id == job.id))
    return Plan(
        outlets_in_force(session, [key(job.id)]),
        {(design.system, design.service): design for design in designs},
        {room.room: room.pressure for room in rooms},
    )


def _histories(records: OnRecord, measured: Sequence[Standing]) -> dict[int, str]:
    each = {reading.calibration.record_id: reading for reading in measured}
    bases = {number: basis_of(records, reading.instrument, reading.calibration) for number, reading in each.items()}
    return {number: basis for number, basis in bases.items() if basis is not None}


def _calibrations(reading: Standing) -> list[int]:
    probe = reading.probe_decision
    of_probe = [] if probe is None or probe.calibration is None else [probe.calibration.record_id]
    return [reading.calibration.record_id, *of_probe]


def _sorted_out(
    session: Session, records: OnRecord, job: int, plan: Plan, now: datetime
) -> tuple[tuple[Measured, ...], tuple[Refused, ...]]:
    outlets = plan.outlets
    standing: list[Standing] = []
    refused: list[Refused] = []
    of_traverse = traverses_on_record(session, job)
    for reading in _of_job(session, tables.Reading, job):
        typed = observed(reading.model_dump(), _log(session, reading), of_traverse.get(reading.traverse_id))
        gated = gate_reading(records, reading, typed, outlets[reading.outlet_id], now)
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
    measured.sort(
        key=lambda reading: (key(reading.outlet.id), moment(reading.reading.observed_at), key(reading.reading.id))
    )
    refused.sort(key=lambda refusal: (key(refusal.outlet.id), moment(refusal.typed.observed_at)))
    return tuple(measured), tuple(refused)


def _of_job(session: Session, table: Any, job: int) -> Sequence[Any]:
    return session.exec(select(table).join(tables.Outlet).where(tables.Outlet.job_id == job).order_by(table.id)).all()


def _log(session: Session, reading: tables.Reading) -> bytes | None:
    series = None if reading.logged_series_id is None else session.get(tables.LoggedSeries, reading.logged_series_id)
    return None if series is None else series.content


def _with_totals(standing: Sequence[Standing], belong: Any) -> list[Measured]:
    last: dict[int, int | None] = {}
    for reading in sorted(standing, key=lambda reading: (moment(reading.reading.observed_at), key(reading.reading.id))):
        last[reading.reading.outlet_id] = reading.reading.id
    latest = [last[reading.reading.outlet_id] == reading.reading.id for reading in standing]
    return [
        Measured(**vars(reading), latest=is_last, in_totals=is_last and reading.outlet.id in belong)
        for reading, is_last in zip(standing, latest, strict=True)
    ]


def _judge(job: tables.Job, measured: Sequence[Measured], flow: Results) -> Judgement:
    design = np.array([design_of(reading.outlet) for reading in measured])
    tolerance = np.array([float(reading.outlet.tolerance_percent or "nan") / 100 for reading in measured])
    return judge_flows(flow, design, tolerance, job.decision_rule)


def _profiles(measured: Sequence[Measured], readings: Readings, measured_flows: Flows) -> dict[int, Profile]:
    """Profiles of the traverses: the mean of the passes at each point."""
    if readings.points is None:
        return {}
    found_profiles = {}
    for row, reading in enumerate(measured):
        traversed = reading.observed.traversed
        if traversed is not None:
            without = sum(min(values) <= 0 for values in traversed.indications)
            velocity = _of_points(readings, measured_flows, row, traversed.passes)
            found_profiles[row] = judge_profile(traversed.places(section_of(reading.outlet)), velocity, without)
    return found_profiles


def _of_points(readings: Readings, measured_flows: Flows, row: int, passes: int) -> Floats:
    assert readings.points is not None  # noqa: S101 (a traverse has points)
    mine = slice(*np.searchsorted(readings.points.reading, (row, row + 1)))
    return np.asarray(measured_flows.point_velocity[mine].reshape(passes, -1).mean(axis=0))
