"""How far the flow of one reading is correlated with the flows of others in its job, and by which influences."""

from collections.abc import Sequence
from dataclasses import dataclass

from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.uncertainty.correlation import correlations_of_results, influences_shared


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
