"""Commands on the conditions of the air."""

from collections.abc import Iterator, Mapping
from typing import Annotated, Any

import typer

from calib.errors import BadInputError, Finding
from calib.faces.cli.options import (
    DEFAULT_RECORDS,
    AsJson,
    AtTime,
    By,
    Records,
    clock,
    print_json,
    print_table,
    say,
    signature,
    tell,
    time_of,
)

app = typer.Typer(
    no_args_is_help=True,
    rich_markup_mode=None,
    help="Conditions of the air that a velocity pressure or a thermal anemometer needs: add, list.",
)

Typed = Annotated[str | None, typer.Option(metavar="VALUE", help='With its unit, like "24.1 degC".')]
Tag = Annotated[str | None, typer.Option(metavar="TAG", help="The instrument that showed it.")]
U = Annotated[str | None, typer.Option(metavar="U", help="Standard uncertainty of a stated value, in its unit.")]


@app.command("add")
def add(
    job: Annotated[str, typer.Argument(metavar="JOB", help="The job.")],
    name: Annotated[
        str, typer.Argument(metavar="NAME", help="What readings call these conditions, like 'plant room'.")
    ],
    temperature: Typed = None,
    thermometer: Tag = None,
    temperature_uncertainty: U = None,
    pressure: Annotated[str | None, typer.Option(metavar="VALUE", help="Barometric pressure with its unit.")] = None,
    barometer: Tag = None,
    pressure_uncertainty: U = None,
    static_pressure: Annotated[
        str | None, typer.Option(metavar="VALUE", help="Of the duct against the room, with its unit; may be left out.")
    ] = None,
    manometer: Tag = None,
    static_pressure_uncertainty: U = None,
    humidity: Annotated[str | None, typer.Option(metavar="VALUE", help='Relative humidity, like "45 %".')] = None,
    hygrometer: Tag = None,
    humidity_uncertainty: U = None,
    source: Annotated[str | None, typer.Option(metavar="TEXT", help="Where the stated values come from.")] = None,
    at: AtTime = None,
    records: Records = DEFAULT_RECORDS,
    by: By = None,
    as_json: AsJson = False,
) -> None:
    """Enter the conditions of the air at a place of a job: each quantity with its instrument, or with its stated uncertainty.

    Example: calib conditions add FQ-204 roof --temperature "24.1 degC" --thermometer TH-2
    --pressure "97.5 kPa" --barometer BA-1 --humidity "45 %" --humidity-uncertainty 8 --source estimated
    """
    from calib.procedures.enter.add_conditions import add_conditions
    from calib.records import database

    typed = {
        "temperature": ("--temperature", temperature, thermometer, temperature_uncertainty),
        "barometric pressure": ("--pressure", pressure, barometer, pressure_uncertainty),
        "static pressure": ("--static-pressure", static_pressure, manometer, static_pressure_uncertainty),
        "relative humidity": ("--humidity", humidity, hygrometer, humidity_uncertainty),
    }
    values = _values(typed)
    now = time_of(at)  # a time that is wrong is named once, not for each quantity
    observed = at or now.isoformat()
    quantities: dict[str, Mapping[str, str | None]] = {
        f"command line {option}":
            {"job": job, "conditions": name, "observed_at": observed, "quantity": quantity, **value,
             "instrument": tag, "standard_uncertainty": u, "source": source if u is not None else None}
        for quantity, (option, _, tag, u) in typed.items()
        if (value := values[quantity])
    }  # fmt: skip
    with database.writing(records) as session:
        found = add_conditions(session, quantities, signature(by, "conditions add"), clock())
    for line in found.remarks:
        say(line)
    if as_json:
        print_json({"job": job, "conditions": name, "quantities": len(quantities)})
    else:
        tell(f"recorded the conditions {name} of job {job}")


def _values(typed: Mapping[str, tuple[str, str | None, str | None, str | None]]) -> dict[str, dict[str, str]]:
    """Value and unit of each quantity that was typed; raises BadInputError with every option that is wrong."""
    findings = [one for option, *rest in typed.values() for one in _wrong(option, *rest)]
    if not findings and all(value is None for _, value, *_ in typed.values()):
        expected = "the options --temperature, --pressure and --humidity with their values"
        findings.append(Finding("command line", None, None, None, expected))
    if findings:
        raise BadInputError(findings)
    return {quantity: _parts(value) for quantity, (_, value, *_) in typed.items()}


def _wrong(option: str, value: str | None, tag: str | None, u: str | None) -> Iterator[Finding]:
    if value is not None and not _parts(value):
        yield Finding("command line", None, option, value, 'a value and its unit, like "24.1 degC"')
    if value is None and (tag or u):
        yield Finding("command line", None, option, None, "the value that the instrument showed")


def _parts(value: str | None) -> dict[str, str]:
    number, separator, unit = (value or "").strip().partition(" ")
    return {"value": number, "unit": unit.strip()} if separator else {}


@app.command("list")
def list_(
    job: Annotated[str, typer.Argument(metavar="JOB", help="The job.")],
    records: Records = DEFAULT_RECORDS,
    as_json: AsJson = False,
) -> None:
    """List a job's conditions of the air with their density.

    Example: calib conditions list FQ-204
    """
    from calib.procedures.measure.air import airs_of_job
    from calib.records import database

    with database.reading(records) as session:
        found = [_document(one) for one in airs_of_job(session, job, clock())]
    if as_json:
        print_json({"job": job, "conditions": found})
        return
    print_table(
        ("conditions", "density", "u", "observed"),
        [
            (
                one["name"],
                "-" if one["density"] is None else f"{one['density']:.4f} kg/m3",
                "-" if one["density"] is None else f"{one['standard_uncertainty']:.4f}",
                "; ".join(one["reasons"] or one["observed"]),
            )
            for one in found
        ],
    )


def _document(one: Any) -> dict[str, Any]:
    refused = bool(one.reasons)
    return {
        "name": one.name,
        "density": None if refused else one.density,
        "standard_uncertainty": None if refused else one.standard_uncertainty,
        "contributions": dict(one.parts),
        "observed": [f"{row.condition.quantity} {row.condition.value} {row.condition.unit}" for row in one.rows],
        "reasons": list(one.reasons),
    }
