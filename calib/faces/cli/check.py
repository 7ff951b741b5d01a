"""Commands on intermediate checks."""

from typing import Annotated

import typer

from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    AtTime,
    By,
    Records,
    print_json,
    print_table,
    say,
    signature,
    tell,
    time_of,
)

app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Intermediate checks between calibrations: add, list."
)


@app.command("add")
def add(
    tag: Annotated[str, typer.Argument(metavar="TAG", help="The instrument.")],
    kind: Annotated[str, typer.Option(help="zero, comparison or 'check standard'.")],
    value: Annotated[str, typer.Option(help="What was found.")],
    low: Annotated[str, typer.Option(help="Lowest value that passes.")],
    high: Annotated[str, typer.Option(help="Highest value that passes.")],
    unit: Annotated[str, typer.Option(help="Unit of the three.")],
    remarks: Annotated[str | None, typer.Option(help="Anything worth keeping.")] = None,
    at: AtTime = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Record an intermediate check; a failed one closes the gate until the instrument is recalibrated (exit status 1).

    Example: calib check add VA-11 --kind zero --value 0.00 --low -0.02 --high 0.02 --unit m/s
    """
    from calib.procedures.look_up import typed
    from calib.procedures.record_check import record_check
    from calib.records import database

    cells = {"kind": kind, "value": value, "low": low, "high": high, "unit": unit, "remarks": remarks}
    with database.writing(records) as session:
        document = typed(record_check(session, tag, time_of(at), cells, signature(by, "check add")), "instrument_id")
    if as_json:
        print_json({"tag": tag} | document)
    else:
        tell(f"{tag}: {document['kind']} check {document['result']}")
    if document["result"] == "failed":
        say(f"{tag} may not be used from {document['at']} until it is recalibrated")
        raise typer.Exit(1)


@app.command("list")
def list_(
    tag: Annotated[str | None, typer.Argument(metavar="[TAG]", help="One instrument; all if not given.")] = None,
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """List intermediate checks.

    Example: calib check list VA-11
    """
    from calib.procedures.look_up import checks
    from calib.records import database

    with database.reading(records) as session:
        found = checks(session, tag)
    if as_json:
        print_json({"checks": found})
    else:
        columns = ("tag", "at", "kind", "value", "low", "high", "unit", "result", "remarks")
        print_table(columns, [[one[column] or "" for column in columns] for one in found])
