"""The budget of one reading, and what would bring its uncertainty down."""

import math
from collections.abc import Sequence
from dataclasses import dataclass

from calib.errors import BadInputError, Finding, UnitError
from calib.procedures.measure.pooled_repeatability import is_repeated
from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.procedures.measure.results import budget_of_result
from calib.quantities import read
from calib.uncertainty.budget import Budget, Lever, Repeatability, dominant, levers, observations_needed
from calib.uncertainty.propagation import Contribution

# Contributions whose distribution is rectangular, unless they come from statistics: one that dominates makes the result so too.
_RECTANGULAR = ("resolution", "stability", "decided in review", "dimension", "air temperature not observed")


def rectangular_names(contributions: Sequence[Contribution], row: int) -> tuple[str, ...]:
    """Names of the contributions to a reading whose distribution is rectangular."""
    return tuple(
        contribution.name
        for contribution in contributions
        if contribution.name in _RECTANGULAR and not contribution.type_a[row]
    )


@dataclass(frozen=True)
class BudgetOfReading:
    """A reading's budget with its answers, in SI."""

    budget: Budget
    levers: tuple[Lever, ...]  # the ruling contribution first
    dominant: str | None  # a rectangular contribution that dominates all others together
    wanted: float | None  # expanded uncertainty asked for [m3/s]
    observations_needed: int | None  # absent where none was asked for, or no number of observations brings it


def budget_of(reading: ReadingInJob, wanted: str | None = None) -> BudgetOfReading:
    """Budget of a reading; `wanted` is an expanded uncertainty as typed ("30 m3/h", "5 %"). Raises BadInputError."""
    own, evaluation = _own_budget(reading), reading.evaluation
    assert evaluation.flow is not None and evaluation.flows is not None  # noqa: S101, PT018 (the reading stands)
    row = reading.row
    rectangular = rectangular_names(evaluation.flows.contributions, row)
    target = None if wanted is None else _wanted(wanted, float(evaluation.flow.value[row]))
    observations = None if target is None else _observations_for(reading, own, target)
    return BudgetOfReading(own, levers(own), dominant(own.names, own.uncertainties, rectangular), target, observations)


def observations_for(reading: ReadingInJob, target: float) -> int | None:
    """Fewest observations that bring U down to a target [m3/s]; None where no number does."""
    return _observations_for(reading, _own_budget(reading), target)


def _own_budget(reading: ReadingInJob) -> Budget:
    evaluation, row = reading.evaluation, reading.row
    assert evaluation.flow is not None and evaluation.flows is not None  # noqa: S101, PT018 (the reading stands)
    contributions = evaluation.flows.contributions
    return budget_of_result(contributions, evaluation.flow.combined, row, evaluation.flow.coverage_probability)


def _observations_for(reading: ReadingInJob, own: Budget, target: float) -> int | None:
    indication = reading.evaluation.measured[reading.row].indication
    place = own.names.index("repeatability")
    of_one = float(own.uncertainties[place]) * math.sqrt(indication.effective_observations)
    pooled = float(own.degrees_of_freedom[place]) if is_repeated(reading.evaluation.measured[reading.row]) else 0.0
    return observations_needed(own, place, Repeatability(of_one, indication.type_a, pooled), target)


def _wanted(typed: str, flow: float) -> float:
    expected = "a flow above 0 with its unit, like '30 m3/h', or a percentage of the measured flow, like '5 %'"
    try:
        part, _ = read(typed, "relative humidity" if typed.rstrip().endswith("%") else "volume flow")
    except UnitError as error:
        raise BadInputError([Finding.typed("wanted", typed, expected)]) from error
    target = part * abs(flow) if typed.rstrip().endswith("%") else part
    if not target > 0:
        raise BadInputError([Finding.typed("wanted", typed, expected)])
    return target
