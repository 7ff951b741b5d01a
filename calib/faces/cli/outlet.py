"""Commands on outlets and ducts."""

from typing import TYPE_CHECKING, Annotated, Any

import typer

from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    By,
    Records,
    print_json,
    print_table,
    signature,
    tell,
)
from calib.faces.plain_text import cells_text

if TYPE_CHECKING:
    from calib.procedures.on_record.outlets import OutletHistory

app = typer.Typer(
    no_args_is_help=True, rich_markup_mode=None, help="Outlets and measuring sections of ducts: amend, list, show."
)
Job = Annotated[str, typer.Argument(metavar="JOB", help="The job.")]
Name = Annotated[str, typer.Argument(metavar="OUTLET", help="The outlet or duct.")]


@app.command("amend")
def amend(
    job: Job,
    outlet: Name,
    changes: Annotated[
        list[str],
        typer.Option("--set", metavar="COLUMN=VALUE", help="A cell of outlets.csv; a blank value takes it out."),
    ],
    reason: Annotated[str, typer.Option("--reason", metavar="TEXT", help="What was wrong.")],
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Correct an outlet by a new record that supersedes the old one; the report shows both and becomes the next revision.

    Example: calib outlet amend FQ-204 S1-3 --set width=410 --reason "measured again, the first time at the frame"
    """
    from calib.procedures.enter.amend_outlet import amend_outlet
    from calib.records import database
    from calib.records.record import typed

    with database.writing(records) as session:
        document = typed(
            amend_outlet(session, job, outlet, changes, reason, signature(by, "outlet amend")), "outlet_id"
        )
    if as_json:
        print_json({"job": job, "outlet": outlet} | document)
    else:
        tell(f"{outlet} is amended: revision {document['revision']}")


@app.command("list")
def list_(job: Job, records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """List a job's outlets and ducts as they count now.

    Example: calib outlet list FQ-204
    """
    from calib.procedures.on_record.outlets import outlets
    from calib.records import database

    with database.reading(records) as session:
        found = outlets(session, job)
    if as_json:
        print_json({"job": job, "outlets": [_document(one) for one in found]})
        return
    columns = ("outlet", "revision", "system", "service", "place", "room", "opening", "factor", "design")
    print_table(columns, [_in_short(one) for one in found])


def _document(one: "OutletHistory") -> dict[str, Any]:
    return {
        "outlet": one.outlet,
        "revision": one.revision,
        **one.cells,
        "amendments": [
            {
                "revision": each.revision,
                "changes": [{"column": name, "before": old, "after": new} for name, (old, new) in each.changes.items()],
                "reason": each.reason,
                "by": each.person,
                "at": each.time,
            }
            for each in one.revisions
        ],
    }


def _in_short(one: "OutletHistory") -> list[str]:
    cells = {name: cell or "" for name, cell in one.cells.items()}
    sides = " × ".join(cells[side] for side in ("width", "height", "diameter") if cells[side])
    opening = f"{cells['shape']} {sides} {cells['dimension_unit']}".strip()
    area = f"{cells['effective_area']} {cells['effective_area_unit']}".strip()
    design = (
        f"{cells['design_flow']} {cells['flow_unit']} ± {cells['tolerance_percent']} %" if cells["design_flow"] else ""
    )
    return [
        one.outlet,
        str(one.revision),
        cells["system"],
        cells["service"],
        cells["place"] or "outlet",
        cells["room"],
        opening,
        cells["outlet_factor"] or area or cells["found_factor"],
        design,
    ]


@app.command("show")
def show(job: Job, outlet: Name, records: Records = DEFAULT_RECORDS, as_json: AsJson = False) -> None:
    """Show an outlet as it counts now, and what was amended.

    Example: calib outlet show FQ-204 S1-3
    """
    from calib.procedures.on_record.outlets import outlet_history
    from calib.records import database

    with database.reading(records) as session:
        found = outlet_history(session, job, outlet)
    if as_json:
        print_json(_document(found))
        return
    tell(f"{outlet}, revision {found.revision}")
    tell(cells_text(dict(found.cells)))
    for one in found.revisions:
        changes = ", ".join(f"{name} {old or 'none'} → {new or 'none'}" for name, (old, new) in one.changes.items())
        tell(f"revision {one.revision}, {one.time}, {one.person}: {changes} ({one.reason})")
