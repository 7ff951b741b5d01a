"""Commands on what a job's flows prove: balance, conformity, correlations."""

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.clock import clock
from calib.errors import BadInputError, CalibError, Finding
from calib.faces.cli.frame import Desk, Reply, group, plotted, reads
from calib.faces.cli.options import DEFAULT_COVERAGE, Coverage, JobNamed, probability_of, to_draw

if TYPE_CHECKING:
    from calib.procedures.measure.risks import Process

app = group()

Plot = Annotated[Path | None, to_draw("it", ", numbered where one does not hold all")]


@reads(app, "balance", units=True)
def balance(desk: Desk, job: JobNamed, coverage: Coverage = DEFAULT_COVERAGE, plot: Plot = None) -> Reply:
    """Print a job's balance: supply, return, exhaust and net flow of each system and of the job, and the net flow of each room.

    Every total carries what its readings share; beside them stands the probability that all flows of a system conform at once,
    and wherever two measurements speak about one flow, whether they agree.
    Flows that protect life are judged by the local code and a licensed practitioner, not by this program.

    Example: calib balance FQ-204 --plot balance.png
    """
    from calib.faces.answers import balance as answer
    from calib.procedures.measure.cross_checks import cross_checks_of
    from calib.procedures.measure.evaluate import evaluate
    from calib.procedures.measure.risks import risks_of

    session = desk.reading()
    evaluation = evaluate(session, job, clock(), probability_of(coverage))
    document = answer.document(evaluation, risks_of(evaluation), cross_checks_of(session, evaluation), desk.units)
    if plot is not None:
        from calib.faces.drawings.balance import balance_charts

        plotted(balance_charts(document), plot)
    return Reply(document, answer.text)


@reads(app, "conformity", units=True)
def conformity(
    desk: Desk,
    job: JobNamed,
    process: Annotated[
        str | None,
        typer.Option(
            "--process",
            metavar="MEAN,SD",
            help="How true flows lie about their designs before any is set to a reading, in percent, like '100,8'; if not given, "
            "from 20 readings before adjustment or more.",
        ),
    ] = None,
    coverage: Coverage = DEFAULT_COVERAGE,
    plot: Plot = None,
) -> Reply:
    """Print what a job's flows prove against the design: statements, specific and global risks (JCGM 106), per outlet, system, job.

    Flows that protect life are judged by the local code and a licensed practitioner, not by this program.

    Example: calib conformity FQ-204 --process 100,8 --plot outlets.png
    """
    from calib.faces.answers import conformity as answer
    from calib.faces.answers import readings
    from calib.procedures.measure.evaluate import evaluate
    from calib.procedures.measure.risks import risks_of

    declared = None if process is None else _process(process)
    evaluation = evaluate(desk.reading(), job, clock(), probability_of(coverage))
    document = answer.document(evaluation, risks_of(evaluation, declared), desk.units)
    if plot is not None:
        from calib.faces.drawings.overview import overview_charts

        shown = readings.document(evaluation, desk.units)
        charts = overview_charts(shown["readings"], shown["not_measured"])
        if not charts:
            raise CalibError("there is no reading to draw")
        plotted(charts, plot)
    return Reply(document, answer.text)


@reads(app, "correlations")
def correlations(
    desk: Desk,
    job: JobNamed,
    system: Annotated[str | None, typer.Option(metavar="NAME", help="The flows of one system alone.")] = None,
    reading: Annotated[
        int | None, typer.Option(metavar="READING", help="One flow with each other, and what both share.")
    ] = None,
) -> Reply:
    """Print how far a job's flows are correlated, each with each: what their sums and differences are worked out with.

    Example: calib correlations FQ-204 --system AH-1
    """
    from calib.faces.answers import correlated_flows as of_reading
    from calib.faces.answers import correlation_matrix as answer
    from calib.procedures.measure.correlated_flows import correlated_flows, flows_in_matrix, others_that_count
    from calib.procedures.measure.evaluate import evaluate
    from calib.procedures.measure.reading_in_job import reading_in_job
    from calib.procedures.on_record.jobs_by_name import typed_in_job
    from calib.records.tables.readings import Reading

    session = desk.reading()
    if reading is not None:
        typed_in_job(session, job, Reading, reading)
        in_job = reading_in_job(session, reading, clock())
        others = [
            row for row in others_that_count(in_job) if system in (None, in_job.evaluation.measured[row].outlet.system)
        ]
        return Reply(of_reading.document(in_job, correlated_flows(in_job, others)), of_reading.text)
    evaluation = evaluate(session, job, clock())
    return Reply(answer.document(evaluation, flows_in_matrix(evaluation, system), system), answer.text)


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
        raise BadInputError([Finding.typed("process", typed, expected)])
    return Process(float(parts[0]) / 100, float(parts[1]) / 100, "declared")
