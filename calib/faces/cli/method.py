"""Commands on methods and their declared uncertainties."""

from typing import Annotated

import typer

from calib.clock import clock
from calib.faces.cli.frame import Desk, Reply, RowOptions, changes_meant, group, reads, writes
from calib.faces.cli.options import CellsToSet, Reason
from calib.procedures.typed.declared.methods import METHODS_CSV
from calib.procedures.typed.sheets import Cells

app = group("Methods and their declared uncertainties: add, amend, list, compare.")

MethodNamed = Annotated[str, typer.Argument(metavar="NAME", help="The name of the method.")]


_ROW = RowOptions(
    METHODS_CSV,
    without=["method"],
    typed_as={
        "relative_standard_uncertainty_percent": ["--uncertainty", "--relative-standard-uncertainty-percent"],
        "common_standard_uncertainty_percent": ["--common", "--common-standard-uncertainty-percent"],
        "own_standard_uncertainty_percent": ["--own", "--own-standard-uncertainty-percent"],
    },
)


@writes(app, "add", row=_ROW)
def add(desk: Desk, method: MethodNamed, cells: Cells) -> Reply:
    """Declare a method with its standard uncertainty; what was declared wrongly is amended, never changed.

    Example: calib method add "sweep, 3 passes" --common 1.5 --own 2 --basis "24 sweeps against traverses" --pattern sweep
    """
    from calib.faces.answers.methods import figures_of

    row = desk.row_written("methods.csv", {"method": method, **cells})
    return Reply(row.cells, f"added the method {method}: {figures_of(row.cells)}")


@writes(app, "amend")
def amend(desk: Desk, method: MethodNamed, changes: CellsToSet, reason: Reason) -> Reply:
    """Amend a method by a new declaration that supersedes the old one: every reading by it is evaluated with the latest.

    Example: calib method amend "sweep, 3 passes" --set own_standard_uncertainty_percent=2.4 --reason "40 sweeps by now"
    """
    from calib.faces.answers import amended as answer
    from calib.procedures.enter.amend_method import amend_method

    meant = changes_meant(METHODS_CSV, changes)
    return Reply(answer.document(amend_method(desk.writing(), method, meant, reason, desk.signature())), answer.text)


@reads(app, "list")
def list_(desk: Desk) -> Reply:
    """List the methods with what is declared for them.

    Example: calib method list
    """
    from calib.faces.answers import methods as answer
    from calib.procedures.factors.compare_method import methods

    return Reply(answer.document(methods(desk.reading())), answer.text)


@reads(app, "compare", units=True)
def compare(
    desk: Desk,
    name: MethodNamed,
    pairs: Annotated[
        list[str],
        typer.Option(
            "--pair",
            metavar="TRAVERSE:READING",
            help="Numbers of a reading in the duct and of one of the same flow by the method.",
        ),
    ],
) -> Reply:
    """Compare a method with traverses of the same flows: bias, scatter, and the standard uncertainty to declare for it.

    Nothing is written. Each pair is measured anew: a reading stands in one pair only.

    Example: calib method compare sweep --pair 1:5 --pair 2:6 --pair 3:7
    """
    from calib.faces.answers import method_comparison as answer
    from calib.procedures.factors.compare_method import compare_method

    now = clock()
    compared = compare_method(desk.reading(), name, pairs, now)
    return Reply(answer.document(compared, now.date(), desk.units), answer.text)
