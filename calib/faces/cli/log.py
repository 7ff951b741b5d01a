"""The command `log`: who recorded what, when."""

from typing import Annotated

import typer

from calib.errors import BadInputError, Finding
from calib.faces.cli.frame import Desk, Reply, group, reads
from calib.faces.cli.options import day_of

_USUAL = 50

app = group()


@reads(app, "log")
def show(
    desk: Desk,
    instrument: Annotated[str | None, typer.Option(metavar="TAG", help="Only what is of this instrument.")] = None,
    job: Annotated[str | None, typer.Option(metavar="JOB", help="Only what is of this job.")] = None,
    person: Annotated[str | None, typer.Option(metavar="NAME", help="Only what this person recorded.")] = None,
    action: Annotated[
        str | None, typer.Option(metavar="WORDS", help="Only acts whose words hold these, like `reading`.")
    ] = None,
    kind: Annotated[
        str | None, typer.Option(metavar="KIND", help="Only records of this kind, like `correction curve`.")
    ] = None,
    on: Annotated[str | None, typer.Option(metavar="DATE", help="Only what was recorded on this day.")] = None,
    since: Annotated[str | None, typer.Option(metavar="DATE", help="Only from this day on.")] = None,
    until: Annotated[str | None, typer.Option(metavar="DATE", help="Only to the end of this day.")] = None,
    before: Annotated[int | None, typer.Option(metavar="ENTRY", min=1, help="Only entries before this one.")] = None,
    limit: Annotated[int, typer.Option(metavar="COUNT", min=1, max=100_000, help="At most so many entries.")] = _USUAL,
) -> Reply:
    """Show who recorded what, when and with which version of the program, the newest first.

    Example: calib log --instrument VA-11 --since 2026-10-01
    """
    from calib.faces.answers import log as answer
    from calib.procedures.on_record.log import LogWish, log

    if on is not None and (since is not None or until is not None):
        raise BadInputError([Finding.typed("on", on, "a day, or days with --since and --until")])
    first, last = (None if typed is None else day_of(typed, name) for typed, name in _days(on, since, until))
    wish = LogWish(limit, instrument, job, person, first, last, before, action, kind)
    return Reply(answer.document(log(desk.reading(), wish)), answer.text)


def _days(on: str | None, since: str | None, until: str | None) -> tuple[tuple[str | None, str], ...]:
    return ((on, "on"), (on, "on")) if on is not None else ((since, "since"), (until, "until"))
