"""Evaluate a job: every reading that the gate lets stand with its flow and uncertainty, the totals, and the refusals.

The gate is asked again with what the records hold now: a reading that passed when it was typed and would be refused on what has
been recorded since yields no flow, and stands among the refusals.
"""

import json
from collections.abc import Collection, Iterable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property, partial
from operator import attrgetter
from typing import Any

import numpy as np
from sqlmodel import Session, select

from calib.airflow.profile import Profile, judge_profile
from calib.arrays import Floats, Integers, Truths
from calib.confirmation.conformity import ToleranceIntervals
from calib.errors import DamagedError, Step, UnitError
from calib.measurement import Flows, Readings, at_density, flows
from calib.measurement.carried_by_factors import Traverses, first_of, with_what_factors_carry
from calib.procedures.measure.arrays import arrays_of
from calib.procedures.measure.compared import Compared, compared
from calib.procedures.measure.factor_traverses import among_readings, traverses_of
from calib.procedures.measure.gate_reading import gate_readings
from calib.procedures.measure.low_points import places_below
from calib.procedures.measure.plant_drift import DriftOfPlant, drifts_of, plant_drift
from calib.procedures.measure.results import Judgement, Results, judge_flows, results_of, results_of_flows
from calib.procedures.measure.stability import basis_of
from calib.procedures.measure.standing import MeasuringSystem, Standing, section_of
from calib.procedures.measure.totals import (
    NO_OUTLET,
    Balance,
    MeasuredInAir,
    Outlets,
    Plan,
    Total,
    Totals,
    with_flows,
)
from calib.procedures.on_record.by_keys import cells_of
from calib.procedures.on_record.declared_cells import wrong_cells_told
from calib.procedures.on_record.factors_left_behind import LeftBehind
from calib.procedures.on_record.in_force import (
    OnRecord,
    logs_on_record,
    on_record_of,
    outlets_in_force,
    traverses_on_record,
)
from calib.procedures.on_record.jobs_by_name import job_named
from calib.procedures.on_record.what_counts import not_retracted
from calib.procedures.typed.observations import observed_of
from calib.records.record import key, moment
from calib.records.tables.calibrations import Calibration
from calib.records.tables.curves import StoredCurve
from calib.records.tables.instruments import Instrument
from calib.records.tables.jobs import Job, Room, SystemDesign
from calib.records.tables.outlets import Outlet
from calib.records.tables.readings import Reading, Refusal
from calib.records.words import REPEAT
from calib.uncertainty.coverage import COVERAGE_PROBABILITY
from calib.unswept import unswept

PairsOfFactors = Mapping[
    int, Sequence[tuple[int, int]]
]  # readings in the duct and their jobs, by the factor found with them


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
    balance: Balance
    latest: Truths  # (n,) no later reading of its outlet stands, but for repeats
    in_totals: Truths  # (n,) the latest reading of an outlet that belongs to totals
    outlets: Outlets  # and ducts of the job as they count now, by key
    readings: Readings | None = None  # absent where no reading stands, like all below
    flows: Flows | None = None
    velocity: Results | None = None
    flow: Results | None = None
    judgement: Judgement | None = None
    profiles: Mapping[int, Profile] = field(default_factory=dict)  # of traverses, by their row
    curves: Mapping[int, StoredCurve] = field(default_factory=dict)  # by the id of the calibration
    calibrations: Mapping[int, Calibration] = field(default_factory=dict)  # by their id
    histories: Mapping[int, str] = field(default_factory=dict)  # what a stability rests on, by the calibration
    compared: Compared | None = None  # the states in which flows are compared
    in_design_state: Results | None = None  # flows, each in the state of its outlet's design, as it is judged
    drifts: tuple[DriftOfPlant, ...] = ()  # of the plant, where an outlet was read again

    def point_velocities(self, row: int) -> Floats:
        """Velocity at each point of a traverse, the mean of its passes [m/s]."""
        traversed = self.measured[row].observed.traversed
        assert self.readings is not None and self.flows is not None and traversed is not None  # noqa: S101, PT018
        return _of_points(self.readings, self.flows, row, traversed.passes)

    @cached_property
    def measured_outlets(self) -> dict[int, Outlet]:
        """Outlets that a reading stands of, as they count now, by their key."""
        return {key(reading.outlet.id): reading.outlet for reading in self.measured}

    @cached_property
    def counting(self) -> dict[int, int]:
        """Row of the reading that counts, by the key of its outlet."""
        return {key(self.measured[row].outlet.id): row for row in np.flatnonzero(self.latest).tolist()}

    @property
    def not_measured(self) -> tuple[Outlet, ...]:
        """Outlets and ducts that no reading stands of, in the order in which they were recorded."""
        return tuple(outlet for outlet_id, outlet in self.outlets.items() if outlet_id not in self.measured_outlets)

    @property
    def of_systems(self) -> Totals:
        """Totals of the systems."""
        return self.balance.of_systems

    @property
    def of_job(self) -> Totals:
        """Totals of the whole job; none where it has one system only."""
        return self.balance.of_job

    @property
    def of_rooms(self) -> Totals:
        """Net flows of the rooms."""
        return self.balance.of_rooms

    @property
    def totals(self) -> tuple[Total, ...]:
        """Totals of the systems, without their flows."""
        return self.balance.systems


@unswept
def evaluate(
    session: Session,
    name: str,
    now: datetime,
    coverage_probability: float = COVERAGE_PROBABILITY,
    *,
    finding_factors: bool = False,
) -> Evaluation:
    """Evaluate a job at a time; raises NotInRecordsError for a job that is not there.

    `finding_factors`: for the velocities from which a factor is found again, so that the one that was left behind refuses nothing.
    Raises DamagedError with record, column and value where it stops at a cell that no act of the program writes.
    """
    with _damage_told(session):
        return _evaluated(_sorted_out(session, name, now, finding_factors=finding_factors), coverage_probability)


@unswept
def evaluate_with_and_without(
    session: Session, name: str, reading: int, now: datetime
) -> tuple[Evaluation, Evaluation]:
    """A job, and the same as it was before a reading of it was recorded, by its key; raises as `evaluate`.

    The gate is asked once: its answer on a reading rests on no other reading.
    """
    with _damage_told(session):
        job = _sorted_out(session, name, now)
        without = replace(job, measured=tuple(each for each in job.measured if each.reading.id != reading))
        return _evaluated(job, COVERAGE_PROBABILITY), _evaluated(without, COVERAGE_PROBABILITY)


@contextmanager
def _damage_told(session: Session) -> Iterator[None]:
    try:
        yield
    except (UnitError, ValueError) as error:
        wrong = wrong_cells_told(session)
        if not wrong:
            raise
        raise DamagedError(
            "\n".join([*wrong, f"nothing was evaluated; {Step.VERIFY} says all that is wrong"])
        ) from error


@dataclass(frozen=True)
class _SortedOut:
    """A job with all that its evaluation rests on, its readings sorted out by the gate."""

    job: Job
    now: datetime
    records: OnRecord
    plan: Plan
    pairs: PairsOfFactors
    measured: tuple[Standing, ...]
    refused: tuple[Refused, ...]
    elsewhere: tuple[Standing, ...]  # traverses of other jobs that factors were found with


def _sorted_out(session: Session, name: str, now: datetime, *, finding_factors: bool = False) -> _SortedOut:
    job = job_named(session, name)
    records = on_record_of(session, jobs=[key(job.id)])
    plan = _plan(session, job)
    pairs = traverses_of(session, records)
    elsewhere = {of_pair for each in pairs.values() for _, of_pair in each} - {key(job.id)}
    if elsewhere:
        records = on_record_of(session, jobs=[key(job.id), *elsewhere])
    if finding_factors:
        records = replace(records, left_behind=LeftBehind())
    measured, refused = _gated(session, records, key(job.id), plan.outlets, now)
    others = _traverses_elsewhere(session, records, pairs, elsewhere, now) if measured else ()
    return _SortedOut(job, now, records, plan, pairs, measured, refused, others)


def _evaluated(of_job: _SortedOut, coverage_probability: float) -> Evaluation:
    job, records, plan, measured = of_job.job, of_job.records, of_job.plan, of_job.measured
    outlet = np.array([reading.reading.outlet_id for reading in measured], dtype=np.int64)
    latest = _latest(outlet, np.array([reading.reading.stage == REPEAT for reading in measured], dtype=bool))
    in_totals = latest & np.isin(outlet, list(plan.counted))
    stands = frozenset(outlet[latest].tolist())
    if not measured:
        return Evaluation(job, (), of_job.refused, Balance.of(plan, stands), latest, in_totals, plan.outlets)
    readings = arrays_of(measured, records)
    measured_flows = flows(readings)
    drifts = drifts_of(measured, measured_flows)
    if drifts:
        readings = replace(readings, plant_drift=plant_drift(measured, drifts))
        measured_flows = flows(readings)
    traverses, every = among_readings(measured, of_job.elsewhere, of_job.pairs), readings
    if traverses is not None:
        measured_flows, every = _with_traverses(
            measured_flows, readings, traverses, measured, of_job.elsewhere, records
        )
    flow = results_of_flows(measured_flows, coverage_probability)
    stated = plan.has_designs_at_density
    states = compared(
        job, measured, in_totals, measured_flows, every, records, of_job.now, has_designs_at_density=stated
    )
    if states.air is not None:
        plan = replace(plan, density=states.density, measured=_in_air(outlet, in_totals, flow, states))
    balance = Balance.of(
        plan,
        stands,
        partial(
            with_flows,
            counts=np.where(in_totals, outlet, NO_OUTLET),
            flows=states.of_totals,
            rule=job.decision_rule,
            coverage_probability=coverage_probability,
            judged=_judged(plan, outlet, measured_flows, states),
        ),
    )
    in_design_state = (
        flow if states.of_designs is measured_flows else results_of_flows(states.of_designs, coverage_probability)
    )
    systems_used = dict.fromkeys(reading.system for reading in measured)
    used = sorted({calibration for system in systems_used for calibration in system.calibrations})
    return Evaluation(
        job,
        measured,
        of_job.refused,
        balance,
        latest,
        in_totals,
        plan.outlets,
        readings,
        measured_flows,
        results_of(measured_flows.velocity, measured_flows.velocity_contributions, coverage_probability),
        flow,
        _judge(job, plan, outlet, in_design_state, states),
        _profiles(measured, readings, measured_flows),
        {calibration: records.curves[calibration] for calibration in used},
        {calibration: records.calibrations[calibration] for calibration in used},
        _histories(records, systems_used),
        states,
        in_design_state,
        drifts,
    )


def _latest(outlet: Integers, repeats: Truths) -> Truths:
    """(n,) the last reading of each outlet, which stand together in the order of time; a repeat supersedes nothing."""
    counted = np.flatnonzero(~repeats)
    latest = np.zeros(outlet.size, dtype=bool)
    latest[counted[np.append(np.diff(outlet[counted]) != 0, True)[: counted.size]]] = True
    return latest


def _in_air(outlet: Integers, in_totals: Truths, flow: Results, states: Compared) -> dict[int, MeasuredInAir]:
    """What was measured at the outlets that totals take."""
    rows = np.flatnonzero(in_totals).tolist()
    density = states.air_density
    return {int(outlet[row]): MeasuredInAir(float(flow.value[row]), float(density[row])) for row in rows}


def _judged(plan: Plan, outlet: Integers, measured_flows: Flows, states: Compared) -> Flows | None:
    """Flows of the totals with the uncertainty of their difference from the designs; None where that is their own."""
    if states.air is None:
        return None
    lost = np.array([plan.compared.get(outlet_id, 0.0) for outlet_id in outlet.tolist()])
    if not np.any(lost):
        return None
    at = np.full(outlet.size, np.nan if states.density is None else states.density)
    return at_density(measured_flows, states.air, np.where(np.isfinite(states.air.density), at, np.nan), lost)


def _plan(session: Session, job: Job) -> Plan:
    designs = session.exec(select(SystemDesign).where(SystemDesign.job_id == job.id, not_retracted(SystemDesign)))
    rooms = session.exec(select(Room).where(Room.job_id == job.id, not_retracted(Room)))
    return Plan(
        outlets_in_force(session, [key(job.id)]),
        {(design.system, design.service): design for design in designs},
        {room.room: room.pressure for room in rooms},
    )


def _traverses_elsewhere(
    session: Session, records: OnRecord, pairs: PairsOfFactors, jobs: Collection[int], now: datetime
) -> tuple[Standing, ...]:
    """The traverses of other jobs that factors were found with, as far as they stand."""
    wanted = {reading for each in pairs.values() for reading, _ in each}
    standing = [
        reading
        for job in sorted(jobs)
        for reading in _gated(session, records, job, outlets_in_force(session, [job]), now)[0]
    ]
    return tuple(reading for reading in standing if key(reading.reading.id) in wanted)


def _with_traverses(
    measured_flows: Flows,
    readings: Readings,
    traverses: Traverses,
    measured: Sequence[Standing],
    others: Sequence[Standing],
    records: OnRecord,
) -> tuple[Flows, Readings]:
    """The flows whose found factors share what they carry of the instruments in the duct, and all readings that tell it."""
    wide, every = measured_flows, readings
    if others:
        every = arrays_of([*measured, *others], records)
        drift = readings.plant_drift
        wide = flows(every if drift is None else replace(every, plant_drift=drift.and_others(len(others))))
        measured_flows = first_of(wide, len(measured), readings.indication.size)
    carrying = with_what_factors_carry(wide, measured_flows.contributions, traverses)
    return replace(measured_flows, contributions=carrying), every


def _histories(records: OnRecord, systems: Iterable[MeasuringSystem]) -> dict[int, str]:
    each = {system.calibration.record_id: system for system in systems}
    bases = {
        calibration: basis_of(records, system.instrument, system.calibration) for calibration, system in each.items()
    }
    return {calibration: basis for calibration, basis in bases.items() if basis is not None}


def _gated(
    session: Session, records: OnRecord, job: int, outlets: Outlets, now: datetime
) -> tuple[tuple[Standing, ...], tuple[Refused, ...]]:
    readings = _of_job(session, Reading, job)
    logs = logs_on_record(session, job) if any(each.logged_series_id for each in readings) else {}
    traverses = traverses_on_record(session, job) if any(each.traverse_id for each in readings) else {}
    typed = [
        observed_of(
            each.indication,
            each.observations,
            each.throttled_observations,
            logs.get(each.logged_series_id),
            traverses.get(each.traverse_id),
        )
        for each in readings
    ]
    gated = gate_readings(
        records, zip(readings, typed, (outlets[each.outlet_id] for each in readings), strict=True), now
    )
    standing = [each.standing for each in gated if each.standing is not None]
    standing.sort(key=attrgetter("reading.outlet_id", "at", "reading.id"))
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


def _of_job(session: Session, table: Any, job: int) -> list[Any]:
    """Readings of a job, or its refusals: none that was taken back."""
    return cells_of(
        session,
        table,
        lambda every: (
            every.join(Outlet).where(Outlet.job_id == job, not_retracted(table)).order_by(table.outlet_id, table.id)
        ),
    )


def _judge(job: Job, plan: Plan, outlet: Integers, flow: Results, states: Compared) -> Judgement:
    """Each outlet in the state of its design; nothing is said where its flow is not known in that."""
    stated = np.array([plan.stated[outlet_id] for outlet_id in outlet.tolist()]).T
    design, lower, upper = (np.where(states.not_comparable, np.nan, each) for each in stated)
    return judge_flows(flow, design, ToleranceIntervals(lower, upper), job.decision_rule)


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
            places = traversed.places(section_of(reading.outlet))
            below = np.flatnonzero(places_below(reading, readings, measured_flows, row))
            found_profiles[row] = judge_profile(places, velocity, without, [places[place] for place in below])
    return found_profiles


def _of_points(readings: Readings, measured_flows: Flows, row: int, passes: int) -> Floats:
    assert readings.points is not None  # noqa: S101 (a traverse has points)
    mine = slice(*np.searchsorted(readings.points.reading, (row, row + 1)))
    return np.asarray(measured_flows.point_velocity[mine].reshape(passes, -1).mean(axis=0))
