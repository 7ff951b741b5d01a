"""The picture of a reading's budget, with the distribution of its flow where distributions were propagated."""

from pathlib import Path

from calib.faces import drawings
from calib.faces.answers.reading_in_full import flow_unit
from calib.faces.drawings import DistributionDrawing
from calib.faces.written import Content
from calib.procedures.measure.distributions import LawAndDistributions
from calib.procedures.measure.reading_in_job import ReadingInJob


def save_budget(
    found: ReadingInJob, document: Content, both: LawAndDistributions | None, path: Path, units: str | None
) -> None:
    """Draw a budget to a file, with the distribution of the flow below it where there is one; raises CalibError."""
    drawing = None if both is None else _distribution(found, both, units)
    drawings.save_or_tell(drawings.budget_bars(document, drawing), path)


def _distribution(found: ReadingInJob, both: LawAndDistributions, units: str | None) -> DistributionDrawing:
    one = found.evaluation.measured[found.row]
    in_unit = flow_unit(one.outlet, units)
    return DistributionDrawing(
        name=f"{one.outlet.outlet}, reading {one.reading.id}",
        label=f"flow [{in_unit.symbol}]",
        sample=in_unit.from_si(both.simulated.sample),
        value=in_unit.from_si(both.value),
        standard_uncertainty=in_unit.difference_from_si(both.standard_uncertainty),
        law=(
            in_unit.from_si(both.value - both.expanded_uncertainty),
            in_unit.from_si(both.value + both.expanded_uncertainty),
        ),
        simulated=(
            in_unit.from_si(both.simulated.symmetric_interval.low),
            in_unit.from_si(both.simulated.symmetric_interval.high),
        ),
    )
