"""What the records answer at a moment, in the units in which it is stated: flows, totals, factors found in the field."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from sqlmodel import Session

from calib.confirmation.traceability import Record
from calib.procedures.impact.gather import RecordKind
from calib.procedures.impact.rests_on import Ground
from calib.procedures.measure.evaluate import Evaluation, evaluate
from calib.procedures.measure.results import Judgement, Results
from calib.procedures.on_record.factors import factor_that_counts
from calib.procedures.on_record.flow_unit import common_flow_unit, flow_unit
from calib.procedures.pairs.factor_uncertainty import SAME, factor_results
from calib.quantities import Unit
from calib.records.record import key


@dataclass(frozen=True)
class StatedValue:
    """A value as it is stated, in the unit in which it is."""

    value: float
    expanded_uncertainty: float
    coverage_factor: float
    unit: str
    statement: str | None = None  # of conformity; absent where there is nothing to judge by


@dataclass(frozen=True)
class Values:
    """What the records answer."""

    flows: Mapping[int, StatedValue]  # by reading
    reasons: Mapping[int, tuple[str, ...]]  # why a reading yields no flow
    totals: Mapping[tuple[int, str], StatedValue]  # by job and name of the total
    factors: Mapping[str, StatedValue]  # found in the field, by name


def jobs_of(ground: Ground, shown: Collection[Record]) -> list[str]:
    """Jobs of the readings and reports among some records, by name."""
    outlets = [
        ground.outlets[ground.readings[record_id].outlet_id]
        for table, record_id in shown
        if table == RecordKind.READING
    ]
    jobs = {outlet.job_id for outlet in outlets} | {
        ground.reports[record_id].job_id for table, record_id in shown if table == RecordKind.REPORT
    }
    return sorted(ground.jobs[job_id].job for job_id in jobs)


def values_of(session: Session, jobs: Sequence[str], factors: Sequence[str], now: datetime) -> Values:
    """Evaluate some jobs and factors: what the records of this session answer."""
    evaluations = [evaluate(session, job, now) for job in jobs]
    return Values(
        {reading_id: stated for evaluation in evaluations for reading_id, stated in _flows(evaluation)},
        {
            key(refused.typed.id): refused.reasons
            for evaluation in evaluations
            for refused in evaluation.refused
            if refused.stood
        },
        {(key(evaluation.job.id), name): stated for evaluation in evaluations for name, stated in _totals(evaluation)},
        dict(_factors(session, factors)),
    )


def _flows(evaluation: Evaluation) -> Iterable[tuple[int, StatedValue]]:
    for row, standing in enumerate(evaluation.measured):
        assert evaluation.flow is not None  # noqa: S101 (what is measured has a flow)
        in_unit = flow_unit(standing.outlet)
        yield key(standing.reading.id), _stated(evaluation.flow, evaluation.judgement, row, in_unit)


def _stated(results: Results, judgement: Judgement | None, row: int, in_unit: Unit) -> StatedValue:
    return StatedValue(
        float(in_unit.from_si(results.value[row])),
        float(in_unit.difference_from_si(results.expanded_uncertainty[row])),
        float(results.coverage_factor[row]),
        in_unit.symbol,
        None if judgement is None else str(judgement.statement[row]) or None,
    )


def _totals(evaluation: Evaluation) -> Iterable[tuple[str, StatedValue]]:
    for totals in (evaluation.of_systems, evaluation.of_job):
        for row, total in enumerate(totals.totals):
            if totals.flow is None or not total.measured:
                continue
            outlets = (each.outlet for each in evaluation.measured if each.outlet.id in total.sign)
            in_unit = common_flow_unit(flow_unit(outlet).symbol for outlet in outlets)
            yield f"{total.system or 'whole job'} {total.service}", _stated(totals.flow, totals.judgement, row, in_unit)


def _factors(session: Session, names: Sequence[str]) -> Iterable[tuple[str, StatedValue]]:
    for name in dict.fromkeys(names):
        last = factor_that_counts(session, name)
        if last is not None:
            results = factor_results(last)
            yield (
                name,
                StatedValue(
                    last.value,
                    float(results.expanded_uncertainty[SAME]),
                    float(results.coverage_factor[SAME]),
                    "1",
                ),
            )
