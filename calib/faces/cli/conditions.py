"""Commands on the conditions of the air."""

from collections.abc import Iterator, Mapping
from typing import Annotated

import typer

from calib.clock import clock
from calib.errors import BadInputError, Finding
from calib.faces.cli.frame import Desk, Reply, RowOptions, group, reads, writes
from calib.faces.cli.options import AtTime, JobNamed, Reason, time_happened
from calib.faces.cli.withdrawing import withdrawn
from calib.procedures.typed.declared.conditions import CONDITIONS_CSV
from calib.procedures.typed.sheets import Cells

app = group("Conditions of the air that a velocity pressure or a thermal anemometer needs: add, withdraw, list.")

# Quantity -> the options of its value with the unit, and of the instrument that showed it; none shows an altitude.
_QUANTITIES = {
    "temperature": ("temperature", "thermometer"),
    "barometric pressure": ("pressure", "barometer"),
    "static pressure": ("static-pressure", "manometer"),
    "relative humidity": ("humidity", "hygrometer"),
    "wet-bulb temperature": ("wet-bulb", "wet-bulb-thermometer"),
    "altitude": ("altitude", None),
}
_OF_ALL = ("job", "conditions", "observed_at", "quantity", "source", "revision", "withdrawn")
_ROWS = [
    RowOptions(
        CONDITIONS_CSV,
        named=quantity,
        without=[*_OF_ALL, *([] if instrument else ["instrument"])],
        typed_as={
            "value": [f"--{value}"],
            **({"instrument": [f"--{instrument}"]} if instrument else {}),
            "standard_uncertainty": [f"--{value}-uncertainty"],
        },
        behind={"unit": "value"},
    )
    for quantity, (value, instrument) in _QUANTITIES.items()
]


@writes(app, "add", rows=_ROWS)
def add(
    desk: Desk,
    job: JobNamed,
    conditions: Annotated[
        str, typer.Argument(metavar="NAME", help="What readings call these conditions, like 'plant room'.")
    ],
    rows: Mapping[str, Cells],
    source: Annotated[str | None, typer.Option(metavar="TEXT", help="Where the stated values come from.")] = None,
    at: AtTime = None,
) -> Reply:
    """Enter the conditions of the air at a place of a job: each quantity with its instrument, or with its stated uncertainty.

    Example: calib conditions add FQ-204 roof --temperature "24.1 degC" --thermometer TH-2
    --pressure "97.5 kPa" --barometer BA-1 --humidity "45 %" --humidity-uncertainty 8 --source estimated
    """
    from calib.procedures.enter.add_conditions import add_conditions

    values = _values(rows)
    observed_at = desk.observed_at(job, at)
    time_happened(observed_at)  # a time that is wrong is named once, not for each quantity
    common = {"job": job, "conditions": conditions, "observed_at": observed_at}
    quantities: dict[str, Cells] = {
        quantity:
            {**common, "quantity": quantity, **rows[quantity], **value,
             "source": None if rows[quantity]["standard_uncertainty"] is None else source}
        for quantity, value in values.items()
    }  # fmt: skip
    written = add_conditions(desk.writing(), quantities, desk.signature(), clock())
    document = {"job": job, "conditions": conditions, "quantities": len(quantities)}
    return Reply(document, f"recorded the conditions {conditions} of job {job}", written.remarks)


def _values(rows: Mapping[str, Cells]) -> dict[str, dict[str, str]]:
    """Value and unit of each quantity that was typed; raises BadInputError with every option that is wrong."""
    findings = [finding for quantity, cells in rows.items() for finding in _wrong(quantity, cells)]
    if findings:
        raise BadInputError(findings)
    return {quantity: _parts(value) for quantity, cells in rows.items() if (value := cells["value"]) is not None}


def _wrong(quantity: str, cells: Cells) -> Iterator[Finding]:
    value = cells["value"]
    if value is not None and not _parts(value):
        yield Finding(quantity, None, "value", value, 'a value and its unit, like "24.1 degC"')
    if value is None and (cells.get("instrument") or cells["standard_uncertainty"]):
        yield Finding(quantity, None, "value", None, "the value that the instrument showed")


def _parts(typed: str) -> dict[str, str]:
    figure, separator, unit = typed.strip().partition(" ")
    return {"value": figure, "unit": unit.strip()} if separator else {}


@writes(app, "withdraw")
def withdraw(
    desk: Desk,
    job: JobNamed,
    conditions: Annotated[str, typer.Argument(metavar="NAME", help="What readings call these conditions.")],
    reason: Reason,
) -> Reply:
    """Take back conditions that were typed wrongly, all of one name; typed again by hand, they count anew.

    Example: calib conditions withdraw FQ-204 roof --reason "read off the wrong barometer"
    """
    return withdrawn(desk, "conditions", (job, conditions), reason)


@reads(app, "list")
def list_(desk: Desk, job: JobNamed) -> Reply:
    """List a job's conditions of the air with their density.

    Example: calib conditions list FQ-204
    """
    from calib.faces.answers import conditions as answer
    from calib.procedures.measure.air import airs_of_job

    return Reply(answer.document(job, airs_of_job(desk.reading(), job, clock())), answer.text)
