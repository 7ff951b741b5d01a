"""The command that prints a budget."""

from pathlib import Path
from typing import Annotated

import typer

from calib.faces.cli.options import (
    DEFAULT_COVERAGE,
    DEFAULT_RECORDS,
    AsJson,
    AtTime,
    Coverage,
    InUnits,
    Records,
    plotted,
    print_json,
    probability_of,
    say,
    tell,
    time_of,
)


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("budget")(budget)


def budget(
    reading: Annotated[
        int, typer.Argument(metavar="READING", help="Number of the reading, as `calib reading list` shows it.")
    ],
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
        typer.Option("--monte-carlo", help="Propagate the distributions too, and say whether the law is good enough."),
    ] = False,
    digits: Annotated[
        int, typer.Option(min=1, max=3, help="Significant digits of U that the propagation of distributions must bear.")
    ] = 2,
    seed: Annotated[
        int, typer.Option(min=0, help="Seed of the random numbers: the same seed gives the same figures.")
    ] = 1,
    plot: Annotated[
        Path | None,
        typer.Option(
            "--plot",
            metavar="FILE",
            help="Draw the budget as sorted bars, with --monte-carlo the distribution too, to a .svg, .png or .pdf file.",
        ),
    ] = None,
    coverage: Coverage = DEFAULT_COVERAGE,
    at: AtTime = None,
    records: Records = DEFAULT_RECORDS,
    units: InUnits = None,
    as_json: AsJson = False,
) -> None:
    """Print the uncertainty budget of one reading, which contribution rules, and what would bring U down.

    Example: calib budget 3 --wanted "5 %" --monte-carlo
    """
    from calib.faces.answers import budget
    from calib.procedures.measure.distributions import distributions_of
    from calib.procedures.measure.reading_in_job import reading_in_job
    from calib.records import database

    with database.reading(records) as session:
        found = reading_in_job(session, reading, time_of(at), probability_of(coverage))
        document = budget.budget(found, wanted, units)
        simulated = None
        if monte_carlo or document["dominant"]:
            say("drawing random numbers until the figures are steady")
            simulated = distributions_of(found, seed, digits)
            document |= {"monte_carlo": budget.monte_carlo(found, simulated, seed, units)}
    if plot is not None:
        from calib.faces.drawings.budget_of_reading import reading_budget_chart

        plotted([reading_budget_chart(found, document, simulated, units)], plot)
    if as_json:
        print_json(document)
    else:
        tell(budget.budget_text(document))
