"""How far the flows of a job are correlated: of one reading with others, and by which influences; of each with each."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np

from calib.arrays import Floats
from calib.errors import BadInputError, Finding
from calib.procedures.measure.evaluate import Evaluation
from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.uncertainty.correlation import correlations_of_results, influences_shared

MOST_IN_MATRIX = 100  # of a matrix: of more nobody reads it


@dataclass(frozen=True)
class CorrelatedFlow:
    """The flow of another reading."""

    row: int  # of the evaluation
    low: float  # r lies between these, -1 to 1; they are equal where all that both share is known
    high: float
    shared: tuple[str, ...]  # contributions of which both have something


def others_that_count(reading: ReadingInJob) -> list[int]:
    """Rows of the other readings that count."""
    return [row for row in reading.evaluation.counting.values() if row != reading.row]


def correlated_flows(reading: ReadingInJob, rows: Sequence[int]) -> list[CorrelatedFlow]:
    """The flow of a reading beside those of some other rows."""
    flows = reading.evaluation.flows
    assert flows is not None  # noqa: S101 (the reading stands)
    pairs = [(reading.row, row) for row in rows]
    coefficients = correlations_of_results(flows.contributions, pairs)
    return [
        CorrelatedFlow(row, low, high, tuple(influences_shared(flows.contributions, pair)))
        for row, pair, low, high in zip(rows, pairs, coefficients.low.tolist(), coefficients.high.tolist(), strict=True)
    ]


@dataclass(frozen=True)
class CorrelationMatrix:
    """Correlation coefficients of some flows, each with each."""

    rows: tuple[int, ...]  # of the evaluation
    low: Floats  # (n, n) r lies between these, as in CorrelatedFlow; 1 on the diagonal
    high: Floats


def flows_in_matrix(evaluation: Evaluation, system: str | None) -> CorrelationMatrix:
    """Of the flows that count, of one system where that is named.

    Raises BadInputError where no flow of that system counts, or more than MOST_IN_MATRIX are asked for.
    """
    rows = _rows_of(evaluation, system)
    low, high = np.eye(len(rows)), np.eye(len(rows))
    if len(rows) > 1:
        assert evaluation.flows is not None  # noqa: S101 (flows count)
        first, second = np.triu_indices(len(rows), 1)
        coefficients = correlations_of_results(evaluation.flows.contributions, list(combinations(rows, 2)))
        for matrix, values in ((low, coefficients.low), (high, coefficients.high)):
            matrix[first, second] = matrix[second, first] = values
    return CorrelationMatrix(tuple(rows), low, high)


def _rows_of(evaluation: Evaluation, system: str | None) -> list[int]:
    counting = evaluation.counting.values()
    rows = [row for row in counting if system in (None, evaluation.measured[row].outlet.system)]
    if len(rows) > MOST_IN_MATRIX or (system is not None and not rows):
        systems = dict.fromkeys(evaluation.measured[row].outlet.system for row in counting)
        expected = f"one of {', '.join(systems)}, with at most {MOST_IN_MATRIX} flows"
        raise BadInputError([Finding.typed("system", system, expected)])
    return rows
