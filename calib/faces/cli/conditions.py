"""Commands on the conditions of the air."""

from collections.abc import Iterator, Mapping
from typing import Annotated

import typer

from calib.clock import clock
from calib.errors import BadInputError, Finding
from calib.faces.cli.frame import Desk, Reply, group, reads, writes
from calib.faces.cli.options import AtTime, JobNamed, time_happened

app = group("Conditions of the air that a velocity pressure or a thermal anemometer needs: add, list.")

Value = Annotated[str | None, typer.Option(metavar="VALUE", help='With its unit, like "24.1 degC".')]
ShownBy = Annotated[str | None, typer.Option(metavar="TAG", help="The instrument that showed it.")]
StatedUncertainty = Annotated[
    str | None, typer.Option(metavar="U", help="Standard uncertainty of a stated value, in its unit.")
]
_Typed = tuple[str | None, str | None, str | None]  # value with its unit, tag of the instrument, standard uncertainty


@writes(app, "add")
def add(
    desk: Desk,
    job: JobNamed,
    name: Annotated[
        str, typer.Argument(metavar="NAME", help="What readings call these conditions, like 'plant room'.")
    ],
    temperature: Value = None,
    thermometer: ShownBy = None,
    temperature_uncertainty: StatedUncertainty = None,
    pressure: Annotated[str | None, typer.Option(metavar="VALUE", help="Barometric pressure with its unit.")] = None,
    barometer: ShownBy = None,
    pressure_uncertainty: StatedUncertainty = None,
    static_pressure: Annotated[
        str | None, typer.Option(metavar="VALUE", help="Of the duct against the room, with its unit; may be left out.")
    ] = None,
    manometer: ShownBy = None,
    static_pressure_uncertainty: StatedUncertainty = None,
    humidity: Annotated[str | None, typer.Option(metavar="VALUE", help='Relative humidity, like "45 %".')] = None,
    hygrometer: ShownBy = None,
    humidity_uncertainty: StatedUncertainty = None,
    source: Annotated[str | None, typer.Option(metavar="TEXT", help="Where the stated values come from.")] = None,
    at: AtTime = None,
) -> Reply:
    """Enter the conditions of the air at a place of a job: each quantity with its instrument, or with its stated uncertainty.

    Example: calib conditions add FQ-204 roof --temperature "24.1 degC" --thermometer TH-2
    --pressure "97.5 kPa" --barometer BA-1 --humidity "45 %" --humidity-uncertainty 8 --source estimated
    """
    from calib.procedures.enter.add_conditions import add_conditions

    typed = {
        "temperature": (temperature, thermometer, temperature_uncertainty),
        "pressure": (pressure, barometer, pressure_uncertainty),
        "static_pressure": (static_pressure, manometer, static_pressure_uncertainty),
        "humidity": (humidity, hygrometer, humidity_uncertainty),
    }
    values = _values(typed)
    now = time_happened(at)  # a time that is wrong is named once, not for each quantity
    observed = at or now.isoformat()
    quantities: dict[str, Mapping[str, str | None]] = {
        f"command line --{quantity.replace('_', '-')}":
            {"job": job, "conditions": name, "observed_at": observed, "quantity": _QUANTITIES[quantity], **value,
             "instrument": tag, "standard_uncertainty": u, "source": source if u is not None else None}
        for quantity, (_, tag, u) in typed.items()
        if (value := values[quantity])
    }  # fmt: skip
    written = add_conditions(desk.writing(), quantities, desk.signature(), clock())
    document = {"job": job, "conditions": name, "quantities": len(quantities)}
    return Reply(document, f"recorded the conditions {name} of job {job}", written.remarks)


# Name of an option -> the quantity that it holds.
_QUANTITIES = {
    "temperature": "temperature",
    "pressure": "barometric pressure",
    "static_pressure": "static pressure",
    "humidity": "relative humidity",
}


def _values(typed: Mapping[str, _Typed]) -> dict[str, dict[str, str]]:
    """Value and unit of each quantity that was typed; raises BadInputError with every option that is wrong."""
    findings = [finding for quantity, cells in typed.items() for finding in _wrong(quantity, *cells)]
    if not findings and all(value is None for value, *_ in typed.values()):
        expected = "the options --temperature, --pressure and --humidity with their values"
        findings.append(Finding.typed(None, None, expected))
    if findings:
        raise BadInputError(findings)
    return {quantity: _parts(value) for quantity, (value, *_) in typed.items()}


def _wrong(quantity: str, value: str | None, tag: str | None, u: str | None) -> Iterator[Finding]:
    if value is not None and not _parts(value):
        yield Finding.typed(quantity, value, 'a value and its unit, like "24.1 degC"')
    if value is None and (tag or u):
        yield Finding.typed(quantity, None, "the value that the instrument showed")


def _parts(value: str | None) -> dict[str, str]:
    figure, separator, unit = (value or "").strip().partition(" ")
    return {"value": figure, "unit": unit.strip()} if separator else {}


@reads(app, "list")
def list_(desk: Desk, job: JobNamed) -> Reply:
    """List a job's conditions of the air with their density.

    Example: calib conditions list FQ-204
    """
    from calib.faces.answers import conditions as answer
    from calib.procedures.measure.air import airs_of_job

    return Reply(answer.document(job, airs_of_job(desk.reading(), job, clock())), answer.text)
