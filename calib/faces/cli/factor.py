"""Commands on outlet factors found in the field."""

from typing import Annotated

import typer

from calib.faces.cli.frame import Desk, Reply, group, reads, writes
from calib.faces.cli.options import Reason

app = group("Outlet factors found in the field: find, list, show.")

FactorNamed = Annotated[str, typer.Argument(metavar="NAME", help="The name of the factor.")]


@writes(app, "find", units=True)
def find(
    desk: Desk,
    name: FactorNamed,
    pairs: Annotated[
        list[str],
        typer.Option(
            "--pair",
            metavar="TRAVERSE:FACE",
            help="Numbers of the reading in the duct and of the one at the face, as `calib reading list` shows them.",
        ),
    ],
    scope: Annotated[str, typer.Option(help="For what it holds: outlet (this one) or type (outlets of its type).")],
    reason: Reason,
    outlet_type: Annotated[
        str | None, typer.Option(metavar="TEXT", help="The type; that of the outlets measured if not given.")
    ] = None,
) -> Reply:
    """Find an outlet factor from readings in a duct, each paired with one at the face of the outlet that the duct feeds.

    The instrument at the face, its calibration and the method are the same in all pairs, since the factor holds for them only.
    A name that is there already gets its next revision, with which every reading of the factor is evaluated from then on.

    Example: calib factor find GR-9 --pair 1:5 --pair 2:6 --pair 3:7 --scope outlet --reason "D-9 feeds S-9 alone"
    """
    from calib.faces.answers import found_factor as answer
    from calib.procedures.factors.factors_on_file import revisions_on_file
    from calib.procedures.factors.find_factor import find_factor
    from calib.procedures.pairs.factor_from_pairs import FactorWanted

    session = desk.writing()
    factor = find_factor(session, FactorWanted(name, pairs, scope, outlet_type, reason), desk.signature())
    on_file = revisions_on_file(session, factor.record.factor)[-1]
    return Reply(answer.document(factor, on_file, desk.units), answer.text, factor.remarks)


@reads(app, "list")
def list_(desk: Desk) -> Reply:
    """List the factors as they count now, each with its expanded uncertainty for readings with the same calibration.

    Example: calib factor list
    """
    from calib.faces.answers import factors as answer
    from calib.procedures.factors.factors_on_file import factors_on_file

    return Reply(answer.document(factors_on_file(desk.reading())), answer.text)


@reads(app, "show", units=True)
def show(desk: Desk, name: FactorNamed) -> Reply:
    """Show a factor with every revision, the latest first: who found it, from which pairs, and which readings used it.

    Example: calib factor show GR-9
    """
    from calib.faces.answers import factor as answer
    from calib.procedures.factors.factors_on_file import readings_with, revisions_on_file

    session = desk.reading()
    revisions = revisions_on_file(session, name)
    return Reply(answer.document(revisions, readings_with(session, revisions), desk.units), answer.text)
