"""Commands on outlet factors found in the field."""

from typing import TYPE_CHECKING, Annotated

import typer

from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    By,
    InUnits,
    Records,
    print_json,
    print_table,
    say,
    signature,
    tell,
)

if TYPE_CHECKING:
    from calib.faces.written import Content

app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Outlet factors found in the field: find, list, show."
)

Name = Annotated[str, typer.Argument(metavar="NAME", help="The name of the factor.")]


@app.command("find")
def find(
    name: Name,
    pairs: Annotated[
        list[str],
        typer.Option(
            "--pair",
            metavar="TRAVERSE:FACE",
            help="Numbers of the reading in the duct and of the one at the face, as `calib reading list` shows them.",
        ),
    ],
    scope: Annotated[str, typer.Option(help="For what it holds: outlet (this one) or type (outlets of its type).")],
    reason: Annotated[str, typer.Option(metavar="TEXT", help="Why; for a name that is there already, what changed.")],
    outlet_type: Annotated[
        str | None, typer.Option(metavar="TEXT", help="The type; that of the outlets measured if not given.")
    ] = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    units: InUnits = None,
    as_json: AsJson = False,
) -> None:
    """Find an outlet factor from readings in a duct, each paired with one at the face of the outlet that the duct feeds.

    The instrument at the face, its calibration and the method are the same in all pairs, since the factor holds for them only.
    A name that is there already gets its next revision, with which every reading of the factor is evaluated from then on.

    Example: calib factor find GR-9 --pair 1:5 --pair 2:6 --pair 3:7 --scope outlet --reason "D-9 feeds S-9 alone"
    """
    from calib.faces.answers import factor
    from calib.procedures.factors.factors_on_file import revisions_on_file
    from calib.procedures.factors.find_factor import find_factor
    from calib.procedures.pairs.factor_from_pairs import FactorWanted
    from calib.records import database

    wanted = FactorWanted(name, pairs, scope, outlet_type, reason)
    with database.writing(records) as session:
        found = find_factor(session, wanted, signature(by, "factor find"))
        document = factor.found(found, revisions_on_file(session, found.record.factor)[-1], units)
    for line in found.remarks:
        say(line)
    if as_json:
        print_json(document)
        return
    tell(factor.head_text(document) + "\n")
    _print_tables(document)
    if document["to_use_it"]:
        tell("\nto use it:")
    for line in document["to_use_it"]:
        tell(f"  {line}")


@app.command("list")
def list_(records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """List the factors as they count now, each with its expanded uncertainty for readings with the same calibration.

    Example: calib factor list
    """
    from calib.faces.answers import factor
    from calib.procedures.factors.factors_on_file import factors_on_file
    from calib.records import database

    with database.reading(records) as session:
        document = [factor.factor(one) for one in factors_on_file(session)]
    if as_json:
        print_json({"factors": document})
        return
    print_table(
        ("factor", "revision", "holds for", "instrument", "certificate", "method", "K ± U", "pairs", "found", "by"),
        [
            (
                one["factor"],
                str(one["revision"]),
                factor.where(one),
                one["instrument"],
                one["certificate"],
                one["method"],
                one["same_calibration"]["statement"].removeprefix("K = "),
                str(len(one["pairs"])),
                one["found_at"],
                one["found_by"],
            )
            for one in document
        ],
    )


@app.command("show")
def show(name: Name, records: Records = DEFAULT_RECORDS, units: InUnits = None, as_json: AsJson = False) -> None:
    """Show a factor with every revision, the latest first: who found it, from which pairs, and which readings used it.

    Example: calib factor show GR-9
    """
    from calib.faces.answers import factor
    from calib.procedures.factors.factors_on_file import readings_with, revisions_on_file
    from calib.records import database

    with database.reading(records) as session:
        revisions = revisions_on_file(session, name)
        document = factor.history(revisions, readings_with(session, revisions), units)
    if as_json:
        print_json(document)
        return
    latest = document["revisions"][-1]["revision"]
    for one in reversed(document["revisions"]):
        tell(factor.revision_text(one) + "\n")
        _print_tables(one)
        tell("\n" + "\n".join(factor.readings_text(one, latest)) + "\n")
    for line in factor.others_text(document):
        tell(line)


def _print_tables(document: "Content") -> None:
    """Pairs, uncertainties and cautions of one revision."""
    from calib.faces.answers import factor

    print_table(*factor.pair_rows(document))
    tell("")
    print_table(*factor.uncertainty_rows(document))
    for caution in document["cautions"]:
        tell(f"caution: {caution}")
