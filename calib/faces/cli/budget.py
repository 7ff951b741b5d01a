"""The command that prints a budget."""

from pathlib import Path
from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, plotted, reads, say
from calib.faces.cli.options import (
    DEFAULT_COVERAGE,
    AsOf,
    Coverage,
    ReadingNumbered,
    probability_of,
    time_of,
    to_draw,
)

app = group()


@reads(app, "budget", units=True)
def budget(
    desk: Desk,
    reading: ReadingNumbered,
    wanted: Annotated[
        str | None,
        typer.Option(
            "--wanted",
            metavar="U",
            help='A wanted expanded uncertainty, like "30 m3/h" or "5 %": how many observations bring it.',
        ),
    ] = None,
    monte_carlo: Annotated[
        bool,
        typer.Option("--monte-carlo", help="Check U by propagated distributions too: how far off its ends are."),
    ] = False,
    digits: Annotated[
        int, typer.Option(min=1, max=3, help="Significant digits of U that the propagation of distributions must bear.")
    ] = 2,
    seed: Annotated[
        int, typer.Option(min=0, help="Seed of the random numbers: the same seed gives the same figures.")
    ] = 1,
    plot: Annotated[Path | None, to_draw("the budget as sorted bars, with --monte-carlo the distribution too,")] = None,
    coverage: Coverage = DEFAULT_COVERAGE,
    at: AsOf = None,
) -> Reply:
    """Print the uncertainty budget of one reading, which contribution rules, and what would bring U down.

    Example: calib budget 3 --wanted "5 %" --monte-carlo
    """
    from calib.faces.answers import budget as answer
    from calib.procedures.measure.distributions import distributions_of
    from calib.procedures.measure.reading_in_job import reading_in_job

    in_job = reading_in_job(desk.reading(), reading, time_of(at), probability_of(coverage))
    document = answer.document(in_job, wanted, desk.units)
    simulated = None
    if monte_carlo or document["dominant"]:
        say("drawing random numbers until the figures are steady")
        simulated = distributions_of(in_job, seed, digits, desk.units)
        document |= {"monte_carlo": answer.monte_carlo(in_job, simulated, seed, desk.units)}
    if plot is not None:
        from calib.faces.drawings.budget_of_reading import reading_budget_chart

        plotted([reading_budget_chart(in_job, document, simulated, desk.units)], plot)
    return Reply(document, answer.text)
