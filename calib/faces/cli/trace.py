"""Commands on traceability: what a record rests on, and what hangs on it."""

from typing import TYPE_CHECKING, Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, reads
from calib.faces.cli.options import OnDate, day_of

if TYPE_CHECKING:
    from calib.procedures.impact.trace import Trace

app = group("Traceability: what a record rests on, and what hangs on it.")

Named = Annotated[
    list[str],
    typer.Argument(
        metavar="ID",
        help="A tag, a certificate, a factor, a job, an outlet, or a reading as `reading 3`; its kind may stand first.",
    ),
]


@reads(app, "up")
def up(desk: Desk, record: Named, on: OnDate = None) -> Reply:
    """Draw what a record rests on, up to an accredited certificate, and say what the chain lacks.

    Example: calib trace up reading 1
    """
    from calib.procedures.impact.trace import trace_up

    return _drawn(trace_up(desk.reading(), record, day_of(on)))


@reads(app, "down")
def down(desk: Desk, record: Named, on: OnDate = None) -> Reply:
    """Draw what hangs on a record: calibrations by it, readings, factors and the outlets that use them, jobs, issued reports.

    Example: calib trace down RS-01
    """
    from calib.procedures.impact.trace import trace_down

    return _drawn(trace_down(desk.reading(), record, day_of(on)))


def _drawn(trace: "Trace") -> Reply:
    from calib.faces.answers import trace as answer

    return Reply(answer.document(trace), answer.text)
