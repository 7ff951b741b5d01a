"""The air that a person expects where a job will be measured, as it is typed: three values with their units, or none."""

from collections.abc import Mapping

from calib.airflow.air import density
from calib.errors import CalibError, Finding
from calib.procedures.plan.planned import ExpectedAir
from calib.quantities import read

# What is typed -> quantity, and an example.
_TYPED = {
    "temperature": ("temperature", "20 degC"),
    "pressure": ("pressure", "101.3 kPa"),
    "humidity": ("relative humidity", "50 %"),
}
_USUAL = {"temperature": 293.15, "pressure": 101325.0, "humidity": 0.5}  # beside which one value is looked at


def air_findings(typed: Mapping[str, str | None]) -> list[Finding]:
    """Everything wrong with the conditions to expect: all three or none, each a value with its unit, where air is known."""
    if all(value is None for value in typed.values()):
        return []
    return [
        Finding.typed(column, value, expected)
        for column, value in typed.items()
        if (expected := _expectation(column, value)) is not None
    ]


def expected_air(typed: Mapping[str, str | None]) -> ExpectedAir | None:
    """The air of conditions that are right; None where nothing is typed."""
    values = {column: read(value, _TYPED[column][0])[0] for column, value in typed.items() if value is not None}
    return ExpectedAir(**values) if values else None


def _expectation(column: str, typed: str | None) -> str | None:
    """What a cell ought to hold, where it does not."""
    quantity, example = _TYPED[column]
    if typed is None:
        return (
            f"a value like '{example}' beside the other conditions: temperature, pressure and humidity belong together"
        )
    try:
        density(**_USUAL | {column: read(typed, quantity)[0]})
    except CalibError as error:
        return f"a value like '{example}' ({error})"
    return None
