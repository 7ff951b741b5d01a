"""Commands on the designs of systems."""

from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, RowOptions, group, writes
from calib.faces.cli.options import AT_A_TERMINAL, JobNamed, Reason, Sure
from calib.faces.cli.withdrawing import withdrawn
from calib.procedures.typed.declared.jobs import SYSTEMS_CSV
from calib.procedures.typed.sheets import Cells

app = group("Designs of systems, which their totals are judged by: add, withdraw.")


SystemNamed = Annotated[str, typer.Argument(metavar="SYSTEM", help="The system, as outlets name it.")]
ServiceNamed = Annotated[
    str, typer.Argument(metavar="SERVICE", help="supply, return, exhaust or another of its totals.")
]


_ADDED = RowOptions(SYSTEMS_CSV, without=["job", "system", "service", "revision", "withdrawn"], asked=AT_A_TERMINAL)


@writes(app, "add", row=_ADDED)
def add(
    desk: Desk,
    job: JobNamed,
    system: SystemNamed,
    service: ServiceNamed,
    cells: Cells,
    sure: Sure = False,
) -> Reply:
    """Say what a system's total was designed to be; at a terminal what is missing is asked for.

    Example: calib system add FQ-204 AHU-1 supply --design-flow 3300 --flow-unit m3/h --tolerance-percent 10
    """
    from calib.faces.cli.questions import row_answered

    names = {"job": job, "system": system, "service": service}
    row = row_answered(
        _ADDED,
        cells,
        f"design of {system} {service} in {job}",
        lambda typed: desk.row_written("systems.csv", {**names, **typed}, sure=sure),
    )
    design = f"{row.cells['design_flow']} {row.cells['flow_unit']}"
    return Reply(row.cells, f"added the design of {system} {service}: {design}")


@writes(app, "withdraw")
def withdraw(desk: Desk, job: JobNamed, system: SystemNamed, service: ServiceNamed, reason: Reason) -> Reply:
    """Take back the design of a system that was typed wrongly; the right one is added as a new one.

    Example: calib system withdraw FQ-204 AHU-1 supply --reason "the design of AHU-2"
    """
    return withdrawn(desk, "design", (job, system, service), reason)
