"""Commands on rooms."""

from typing import Annotated

import typer

from calib.clock import clock
from calib.faces.cli.frame import Desk, Reply, RowOptions, group, writes
from calib.faces.cli.options import JobNamed
from calib.procedures.typed.declared.jobs import ROOMS_CSV
from calib.procedures.typed.sheets import Cells

app = group("Rooms whose supply and extract the design relates: add.")


@writes(app, "add", row=RowOptions(ROOMS_CSV, without=["job", "room"]))
def add(
    desk: Desk,
    job: JobNamed,
    room: Annotated[str, typer.Argument(metavar="ROOM", help="The room, as outlets name it.")],
    cells: Cells,
) -> Reply:
    """Say whether a room is to have more supply than extract, or less.

    Example: calib room add FQ-204 "Store" --pressure negative
    """
    from calib.procedures.enter.import_sheets import import_row

    row = import_row(desk.writing(), "rooms.csv", {"job": job, "room": room, **cells}, desk.signature(), clock())
    return Reply(row.cells, f"added the room {room}: {cells['pressure']}")
