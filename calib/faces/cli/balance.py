"""Commands on what a job's flows prove: balance, conformity."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from calib.errors import BadInputError, CalibError, Finding
from calib.faces.cli.options import (
    DEFAULT_COVERAGE,
    DEFAULT_RECORDS,
    AsJson,
    Coverage,
    InUnits,
    Records,
    clock,
    plotted,
    print_json,
    print_table,
    probability_of,
    tell,
)

if TYPE_CHECKING:
    from calib.procedures.measure.evaluate import Evaluation
    from calib.procedures.measure.risks import Process


Plot = Annotated[
    Path | None,
    typer.Option(
        "--plot", metavar="FILE", help="Draw it to a .svg, .png or .pdf file, numbered where one does not hold all."
    ),
]


def register(app: typer.Typer) -> None:
    """Add these commands to the program."""
    app.command("balance")(balance)
    app.command("conformity")(conformity)


def balance(
    job: Annotated[str, typer.Argument(metavar="JOB", help="The job.")],
    coverage: Coverage = DEFAULT_COVERAGE,
    records: Records = DEFAULT_RECORDS,
    units: InUnits = None,
    plot: Plot = None,
    as_json: AsJson = False,
) -> None:
    """Print a job's balance: supply, return, exhaust and net flow of each system and of the job, and the net flow of each room.

    Every total carries what its readings share. Flows that protect life are judged by the local code and a licensed
    practitioner, not by this program.

    Example: calib balance FQ-204 --plot balance.png
    """
    from calib.faces.report.balance_content import balance_content
    from calib.faces.written import total_name
    from calib.procedures.measure.evaluate import evaluate
    from calib.records import database

    with database.reading(records) as session:
        found = balance_content(evaluate(session, job, clock(), probability_of(coverage)), units)
    if plot is not None:
        from calib.faces.drawings.balance import balance_charts

        plotted(balance_charts(found), plot)
    if as_json:
        print_json({"job": job} | found)
        return
    rows = [(one["system"], total_name(one), *_total(one)) for one in found["totals"]]
    rows += [("all systems", total_name(one), *_total(one)) for one in found["job_totals"]]
    header = ("system", "service", "flow ± U", "design", "% of design", "conformity", "probability", "measured")
    print_table(header, rows)
    if found["rooms"]:
        tell("")
        columns = ("room", "supply less extract ± U", "the design asks for", "probability", "measured")
        print_table(columns, [_room(one) for one in found["rooms"]])


def _total(one: dict[str, Any]) -> tuple[str, ...]:
    from calib.faces.written import design_text, probability_text

    design = one["design"] or {}
    tolerance, percent = design.get("tolerance_percent"), design.get("percent_of_design")
    probability = design.get("probability_of_conformity")
    shown = f"{design_text(design['value'], digits=5)} {design['unit']}" if design else "-"
    return (
        one["flow"]["statement"] if one["flow"] else "not measured",
        shown + (f" ± {tolerance:g} %" if tolerance is not None else ""),
        "-" if percent is None else f"{percent:.1f}",
        design.get("conformity") or "-",
        "-" if probability is None else probability_text(probability),
        f"{one['outlets_measured']} of {one['outlets']}",
    )


_WANTED = {"positive": "a surplus of supply", "negative": "a surplus of extract", None: "nothing"}


def _room(one: dict[str, Any]) -> tuple[str, ...]:
    from calib.faces.written import probability_text

    probability = one["probability_as_wanted"]
    return (
        one["room"],
        one["flow"]["statement"] if one["flow"] else "not measured",
        _WANTED[one["wanted"]],
        "-" if probability is None else probability_text(probability),
        f"{one['outlets_measured']} of {one['outlets']}",
    )


def conformity(
    job: Annotated[str, typer.Argument(metavar="JOB", help="The job.")],
    process: Annotated[
        str | None,
        typer.Option(
            "--process",
            metavar="MEAN,SD",
            help="How true flows lie about their designs, in percent, like '100,8'; from the job's outlets if not given.",
        ),
    ] = None,
    coverage: Coverage = DEFAULT_COVERAGE,
    records: Records = DEFAULT_RECORDS,
    units: InUnits = None,
    plot: Plot = None,
    as_json: AsJson = False,
) -> None:
    """Print what a job's flows prove against the design: statements, specific and global risks (JCGM 106), per outlet, system, job.

    Flows that protect life are judged by the local code and a licensed practitioner, not by this program.

    Example: calib conformity FQ-204 --process 100,8 --plot outlets.png
    """
    from calib.faces.report.balance_content import conformity_content
    from calib.procedures.measure.evaluate import evaluate
    from calib.procedures.measure.risks import risks_of
    from calib.records import database

    declared = None if process is None else _process(process)
    with database.reading(records) as session:
        evaluation = evaluate(session, job, clock(), probability_of(coverage))
        found = conformity_content(evaluation, risks_of(evaluation, declared), units)
    if plot is not None:
        _save_overview(evaluation, units, plot)
    if as_json:
        print_json({"job": job} | found)
        return
    tell(found["decision_rule_in_words"] + "\n")
    header = (
        "outlet",
        "flow ± U",
        "% of design",
        "C_m",
        "conformity",
        "probability",
        "risk if accepted",
        "if rejected",
    )
    print_table(header, [_judged(one) for one in found["outlets"]])
    if found["risks"]:
        tell("")
        _tell_risks(found["risks"])


def _save_overview(evaluation: "Evaluation", units: str | None, plot: Path) -> None:
    from calib.faces.answers.reading import readings
    from calib.faces.drawings.overview import overview_charts

    charts = overview_charts(readings(evaluation, units))
    if not charts:
        raise CalibError("there is no reading to draw")
    plotted(charts, plot)


def _judged(one: dict[str, Any]) -> tuple[str, ...]:
    from calib.faces.written import probability_text

    return (
        one["outlet"],
        one["statement"],
        f"{one['percent_of_design']:.1f}",
        f"{one['capability_index']:.2f}",
        one["conformity"],
        probability_text(one["probability_of_conformity"]),
        f"{100 * one['consumer_risk']:.2g} %",
        f"{100 * one['producer_risk']:.2g} %",
    )


def _tell_risks(found: dict[str, Any]) -> None:
    header = (
        "decisions",
        "judged",
        "accepted",
        "wrong among accepted",
        "among rejected",
        "global: consumer",
        "producer",
    )
    print_table(
        header,
        [
            (
                f"system {one['system']}" if one["system"] else "whole job",
                str(one["judged"]),
                str(one["accepted"]),
                f"{one['expected_wrongly_accepted']:.2f}",
                f"{one['expected_wrongly_rejected']:.2f}",
                *(
                    "-" if one[name] is None else f"{100 * one[name]:.2g} %"
                    for name in ("global_consumer_risk", "global_producer_risk")
                ),
            )
            for one in found["decisions"]
        ],
    )
    process = found["process"]
    if process:
        tell(
            f"\nglobal risks: true flows about {process['mean_percent_of_design']:.1f} % of design with a standard deviation of "
            f"{process['standard_deviation_percent']:.1f} % ({process['basis']})"
        )


def _process(typed: str) -> "Process":
    """Mean and standard deviation as typed in percent; raises BadInputError."""
    from calib.procedures.measure.risks import Process
    from calib.procedures.typed import cells

    parts = re.split(r"\s*,\s*", typed.strip().replace("%", ""))
    sound = (
        len(parts) == 2 and cells.above_zero(parts[0].strip()) is None and cells.not_negative(parts[1].strip()) is None
    )
    if not sound:
        expected = "a mean above 0 and a standard deviation, both in percent of the design, like 100,8"
        raise BadInputError([Finding("command line", None, "--process", typed, expected)])
    return Process(float(parts[0]) / 100, float(parts[1]) / 100, "declared")
