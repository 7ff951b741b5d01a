"""What a report says at a glance: how many designs are met, what needs attention and what would settle it, how sure it is.

Everything follows from the evaluation and nothing is asked of the records.
"""

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np

from calib.arrays import Floats
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.procedures.measure.verdict import observations_to_settle, passing_flows
from calib.records.record import key
from calib.records.tables.outlets import Outlet
from calib.records.words import DUCT, REPEAT

NOT_MEASURED, NOT_JUDGED = "not measured", "not judged"
# What needs attention, the worst first.
_WORST_FIRST = ("fail", "conditional fail", NOT_MEASURED, "conditional pass")


@dataclass(frozen=True)
class NeedsAttention:
    """An outlet or duct that failed, may fail, or was not measured though it has a design."""

    outlet: Outlet
    row: int | None  # of the reading that counts; None: no reading stands
    statement: str  # of conformity, or NOT_MEASURED
    observations: int | None = None  # so many would settle it; None: no number would, or it is settled
    passing: tuple[float, float] | None = None  # flows that would pass with this relative U [m3/s]; None: none would
    reasons: tuple[str, ...] = ()  # why readings were refused, where none stands


@dataclass(frozen=True)
class Summary:
    """Counts add up: designs by statement; readings as latest, superseded and repeats."""

    designs: Mapping[str, int]  # outlets and ducts with a design, by the statement on their latest reading
    designs_of_ducts: int  # among them
    without_design: int  # outlets and ducts that were measured and have none
    ducts_without_design: int  # among them
    not_measured_without_design: int
    latest: int  # readings that count: the latest of each outlet and duct
    superseded: int  # readings in whose place a later one of the outlet counts
    repeats: int
    attention: tuple[NeedsAttention, ...]  # the worst first
    relative_uncertainties: (
        tuple[float, float] | None
    )  # least and largest U/q of the latest readings; None: there are none
    ruled_by: Mapping[str, int]  # in how many of the latest readings a contribution is the largest


def summary_of(evaluation: Evaluation) -> Summary:
    """The summary of a job evaluated."""
    latest = np.flatnonzero(evaluation.latest).tolist()
    statements = {row: _statement(evaluation, row) for row in latest}
    with_design = {row: said for row, said in statements.items() if evaluation.measured[row].outlet.design_flow}
    missing = [outlet for outlet in evaluation.not_measured if outlet.design_flow]
    of_ducts = [row for row in latest if evaluation.measured[row].outlet.place == DUCT]
    ducts_with_design = sum(row in with_design for row in of_ducts)
    repeats = sum(each.reading.stage == REPEAT for each in evaluation.measured)
    attention = [_measured(evaluation, row, said) for row, said in with_design.items() if said in _WORST_FIRST]
    attention += [
        NeedsAttention(outlet, None, NOT_MEASURED, reasons=_reasons(evaluation, outlet)) for outlet in missing
    ]
    return Summary(
        Counter(with_design.values()) + Counter({NOT_MEASURED: len(missing)}),
        ducts_with_design + sum(outlet.place == DUCT for outlet in missing),
        len(latest) - len(with_design),
        len(of_ducts) - ducts_with_design,
        len(evaluation.not_measured) - len(missing),
        len(latest),
        len(evaluation.measured) - len(latest) - repeats,
        repeats,
        tuple(sorted(attention, key=lambda each: _badness(evaluation, each))),
        _relative(evaluation, latest),
        _ruled_by(evaluation, latest),
    )


def _statement(evaluation: Evaluation, row: int) -> str:
    assert evaluation.judgement is not None  # noqa: S101 (the reading stands)
    return str(evaluation.judgement.statement[row]) or NOT_JUDGED


def _badness(evaluation: Evaluation, each: NeedsAttention) -> tuple[int, float]:
    """The worse the statement, then the less probable its conformity, the earlier."""
    judged = evaluation.judgement
    probability = 0.0 if judged is None or each.row is None else float(judged.probability[each.row])
    return _WORST_FIRST.index(each.statement), probability


def _measured(evaluation: Evaluation, row: int, statement: str) -> NeedsAttention:
    in_job = ReadingInJob(evaluation, row)
    return NeedsAttention(
        evaluation.measured[row].outlet,
        row,
        statement,
        observations_to_settle(in_job),
        passing_flows(evaluation, row),
    )


def _reasons(evaluation: Evaluation, outlet: Outlet) -> tuple[str, ...]:
    own = (each.reasons for each in evaluation.refused if key(each.outlet.id) == key(outlet.id))
    return tuple(dict.fromkeys(reason for reasons in own for reason in reasons))


def _relative(evaluation: Evaluation, latest: list[int]) -> tuple[float, float] | None:
    if evaluation.flow is None or not latest:
        return None
    value: Floats = evaluation.flow.value[latest]
    shares = evaluation.flow.expanded_uncertainty[latest][value > 0] / value[value > 0]
    return (float(shares.min()), float(shares.max())) if shares.size else None


def _ruled_by(evaluation: Evaluation, latest: list[int]) -> Mapping[str, int]:
    if evaluation.flow is None or evaluation.flows is None or not latest:
        return {}
    names = [each.name for each in evaluation.flows.contributions]
    largest = np.argmax(evaluation.flow.combined.uncertainties[latest], axis=1).tolist()
    return dict(Counter(names[place] for place in largest).most_common())
