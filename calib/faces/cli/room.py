"""Commands on rooms."""

from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, RowOptions, group, writes
from calib.faces.cli.options import AT_A_TERMINAL, JobNamed, Reason
from calib.faces.cli.withdrawing import withdrawn
from calib.procedures.typed.declared.jobs import ROOMS_CSV
from calib.procedures.typed.sheets import Cells

app = group("Rooms whose supply and extract the design relates: add, withdraw.")


RoomNamed = Annotated[str, typer.Argument(metavar="ROOM", help="The room, as outlets name it.")]


_ADDED = RowOptions(ROOMS_CSV, without=["job", "room", "revision", "withdrawn"], asked=AT_A_TERMINAL)


@writes(app, "add", row=_ADDED)
def add(
    desk: Desk,
    job: JobNamed,
    room: RoomNamed,
    cells: Cells,
) -> Reply:
    """Say whether a room is to have more supply than extract, or less; at a terminal what is missing is asked for.

    Example: calib room add FQ-204 "Store" --pressure negative
    """
    from calib.faces.cli.questions import row_answered

    names = {"job": job, "room": room}
    row = row_answered(
        _ADDED,
        cells,
        f"room {room} of {job}",
        lambda typed: desk.row_written("rooms.csv", {**names, **typed}),
    )
    return Reply(row.cells, f"added the room {room}: {row.cells['pressure']}")


@writes(app, "withdraw")
def withdraw(desk: Desk, job: JobNamed, room: RoomNamed, reason: Reason) -> Reply:
    """Take back a room that was typed wrongly; the right one is added as a new one.

    Example: calib room withdraw FQ-204 "Store" --reason "the architect's list says positive"
    """
    return withdrawn(desk, "room", (job, room), reason)
