"""Risks of wrong decisions in a job (JCGM 106): of each outlet, of each system, of the whole job."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from calib.arrays import Floats, Integers
from calib.confirmation.conformity import tolerance_intervals
from calib.confirmation.risk import (
    GlobalRisks,
    accepted,
    capability_index,
    expected_wrong_decisions,
    global_risks,
    process_of,
)
from calib.confirmation.words import GUARDED_NON_BINARY, SIMPLE
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.totals import design_of

# What a reading shares with no other: it scatters the flows of a job, where a shared error shifts them all.
OWN = ("repeatability", "resolution", "dimension", "method", "method own")


@dataclass(frozen=True)
class Process:
    """How the true flows of an installation lie about their designs: ratio to design, normal."""

    mean: float  # [1]
    standard_deviation: float  # [1]
    basis: str  # "declared", or what it was estimated from


@dataclass(frozen=True)
class Counted:
    """Decisions of a system, or of the whole job."""

    system: str  # "" for the whole job
    judged: int
    accepted: int
    wrongly_accepted: float  # number to be expected among the accepted
    wrongly_rejected: float  # number to be expected among the rejected
    consumer_risk: float  # global, mean over the outlets; NaN without a process
    producer_risk: float


@dataclass(frozen=True)
class RisksOfJob:
    """Risks of a job; arrays run over the readings that are judged, the latest of each outlet and duct."""

    rows: tuple[int, ...]  # of the evaluation
    capability_index: Floats  # C_m of each
    process: Process | None  # absent: fewer than two outlets to estimate it from, and none declared
    of_outlets: GlobalRisks | None
    counted: tuple[Counted, ...]


def risks_of(evaluation: Evaluation, declared: Process | None = None) -> RisksOfJob:
    """Specific risks counted, and global ones by the process that is declared or else estimated from the job's own outlets."""
    rows = _judged(evaluation)
    if not rows or evaluation.in_design_state is None:
        return RisksOfJob((), np.empty(0), declared, None, ())
    place = np.array(rows)
    measured = [evaluation.measured[row] for row in rows]
    design = np.array([design_of(reading.outlet) for reading in measured])
    tolerance = np.array([float(str(reading.outlet.tolerance_percent)) / 100 for reading in measured])
    u = evaluation.in_design_state.combined.standard_uncertainty[place] / design
    interval = tolerance_intervals(np.ones_like(design), tolerance)
    process = declared or _process(evaluation, place, design)
    risks = None
    if process is not None:
        w = _guard_band(evaluation, place, design)
        acceptance = (interval.lower + w, interval.upper - w)
        limits = (interval.lower, interval.upper)
        risks = global_risks(process.mean, process.standard_deviation, limits, acceptance, u)
    systems = [reading.outlet.system for reading in measured]
    return RisksOfJob(rows, capability_index(interval, u), process, risks, _counted(evaluation, place, systems, risks))


def _judged(evaluation: Evaluation) -> tuple[int, ...]:
    return tuple(
        row
        for row, is_latest in enumerate(evaluation.latest)
        if is_latest and evaluation.judgement is not None and evaluation.judgement.statement[row]
    )


def _guard_band(evaluation: Evaluation, place: Integers, design: Floats) -> Floats:
    """w over the design; 0 where a value within the tolerance interval is accepted, conditionally or not."""
    assert evaluation.in_design_state is not None  # noqa: S101 (asked before)
    if evaluation.job.decision_rule in (SIMPLE, GUARDED_NON_BINARY):
        return np.zeros_like(design)
    return evaluation.in_design_state.expanded_uncertainty[place] / design


def _process(evaluation: Evaluation, place: Integers, design: Floats) -> Process | None:
    flow, states = evaluation.in_design_state, evaluation.compared
    assert flow is not None and states is not None  # noqa: S101, PT018 (asked before)
    if place.size < 2:
        return None
    names = [contribution.name for contribution in states.of_designs.contributions]
    own = np.array([name in OWN for name in names])
    u = np.linalg.norm(flow.combined.uncertainties[place][:, own], axis=1)
    mean, deviation = process_of(flow.value[place] / design, u / design)
    return Process(mean, deviation, f"estimated from {place.size} outlets of this job")


def _counted(
    evaluation: Evaluation, place: Integers, systems: Sequence[str], risks: GlobalRisks | None
) -> tuple[Counted, ...]:
    assert evaluation.judgement is not None  # noqa: S101 (asked before)
    probability = evaluation.judgement.probability[place]
    accepts = accepted(evaluation.judgement.statement[place])
    consumer, producer = (np.full(place.size, np.nan),) * 2 if risks is None else (risks.consumer, risks.producer)
    names = np.array(systems)
    groups = [(name, names == name) for name in dict.fromkeys(systems)]
    if len(groups) > 1:
        groups.append(("", np.ones(place.size, dtype=bool)))
    return tuple(
        Counted(
            name,
            int(inside.sum()),
            int(accepts[inside].sum()),
            *expected_wrong_decisions(probability[inside], accepts[inside]),
            float(np.mean(consumer[inside])),
            float(np.mean(producer[inside])),
        )
        for name, inside in groups
    )
