"""Commands on a job: report, budget."""

from pathlib import Path
from typing import Annotated

import typer

from calib.errors import BadInputError, Finding
from calib.faces.cli.options import (
    DEFAULT_COVERAGE,
    DEFAULT_RECORDS,
    AsJson,
    AtTime,
    Coverage,
    InUnits,
    Records,
    clock,
    print_json,
    probability_of,
    say,
    tell,
    time_of,
)

FORMS = ("html", "csv", "json")


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("report")(report)
    app.command("budget")(budget)


def report(
    job: Annotated[str, typer.Argument(metavar="JOB", help="The job.")],
    form: Annotated[
        str, typer.Option("--format", metavar="FORMS", help="Forms of the report, joined by commas.")
    ] = "html,csv,json",
    into: Annotated[Path, typer.Option("--into", metavar="DIR", help="Folder to write to.")] = Path("reports"),
    issued: Annotated[
        str | None, typer.Option("--issued", metavar="TIME", help="Time of issue to print; now if not given.")
    ] = None,
    coverage: Coverage = DEFAULT_COVERAGE,
    records: Records = DEFAULT_RECORDS,
    units: InUnits = None,
    as_json: AsJson = False,
) -> None:
    """Write a job's report: every flow with its expanded uncertainty, the totals, the refusals, the evidence.

    Flows that protect life or health (smoke control, fume cupboards, isolation rooms, combustion air) are judged by the local
    code and a licensed practitioner, not by this program.

    Example: calib report FQ-204 --format html,json
    """
    from calib.faces.report_files import write_report
    from calib.records import database

    forms = [one.strip() for one in form.split(",") if one.strip()]
    wrong = [one for one in forms if one not in FORMS]
    if wrong or not forms:
        raise BadInputError(
            [Finding("command line", None, "--format", form, f"some of {', '.join(FORMS)}, joined by commas")]
        )
    with database.reading(records) as session:
        moment = time_of(issued, "--issued")
        written = write_report(session, job, forms, into, moment, clock(), units, probability_of(coverage))
    if as_json:
        print_json({"job": job, "files": [str(one) for one in written.files], "refusals": written.refusals})
    else:
        for one in written.files:
            tell(f"wrote {one}")
    if written.refusals:
        say(f"{written.refusals} refused reading(s) are listed in the report; no flow is given for them")


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
            help="Draw the output distribution with both intervals to a .svg, .png or .pdf file.",
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
    from calib.faces import answers
    from calib.procedures.distributions_of import distributions_of
    from calib.procedures.reading_of import reading_in_job
    from calib.records import database

    with database.reading(records) as session:
        found = reading_in_job(session, reading, time_of(at), probability_of(coverage))
        document = answers.budget(found, wanted, units)
        if monte_carlo or plot is not None or document["dominant"]:
            say("drawing random numbers until the figures are steady")
            simulated = distributions_of(found, seed, digits)
            document |= {"monte_carlo": answers.monte_carlo(found, simulated, seed, units)}
    if plot is not None:
        answers.save_distribution(found, simulated, plot, units)
    if as_json:
        print_json(document)
    else:
        tell(answers.budget_text(document))
