"""Commands on readings."""

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    By,
    InUnits,
    Records,
    clock,
    print_json,
    print_table,
    say,
    signature,
    stop,
    tell,
    time_of,
)
from calib.faces.plain_text import cells_text

if TYPE_CHECKING:
    from calib.faces.written import Content
    from calib.procedures.enter.write_sheets import Imported

app = typer.Typer(no_args_is_help=True, rich_markup_mode=None, help="Readings at outlets: add, list, show.")


@app.command("add")
def add(
    job: Annotated[str, typer.Argument(metavar="JOB", help="The job.")],
    outlet: Annotated[str, typer.Argument(metavar="OUTLET", help="The outlet.")],
    instrument: Annotated[str, typer.Option(metavar="TAG", help="The instrument used.")],
    unit: Annotated[str, typer.Option(help="Unit of the values.")],
    method: Annotated[str, typer.Option(help="The method used.")],
    observations: Annotated[str | None, typer.Option(metavar="VALUES", help="Repeated values, joined by ;")] = None,
    indication: Annotated[str | None, typer.Option(metavar="VALUE", help="The mean as shown.")] = None,
    log_file: Annotated[str | None, typer.Option(metavar="FILE", help="CSV file of logged values: time,value.")] = None,
    observed_at: Annotated[
        str | None, typer.Option("--at", metavar="TIME", help="When, like 2026-03-05T14:30+01:00; now if not given.")
    ] = None,
    averaging_s: Annotated[str | None, typer.Option(help="The meter's averaging time in seconds.")] = None,
    probe: Annotated[str | None, typer.Option(metavar="TAG", help="The probe before a manometer.")] = None,
    conditions: Annotated[
        str | None, typer.Option(metavar="NAME", help="The conditions of the air, from `calib conditions add`.")
    ] = None,
    throttled_observations: Annotated[
        str | None, typer.Option(metavar="VALUES", help="A hood's values with its throttle set, joined by ;")
    ] = None,
    remarks: Annotated[str | None, typer.Option(help="Anything worth keeping.")] = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Enter a reading; if the gate refuses the instrument it is kept as a refusal (exit status 3).

    Mind ladders, moving machinery and hot surfaces; the site's own safety rules and the local codes come first.

    Example: calib reading add FQ-204 S1-3 --instrument VA-11 --unit m/s --method "sweep, 3 passes" --observations "2.41;2.38;2.44"
    """
    from calib.faces.files import file_content
    from calib.procedures.enter.add_reading import add_reading
    from calib.procedures.typed.columns import FILES
    from calib.procedures.typed.sheets import options_of
    from calib.records import database

    observed_at = observed_at or clock().isoformat()
    cells = options_of(FILES["readings.csv"], locals())
    log = None if log_file is None or not log_file.strip() else file_content(Path(log_file.strip()))
    with database.writing(records) as session:
        found = add_reading(session, "command line", cells, log, signature(by, "reading add"), clock())
    tell_recorded(job, outlet, found, as_json=as_json)


def tell_recorded(job: str, outlet: str, found: "Imported", *, as_json: bool) -> None:
    """Say that a reading was recorded, or why it is kept as a refusal (exit status 3)."""
    reasons = [reason for one in found.refusals for reason in one.reasons]
    for line in found.remarks:
        say(line)
    if as_json:
        print_json({"job": job, "outlet": outlet, "refused": bool(reasons), "reasons": reasons})
    elif not reasons:
        tell(f"recorded the reading at {outlet}")
    for reason in reasons:
        say(f"refused: {reason}")
    if reasons:
        stop(3)


@app.command("list")
def list_(
    job: Annotated[str, typer.Argument(metavar="JOB", help="The job.")],
    records: Records = DEFAULT_RECORDS,
    units: InUnits = None,
    as_json: AsJson = False,
) -> None:
    """List a job's readings, each flow with its expanded uncertainty and coverage factor.

    Example: calib reading list FQ-204
    """
    from calib.faces.answers import reading as answer
    from calib.procedures.measure.evaluate import evaluate
    from calib.records import database

    with database.reading(records) as session:
        found = evaluate(session, job, clock())
        document = answer.readings(found, units)
    if as_json:
        print_json({"job": job, "readings": document})
        return
    print_table(
        ("reading", "outlet", "system", "service", "instrument", "observed", "flow ± U", "% of design", "conformity"),
        [
            (
                str(one["reading"]),
                one["outlet"],
                one["system"],
                one["service"],
                one["instrument"],
                one["observed_at"],
                one["flow"]["statement"],
                f"{one['design']['percent_of_design']:.1f}" if one["design"] else "-",
                one["design"]["conformity"] if one["design"] else "-",
            )
            for one in document
        ],
    )
    for refused in found.refused:
        say(f"refused: {refused.outlet.outlet}, {refused.typed.observed_at}: {'; '.join(refused.reasons)}")


@app.command("show")
def show(
    reading: Annotated[
        int, typer.Argument(metavar="READING", help="Number of the reading, as `calib reading list` shows it.")
    ],
    records: Records = DEFAULT_RECORDS,
    units: InUnits = None,
    as_json: AsJson = False,
) -> None:
    """Show one reading as typed, with its flow.

    Example: calib reading show 3
    """
    from calib.faces.answers import reading as answer
    from calib.procedures.measure.reading_in_job import reading_in_job
    from calib.records import database

    with database.reading(records) as session:
        document = answer.reading(reading_in_job(session, reading, time_of(None)), units)
    if as_json:
        print_json(document)
        return
    tell(f"reading {reading}: {document['flow']['statement']}")
    tell(cells_text(_as_typed(document)))


def _as_typed(document: "Content") -> "Content":
    names = (
        "outlet", "system", "service", "instrument", "certificate", "probe", "conditions", "observed_at", "indication",
        "observations", "throttled_observations", "traverse", "indication_unit", "method", "operator", "averaging_s", "remarks",
    )  # fmt: skip
    probe, air, traverse = (document[name] for name in ("probe", "conditions", "traverse"))
    named = {
        "probe": probe and probe["tag"],
        "conditions": air and air["name"],
        "traverse": traverse
        and f"{traverse['rule']}, {traverse['lines']} × {traverse['points']} points, {traverse['passes']} pass(es)",
    }
    return {name: (document | named)[name] for name in names}
