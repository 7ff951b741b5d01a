"""The command `enter`: readings of a job, one after another."""

from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, writes
from calib.faces.cli.options import Conditions, JobNamed, MeterProbe, Sure

app = group()


@writes(app, "enter", units=True)
def enter(
    desk: Desk,
    job: JobNamed,
    instrument: Annotated[
        str | None, typer.Option("--instrument", "--meter", metavar="TAG", help="The meter; asked for if not given.")
    ] = None,
    unit: Annotated[str | None, typer.Option(help="Unit of the values; asked for if not given.")] = None,
    method: Annotated[str | None, typer.Option(help="The method; asked for if not given.")] = None,
    probe: MeterProbe = None,
    conditions: Conditions = None,
    stage: Annotated[str | None, typer.Option(help="before or after adjustment, or repeat; blank: not said.")] = None,
    sure: Sure = False,
) -> Reply:
    """Enter a job's readings one after another, on site: the next outlet is offered, each reading answered at once.

    What is typed is written by its line; what is half-typed is kept, and offered at the next start. Lines may come from a pipe:
    then nothing is asked, and the exit status is 2 where a line was not written, 3 where the gate refused one. `?` tells the words.

    Mind ladders, moving machinery and hot surfaces; the site's own safety rules and the local codes come first.

    Example: calib enter FQ-204 --instrument VA-11 --unit m/s --method "sweep, 3 passes"
    """
    from calib.faces.answers import sitting as answer
    from calib.faces.cli.conversation import Conversation
    from calib.procedures.enter.on_site import stage_meant
    from calib.procedures.enter.sitting import Sitting

    said = {"instrument": instrument, "probe": probe, "conditions": conditions, "unit": unit, "method": method}
    setup = {column: cell for column, cell in said.items() if cell}
    talk = Conversation(desk.kept_open(), Sitting(job, setup, stage=stage_meant(stage or "")), sure)
    talk.hold()
    written = talk.entries, talk.not_written, talk.site.left
    document = answer.document(job, len(talk.site.outlets), *written, half_typed=talk.sitting.is_half_typed)
    status = 2 if talk.not_written else 3 if talk.is_refused else 0
    return Reply(document, answer.text, status=status)
