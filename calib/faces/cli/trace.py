"""Commands on traceability: what a record rests on, and what hangs on it."""

from typing import Annotated

import typer

from calib.faces.cli.options import DEFAULT_RECORDS, AsJson, OnDate, Records, day_of, print_json, tell

app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Traceability: what a record rests on, and what hangs on it."
)

Named = Annotated[
    list[str],
    typer.Argument(
        metavar="ID...",
        help="A tag, a certificate, a factor, a job, an outlet, or a reading as `reading 3`; its kind may stand first.",
    ),
]


@app.command("up")
def up(named: Named, on: OnDate = None, records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """Draw what a record rests on, up to an accredited certificate, and say what the chain lacks.

    Example: calib trace up reading 1
    """
    from calib.faces import trace_answer
    from calib.procedures.trace import trace_up
    from calib.records import database

    day = day_of(on)
    with database.reading(records) as session:
        found = trace_up(session, named, day)
        if as_json:
            print_json(trace_answer.trace(found))
        else:
            tell(trace_answer.trace_text(found))


@app.command("down")
def down(named: Named, on: OnDate = None, records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """Draw what hangs on a record: calibrations by it, readings, factors and the outlets that use them, jobs, issued reports.

    Example: calib trace down RS-01
    """
    from calib.faces import trace_answer
    from calib.procedures.trace import trace_down
    from calib.records import database

    day = day_of(on)
    with database.reading(records) as session:
        found = trace_down(session, named, day)
        if as_json:
            print_json(trace_answer.trace(found))
        else:
            tell(trace_answer.trace_text(found))
