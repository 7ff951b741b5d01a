"""Risks of wrong decisions in a job (JCGM 106): of each outlet, of each system, of the whole job.

A process says how true flows lie about their designs before they are measured, so that it holds for readings of the state that it
describes: one that is estimated from readings before adjustment for such readings, one that is declared also where the state was
not said, neither for readings after adjustment. What was set to its reading scatters about the design as its reading errs: a
process estimated from that says next to nothing of the true flows.

Decision (2026-11-29): where no process holds, the mean of the specific risks is given beside, never in the place of the global
ones. Options: a process of adjusted flows worked out from a model of the adjusting (it would need to know how often a damper was
set and read afresh); no figure. Cost: the mean of the specific risks knows nothing of what is usual, and is high where it was
read afresh.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.arrays import Floats, Integers, Truths
from calib.confirmation.conformity import ToleranceIntervals
from calib.confirmation.risk import (
    GlobalRisks,
    accepted,
    capability_index,
    expected_wrong_decisions,
    global_risks,
    process_of,
    specific_risks,
)
from calib.confirmation.words import GUARDED
from calib.procedures.measure.all_conform import AllConform, all_conform
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.totals import design_of
from calib.records.words import AFTER_ADJUSTMENT, BEFORE_ADJUSTMENT

# What a reading shares with no other: it scatters the flows of a job, where a shared error shifts them all.
OWN = ("repeatability", "resolution", "dimension", "method", "method own")

# Readings before adjustment from which a process is estimated: fewer tell too little of its standard deviation.
FEWEST_OF_A_PROCESS = 20


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
    by_process: int  # outlets for which the process holds
    consumer_risk: float  # global, mean over these; NaN where there are none
    producer_risk: float
    mean_consumer_risk: float  # mean of the specific risks over the others; NaN where there are none
    mean_producer_risk: float
    after_adjustment: int  # outlets among these others that were read after adjustment; of the rest it was not said
    all_conform: AllConform  # all that are judged, at once


@dataclass(frozen=True)
class RisksOfJob:
    """Risks of a job; arrays run over the readings that are judged, the latest of each outlet and duct."""

    rows: tuple[int, ...]  # of the evaluation
    capability_index: Floats  # C_m of each; infinite where there is one limit only
    process: Process | None  # absent: none declared, and too few readings before adjustment to estimate it from
    before_adjustment: int  # readings before adjustment that it could be estimated from
    of_outlets: GlobalRisks | None  # NaN where the process does not hold
    counted: tuple[Counted, ...]


def risks_of(evaluation: Evaluation, declared: Process | None = None) -> RisksOfJob:
    """Specific risks counted, and global ones by the process that is declared or else estimated from readings before adjustment."""
    rows = _judged(evaluation, evaluation.latest)
    estimated, untouched = _process(evaluation)
    process = declared or estimated
    if not rows or evaluation.in_design_state is None or evaluation.judgement is None:
        return RisksOfJob((), np.empty(0), process, untouched, None, ())
    place = np.array(rows)
    measured = [evaluation.measured[row] for row in rows]
    design = np.array([design_of(reading.outlet) for reading in measured])
    u = evaluation.in_design_state.combined.standard_uncertainty[place] / design
    limits = evaluation.judgement.limits.at(place)
    interval = ToleranceIntervals(limits.lower / design, limits.upper / design)
    stages = np.array([reading.reading.stage or "" for reading in measured])
    risks, holds = None, np.zeros(place.size, dtype=bool)
    if process is not None:
        holds = stages != AFTER_ADJUSTMENT if process is declared else stages == BEFORE_ADJUSTMENT
        # A value within the tolerance interval is accepted, conditionally or not, by the other rules.
        guarded = evaluation.job.decision_rule == GUARDED
        w = evaluation.judgement.guard_bands.width[place] / design if guarded else np.zeros_like(design)
        every = global_risks(
            process.mean,
            process.standard_deviation,
            (interval.lower, interval.upper),
            (interval.lower + w, interval.upper - w),
            u,
        )
        risks = replace(
            every,
            consumer=np.where(holds, every.consumer, np.nan),
            producer=np.where(holds, every.producer, np.nan),
        )
    systems = [reading.outlet.system for reading in measured]
    counted = _counted(evaluation, place, systems, risks, holds, stages == AFTER_ADJUSTMENT)
    return RisksOfJob(rows, capability_index(interval, u), process, untouched, risks, counted)


def _judged(evaluation: Evaluation, among: Truths) -> tuple[int, ...]:
    return tuple(
        row
        for row, is_among in enumerate(among)
        if is_among and evaluation.judgement is not None and evaluation.judgement.statement[row]
    )


def _process(evaluation: Evaluation) -> tuple[Process | None, int]:
    """The process of the readings before adjustment, and how many there are: the last one of each outlet that has a design."""
    last = {
        reading.outlet.id: row
        for row, reading in enumerate(evaluation.measured)
        if reading.reading.stage == BEFORE_ADJUSTMENT
    }
    untouched = np.isin(np.arange(len(evaluation.measured)), list(last.values()))
    place = np.array(_judged(evaluation, untouched), dtype=np.int64)
    flow, states = evaluation.in_design_state, evaluation.compared
    if flow is None or states is None or place.size < FEWEST_OF_A_PROCESS:
        return None, place.size
    design = np.array([design_of(evaluation.measured[row].outlet) for row in place.tolist()])
    own = np.array([contribution.name in OWN for contribution in states.of_designs.contributions])
    u = np.linalg.norm(flow.combined.uncertainties[place][:, own], axis=1)
    mean, deviation = process_of(flow.value[place] / design, u / design)
    return Process(mean, deviation, f"estimated from {place.size} readings before adjustment"), place.size


def _counted(
    evaluation: Evaluation,
    place: Integers,
    systems: Sequence[str],
    risks: GlobalRisks | None,
    holds: Truths,
    adjusted: Truths,
) -> tuple[Counted, ...]:
    assert evaluation.judgement is not None  # noqa: S101 (asked before)
    probability = evaluation.judgement.probability[place]
    accepts = accepted(evaluation.judgement.statement[place])
    specific = specific_risks(probability, accepts)
    of_process = (np.full(place.size, np.nan),) * 2 if risks is None else (risks.consumer, risks.producer)
    names = np.array(systems)
    groups = [(name, names == name) for name in dict.fromkeys(systems)]
    if len(groups) > 1:
        groups.append(("", np.ones(place.size, dtype=bool)))
    return tuple(
        Counted(
            system=name,
            judged=int(inside.sum()),
            accepted=int(accepts[inside].sum()),
            wrongly_accepted=wrong[0],
            wrongly_rejected=wrong[1],
            by_process=int((inside & holds).sum()),
            consumer_risk=_mean(of_process[0][inside & holds]),
            producer_risk=_mean(of_process[1][inside & holds]),
            mean_consumer_risk=_mean(specific[0][inside & ~holds]),
            mean_producer_risk=_mean(specific[1][inside & ~holds]),
            after_adjustment=int((inside & ~holds & adjusted).sum()),
            all_conform=all_conform(evaluation, place[inside]),
        )
        for name, inside in groups
        for wrong in [expected_wrong_decisions(probability[inside], accepts[inside])]
    )


def _mean(risks: Floats) -> float:
    return float(np.mean(risks)) if risks.size else float("nan")
