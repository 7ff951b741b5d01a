"""Commands on methods and their declared uncertainties."""

from dataclasses import replace
from typing import TYPE_CHECKING, Annotated

import typer

from calib.errors import BadInputError
from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    By,
    InUnits,
    Records,
    clock,
    print_json,
    print_table,
    signature,
    tell,
)

if TYPE_CHECKING:
    from calib.faces.answers.factor import Row
    from calib.faces.written import Content
    from calib.procedures.factors.compare_method import MethodCompared

app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Methods and their declared uncertainties: add, list, compare."
)

Name = Annotated[str, typer.Argument(metavar="NAME", help="The name of the method.")]

# Column of methods.csv -> where it is typed on the command line.
_TYPED_AS = {
    "method": "NAME",
    "relative_standard_uncertainty_percent": "--uncertainty",
    "basis": "--basis",
    "pattern": "--pattern",
    "degrees_of_freedom": "--degrees-of-freedom",
}


@app.command("add")
def add(
    name: Name,
    uncertainty: Annotated[
        str, typer.Option(metavar="PERCENT", help="Relative standard uncertainty that the company declares for it.")
    ],
    basis: Annotated[str, typer.Option(metavar="TEXT", help="What the figure rests on.")],
    pattern: Annotated[
        str | None, typer.Option(help="How the instrument is held: 'spot grid', sweep, centre, traverse or hood.")
    ] = None,
    degrees_of_freedom: Annotated[
        str | None, typer.Option(metavar="NUMBER", help="Of the figure; taken as exactly known if not given.")
    ] = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Declare a method with its standard uncertainty; what is declared is never changed, a new figure gets a new name.

    Example: calib method add "sweep, 3 passes" --uncertainty 2.5 --basis "24 sweeps against traverses" --pattern sweep
    """
    from calib.procedures.enter.add_method import add_method
    from calib.records import database

    typed = (name, uncertainty, basis, pattern, degrees_of_freedom)
    cells = dict(zip(_TYPED_AS, typed, strict=True))
    with database.writing(records) as session:
        try:
            row = add_method(session, "command line", cells, signature(by, "method add"), clock())
        except BadInputError as error:
            findings = [replace(one, column=_TYPED_AS.get(one.column or "", one.column)) for one in error.findings]
            raise BadInputError(findings) from error
    if as_json:
        print_json(row.cells)
    else:
        tell(f"added the method {name}: {row.cells['relative_standard_uncertainty_percent']} %")


@app.command("list")
def list_(records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """List the methods with what is declared for them.

    Example: calib method list
    """
    from calib.procedures.factors.compare_method import methods
    from calib.records import database

    with database.reading(records) as session:
        found = methods(session)
    if as_json:
        print_json({"methods": found})
        return
    columns = ("method", "relative_standard_uncertainty_percent", "degrees_of_freedom", "pattern", "readings", "basis")
    header = ("method", "u [%]", "dof", "pattern", "readings", "basis")
    print_table(header, [["-" if one[column] is None else str(one[column]) for column in columns] for one in found])


@app.command("compare")
def compare(
    name: Name,
    pairs: Annotated[
        list[str],
        typer.Option(
            "--pair",
            metavar="TRAVERSE:READING",
            help="Numbers of a reading in the duct and of one of the same flow by the method.",
        ),
    ],
    records: Records = DEFAULT_RECORDS,
    units: InUnits = None,
    as_json: AsJson = False,
) -> None:
    """Compare a method with traverses of the same flows: bias, scatter, and the standard uncertainty to declare for it.

    Nothing is written. Each pair is measured anew: a reading stands in one pair only.

    Example: calib method compare sweep --pair 1:5 --pair 2:6 --pair 3:7
    """
    from calib.procedures.factors.compare_method import compare_method
    from calib.records import database

    now = clock()
    with database.reading(records) as session:
        document = _document(compare_method(session, name, pairs, now), str(now.date()), units)
    if as_json:
        print_json(document)
        return
    tell(f"{name} beside traverses, {document['number']} pairs\n")
    print_table(*_pair_rows(document))
    tell("")
    print_table(("in percent", "value", ""), _figure_rows(document))
    for caution in document["cautions"]:
        tell(f"caution: {caution}")
    tell(f"\nif the company adopts it:\n  {document['to_adopt_it']}")


def _document(found: "MethodCompared", on: str, units: str | None) -> "Content":
    one = found.comparison
    return {
        "method": found.method.method,
        "declared_standard_uncertainty_percent": float(found.method.relative_standard_uncertainty_percent),
        "declared_degrees_of_freedom": found.method.degrees_of_freedom,
        "basis": found.method.basis,
        "number": one.number,
        "pairs": _pairs(found, units),
        "mean_percent": 100.0 * one.mean,
        "standard_uncertainty_of_mean_percent": 100.0 * one.standard_uncertainty_of_mean,
        "probability_of_no_bias": one.probability,
        "standard_deviation_percent": 100.0 * one.standard_deviation,
        "proposed_standard_uncertainty_percent": 100.0 * one.root_mean_square,
        "proposed_degrees_of_freedom": one.number,
        "upper_limit_percent": 100.0 * one.upper_limit,
        "explained_percent": 100.0 * one.explained,
        "unexplained_percent": 100.0 * one.unexplained,
        "cautions": list(found.cautions),
        "to_adopt_it": _adopting(found, on),
    }


def _pairs(found: "MethodCompared", units: str | None) -> "list[Content]":
    from calib.faces.answers.reading import flow_unit
    from calib.procedures.pairs.paired_readings import flow, measured

    written = []
    for pair, difference, explained in zip(found.pairs, found.comparison.differences, found.explained, strict=True):
        traverse, other = measured(pair.traverse), measured(pair.other)
        in_unit = flow_unit(other.outlet, units)
        written.append(
            {
                "traverse": traverse.reading.id,
                "duct": traverse.outlet.outlet,
                "traversed_at": traverse.reading.observed_at,
                "reading": other.reading.id,
                "outlet": other.outlet.outlet,
                "instrument": other.instrument.tag,
                "observed_at": other.reading.observed_at,
                "unit": in_unit.symbol,
                "flow_of_traverse": float(in_unit.from_si(flow(pair.traverse))),
                "flow": float(in_unit.from_si(flow(pair.other))),
                "difference_percent": 100.0 * float(difference),
                "explained_percent": 100.0 * float(explained),
            }
        )
    return written


def _adopting(found: "MethodCompared", on: str) -> str:
    """The command that declares what the pairs propose; under a new name, since what is declared is never changed."""
    from calib.faces.answers.factor import as_typed
    from calib.uncertainty.statement import plain, round_uncertainty

    method, number = found.method, found.comparison.number
    words = ["method", "add", f"{method.method}, {on}"]
    words += ["--uncertainty", plain(round_uncertainty(100.0 * found.comparison.root_mean_square))]
    words += ["--degrees-of-freedom", str(number)]
    words += ["--basis", f"{number} pairs with traverses: {', '.join(pair.typed for pair in found.pairs)}"]
    return as_typed(words if method.pattern is None else [*words, "--pattern", method.pattern])


def _pair_rows(document: "Content") -> "tuple[Row, list[Row]]":
    header = (
        "pair",
        "duct",
        "outlet",
        "instrument",
        "observed",
        "q traverse",
        "q method",
        "",
        "d [%]",
        "explained [%]",
    )
    rows: list[Row] = [
        (
            f"{each['traverse']}:{each['reading']}",
            each["duct"],
            each["outlet"],
            each["instrument"],
            each["observed_at"],
            f"{each['flow_of_traverse']:.5g}",
            f"{each['flow']:.5g}",
            each["unit"],
            f"{each['difference_percent']:+.2f}",
            f"{each['explained_percent']:.2g}",
        )
        for each in document["pairs"]
    ]
    return header, rows


def _figure_rows(one: "Content") -> "list[Row]":
    from calib.uncertainty.statement import plain, round_uncertainty

    def two(name: str) -> str:
        return plain(round_uncertainty(one[f"{name}_percent"]))

    degrees = (
        "exactly known" if one["declared_degrees_of_freedom"] is None else f"{one['declared_degrees_of_freedom']} dof"
    )
    bias = f"u = {two('standard_uncertainty_of_mean')}; as large without a bias with p = {one['probability_of_no_bias']:.2g}"
    return [
        ("mean difference (bias)", f"{one['mean_percent']:+.2f}", bias),
        ("standard deviation s", two("standard_deviation"), f"of one difference, {one['number'] - 1} dof"),
        ("explained", two("explained"), "by the budgets of both readings without the method's own"),
        ("unexplained", two("unexplained"), "what is left of the proposed beside it"),
        (
            "proposed u",
            two("proposed_standard_uncertainty"),
            f"root mean square about 0, {one['number']} dof; at most {two('upper_limit')} (95 %)",
        ),
        ("declared u", f"{one['declared_standard_uncertainty_percent']:g}", f"{one['basis']} ({degrees})"),
    ]
