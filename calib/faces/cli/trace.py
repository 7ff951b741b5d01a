"""Commands on traceability: what a record rests on, and what hangs on it."""

from typing import TYPE_CHECKING, Annotated

import typer

from calib.faces.cli.options import DEFAULT_RECORDS, AsJson, OnDate, Records, day_of, print_json, tell

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import date

    from sqlmodel import Session

    from calib.procedures.impact.trace import Trace

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
    from calib.procedures.impact.trace import trace_up

    _draw(trace_up, named, on, records, as_json)


@app.command("down")
def down(named: Named, on: OnDate = None, records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """Draw what hangs on a record: calibrations by it, readings, factors and the outlets that use them, jobs, issued reports.

    Example: calib trace down RS-01
    """
    from calib.procedures.impact.trace import trace_down

    _draw(trace_down, named, on, records, as_json)


def _draw(
    trace: "Callable[[Session, Sequence[str], date], Trace]",
    named: list[str],
    on: str | None,
    records: str,
    as_json: bool,
) -> None:
    from calib.faces.answers import trace as answer
    from calib.records import database

    day = day_of(on)
    with database.reading(records) as session:
        found = trace(session, named, day)
        if as_json:
            print_json(answer.trace(found))
        else:
            tell(answer.trace_text(found))
