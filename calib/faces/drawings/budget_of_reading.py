"""The picture of a reading's budget, with the distribution of its flow where distributions were propagated."""

from calib.faces.drawings.budget import DistributionDrawing, budget_bars
from calib.faces.drawings.style import Chart
from calib.faces.written import Content, unit_text
from calib.procedures.measure.distributions import LawAndDistributions
from calib.procedures.measure.reading_in_job import ReadingInJob
from calib.procedures.on_record.flow_unit import flow_unit


def reading_budget_chart(
    in_job: ReadingInJob, budget: Content, both: LawAndDistributions | None, units: str | None
) -> Chart:
    """The budget that `calib budget` answers, with the distribution of the flow below it where there is one."""
    return budget_bars(budget, None if both is None else _distribution(in_job, both, units))


def _distribution(in_job: ReadingInJob, both: LawAndDistributions, units: str | None) -> DistributionDrawing:
    measured = in_job.evaluation.measured[in_job.row]
    in_unit = flow_unit(measured.outlet, units)
    return DistributionDrawing(
        name=f"{measured.outlet.outlet}, reading {measured.reading.id}",
        label=f"flow [{unit_text(in_unit.symbol)}]",
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
