"""The command that plans a job before it is measured."""

from pathlib import Path
from typing import Annotated

import typer

from calib.clock import clock, end_of
from calib.errors import BadInputError, Finding
from calib.faces.cli.field_sheet import sheet_findings, write_field_sheet
from calib.faces.cli.frame import Desk, Reply, group, reads
from calib.faces.cli.options import JobNamed, OnDate, day_of

app = group()


@reads(app, "plan", units=True)
def plan(
    desk: Desk,
    job: JobNamed,
    on: OnDate = None,
    method: Annotated[
        list[str] | None,
        typer.Option("--method", metavar="NAME", help="A method to plan with, repeatable; all that suit if not given."),
    ] = None,
    at_most: Annotated[
        str,
        typer.Option("--at-most", metavar="RATIO", help="U over the half-width of the tolerance that counts as proof."),
    ] = "1",
    temperature: Annotated[
        str | None, typer.Option(metavar="VALUE", help='Temperature of the air to expect, like "20 degC".')
    ] = None,
    pressure: Annotated[
        str | None, typer.Option(metavar="VALUE", help='Absolute pressure of the air to expect, like "101.3 kPa".')
    ] = None,
    sheet: Annotated[
        list[Path] | None,
        typer.Option(
            "--sheet", metavar="FILE", help="Write a field sheet: .pdf to print, .xlsx or .ods to fill in; repeatable."
        ),
    ] = None,
    humidity: Annotated[
        str | None, typer.Option(metavar="VALUE", help='Relative humidity of the air to expect, like "50 %".')
    ] = None,
) -> Reply:
    """Plan a job: which instruments in calibration can prove each outlet's tolerance.

    For each outlet or duct with a design flow: what each instrument that may be used that day would show, the expanded
    uncertainty U that the report would give, U over the half-width T of the tolerance, and how many observations bring it down
    to the ratio asked for. Instruments whose value depends on the density of the air need conditions: those stated here, else the
    latest of the job on record. Exit status 1: some outlet with a design has no instrument.

    Mind ladders, moving machinery and hot surfaces. Do not drill test holes into ducts that carry hazardous air, or that may,
    without the site's permission. Flows that protect life or health are judged by the local code and a licensed practitioner;
    this plan is no substitute for either.

    Example: calib plan FQ-204 --on 2026-03-09
    """
    from calib.faces.answers import plan as answer
    from calib.procedures.plan.expected_air import air_findings, expected_air
    from calib.procedures.plan.plan_job import method_findings, plan_job
    from calib.procedures.plan.planned import Wish

    typed = {"temperature": temperature, "pressure": pressure, "humidity": humidity}
    wrong = [*_day_findings(on), *_ratio_findings(at_most), *air_findings(typed)]
    methods = tuple(dict.fromkeys(method or ()))
    wrong += sheet_findings(sheet or ())
    session = desk.reading()
    wrong += method_findings(session, methods)
    if wrong:
        raise BadInputError(wrong)
    planned = plan_job(session, job, Wish(end_of(day_of(on)), clock(), float(at_most), methods, expected_air(typed)))
    for path in sheet or ():
        write_field_sheet(session, job, path, day_of(on))
    return Reply(answer.document(planned, desk.units), answer.text, status=1 if planned.without_instrument else 0)


def _day_findings(on: str | None) -> list[Finding]:
    try:
        day_of(on)
    except BadInputError as error:
        return list(error.findings)
    return []


def _ratio_findings(at_most: str) -> list[Finding]:
    from calib.procedures.typed import cells

    expected = cells.above_zero(at_most)
    return [] if expected is None else [Finding.typed("at_most", at_most, expected)]
