"""Evaluate a job: every reading that the gate lets stand with its flow and uncertainty, the totals, and the refusals.

The gate is asked again with what the records hold now: a reading that passed when it was typed and would be refused on what has
been recorded since yields no flow, and stands among the refusals.
"""

import json
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from functools import cached_property
from typing import Any

import numpy as np
from sqlmodel import Session, select

from calib.airflow.profile import Profile, judge_profile
from calib.arrays import Floats, Integers, Truths
from calib.measurement import Flows, Readings, flows
from calib.procedures.measure.arrays import arrays_of
from calib.procedures.measure.gate_reading import gate_readings
from calib.procedures.measure.results import Judgement, Results, judge_flows, results_of
from calib.procedures.measure.stability import basis_of
from calib.procedures.measure.standing import MeasuringSystem, Standing, section_of
from calib.procedures.measure.totals import (
    NO_OUTLET,
    Outlets,
    Plan,
    Total,
    Totals,
    totals_of_job,
    totals_of_rooms,
    totals_of_systems,
    with_flows,
)
from calib.procedures.on_record.by_keys import cells_of
from calib.procedures.on_record.in_force import (
    OnRecord,
    logs_on_record,
    on_record_of,
    outlets_in_force,
    traverses_on_record,
)
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.typed.observations import observed
from calib.records.record import key, moment
from calib.records.tables.calibrations import Calibration
from calib.records.tables.curves import StoredCurve
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job, Room, SystemDesign
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading, Refusal
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from calib.unswept import unswept


@dataclass(frozen=True)
class Refused:
    """One refused reading, everything typed kept."""

    outlet: Outlet
    instrument: Instrument
    typed: Refusal | Reading
    reasons: tuple[str, ...]
    stood: bool  # when it was typed: the reasons came since


@dataclass(frozen=True)
class Evaluation:
    """A job evaluated. Rows of `measured` and of every array run together."""

    job: Job
    measured: tuple[Standing, ...]
    refused: tuple[Refused, ...]
    of_systems: Totals
    of_job: Totals
    of_rooms: Totals
    latest: Truths  # (n,) no later reading of its outlet stands
    in_totals: Truths  # (n,) the latest reading of an outlet that belongs to totals
    readings: Readings | None = None  # absent where no reading stands, like all below
    flows: Flows | None = None
    velocity: Results | None = None
    flow: Results | None = None
    judgement: Judgement | None = None
    profiles: Mapping[int, Profile] = field(default_factory=dict)  # of traverses, by their row
    curves: Mapping[int, StoredCurve] = field(default_factory=dict)  # by the id of the calibration
    calibrations: Mapping[int, Calibration] = field(default_factory=dict)  # by their id
    histories: Mapping[int, str] = field(default_factory=dict)  # what a stability rests on, by the calibration

    def point_velocities(self, row: int) -> Floats:
        """Velocity at each point of a traverse, the mean of its passes [m/s]."""
        traversed = self.measured[row].observed.traversed
        assert self.readings is not None and self.flows is not None and traversed is not None  # noqa: S101, PT018
        return _of_points(self.readings, self.flows, row, traversed.passes)

    @cached_property
    def measured_outlets(self) -> dict[int, Outlet]:
        """Outlets that a reading stands of, as they count now, by their key."""
        return {key(reading.outlet.id): reading.outlet for reading in self.measured}

    @property
    def totals(self) -> tuple[Total, ...]:
        """Totals of the systems."""
        return self.of_systems.totals


@unswept
def evaluate(
    session: Session, name: str, now: datetime, coverage_probability: float = COVERAGE_PROBABILITY
) -> Evaluation:
    """Evaluate a job at a time; raises NotInRecordsError for a job that is not there."""
    job = job_named(session, name)
    records = on_record_of(session, jobs=[key(job.id)])
    plan = _plan(session, job)
    measured, refused = _sorted_out(session, records, key(job.id), plan.outlets, now)
    outlet = np.array([reading.reading.outlet_id for reading in measured], dtype=np.int64)
    latest = np.append(outlet[1:] != outlet[:-1], True)[: outlet.size]
    in_totals = latest & np.isin(outlet, list(plan.counted))
    stands = frozenset(outlet.tolist())
    systems, whole, rooms = totals_of_systems(plan, stands), totals_of_job(plan, stands), totals_of_rooms(plan, stands)
    if not measured:
        of_systems, of_job, of_rooms = (Totals(tuple(totals)) for totals in (systems, whole, rooms))
        return Evaluation(job, (), refused, of_systems, of_job, of_rooms, latest, in_totals)
    readings = arrays_of(measured, records)
    measured_flows = flows(readings)
    flow = results_of(measured_flows.flow, measured_flows.contributions, coverage_probability)
    counts = np.where(in_totals, outlet, NO_OUTLET)
    of_systems, of_job, of_rooms = (
        with_flows(totals, counts, measured_flows, job.decision_rule, coverage_probability)
        for totals in (systems, whole, rooms)
    )
    systems_used = dict.fromkeys(reading.system for reading in measured)
    used = sorted({calibration for system in systems_used for calibration in system.calibrations})
    return Evaluation(
        job,
        measured,
        refused,
        of_systems,
        of_job,
        of_rooms,
        latest,
        in_totals,
        readings,
        measured_flows,
        results_of(measured_flows.velocity, measured_flows.velocity_contributions, coverage_probability),
        flow,
        _judge(job, plan, outlet, flow),
        _profiles(measured, readings, measured_flows),
        {calibration: records.curves[calibration] for calibration in used},
        {calibration: records.calibrations[calibration] for calibration in used},
        _histories(records, systems_used),
    )


def _plan(session: Session, job: Job) -> Plan:
    designs = session.exec(select(SystemDesign).where(SystemDesign.job_id == job.id))
    rooms = session.exec(select(Room).where(Room.job_id == job.id))
    return Plan(
        outlets_in_force(session, [key(job.id)]),
        {(design.system, design.service): design for design in designs},
        {room.room: room.pressure for room in rooms},
    )


def _histories(records: OnRecord, systems: Iterable[MeasuringSystem]) -> dict[int, str]:
    each = {system.calibration.record_id: system for system in systems}
    bases = {
        calibration: basis_of(records, system.instrument, system.calibration) for calibration, system in each.items()
    }
    return {calibration: basis for calibration, basis in bases.items() if basis is not None}


def _sorted_out(
    session: Session, records: OnRecord, job: int, outlets: Outlets, now: datetime
) -> tuple[tuple[Standing, ...], tuple[Refused, ...]]:
    readings = _of_job(session, Reading, job)
    logs = logs_on_record(session, job) if any(each.logged_series_id for each in readings) else {}
    traverses = traverses_on_record(session, job) if any(each.traverse_id for each in readings) else {}
    typed = [
        observed(_observed(reading), logs.get(reading.logged_series_id), traverses.get(reading.traverse_id))
        for reading in readings
    ]
    gated = gate_readings(
        records, zip(readings, typed, (outlets[each.outlet_id] for each in readings), strict=True), now
    )
    standing = [each.standing for each in gated if each.standing is not None]
    standing.sort(key=lambda reading: (reading.reading.outlet_id, reading.at, reading.reading.id))
    against: list[tuple[Any, tuple[str, ...], bool]] = [
        (reading, each.reasons, True) for reading, each in zip(readings, gated, strict=True) if each.standing is None
    ]
    against += [(each, tuple(json.loads(each.reasons)), False) for each in _of_job(session, Refusal, job)]
    refused = [
        Refused(outlets[row.outlet_id], records.instruments[row.instrument_id], row, reasons, stood)
        for row, reasons, stood in against
    ]
    refused.sort(key=lambda refusal: (key(refusal.outlet.id), moment(refusal.typed.observed_at)))
    return tuple(standing), tuple(refused)


def _observed(reading: Reading) -> dict[str, str | None]:
    return {
        "indication": reading.indication,
        "observations": reading.observations,
        "throttled_observations": reading.throttled_observations,
    }


def _of_job(session: Session, table: Any, job: int) -> list[Any]:
    """Readings of a job, or its refusals."""
    return cells_of(
        session,
        table,
        lambda every: every.join(Outlet).where(Outlet.job_id == job).order_by(table.outlet_id, table.id),
    )


def _judge(job: Job, plan: Plan, outlet: Integers, flow: Results) -> Judgement:
    design = np.array([plan.design_flows[outlet_id] for outlet_id in outlet.tolist()])
    tolerance = (
        np.array([float(plan.outlets[outlet_id].tolerance_percent or "nan") for outlet_id in outlet.tolist()]) / 100
    )
    return judge_flows(flow, design, tolerance, job.decision_rule)


def _profiles(measured: Sequence[Standing], readings: Readings, measured_flows: Flows) -> dict[int, Profile]:
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
