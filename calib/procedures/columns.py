"""The columns of the import files: what each cell may hold. The names are the contract with the user's spreadsheets."""

import math
import re
from datetime import date, datetime

from calib.confirmation.conformity import DECISION_RULES
from calib.procedures.sheets import Check, Column
from calib.quantities import INSTRUMENT_QUANTITIES, UNITS

# No quantity of the trade is larger in any of its units; beyond it a product of two would overflow.
_LARGEST = 1e12
_SMALLEST = 1e-12  # nor smaller: below it a quotient would
_NUMBER = re.compile(r"[+-]?(\d+\.?\d*|\.\d+)([eE][+-]?\d+)?", re.ASCII)
_DAY = re.compile(r"(?:19|2\d)\d{2}-\d{2}-\d{2}", re.ASCII)
_MOMENT = re.compile(r"(?:19|2\d)\d{2}-\d{2}-\d{2}T\d{2}:\d{2}(:\d{2})?(Z|[+-]\d{2}:\d{2})?", re.ASCII)


def text(_cell: str) -> str | None:
    """Any text."""
    return None


def number(cell: str) -> str | None:
    """A finite decimal number of a size that occurs."""
    if _NUMBER.fullmatch(cell) is None or not math.isfinite(float(cell)):
        return "a finite number with a decimal point, like 4.20"
    return None if abs(float(cell)) <= _LARGEST else f"a number of at most {_LARGEST:g}"


def above_zero(cell: str) -> str | None:
    """A finite number above 0."""
    return "a finite number above 0" if number(cell) or not float(cell) >= _SMALLEST else None


def not_negative(cell: str) -> str | None:
    """A finite number, 0 or above."""
    return "a finite number, 0 or above" if number(cell) or float(cell) < 0 else None


def at_least_one(cell: str) -> str | None:
    """A finite number, 1 or above."""
    return "a finite number, 1 or above" if number(cell) or float(cell) < 1 else None


def percent(cell: str) -> str | None:
    """A percentage above 0, up to 100."""
    return "a percentage above 0, up to 100" if number(cell) or not 0 < float(cell) <= 100 else None


def whole(cell: str) -> str | None:
    """A whole number, 1 to 9999."""
    return None if re.fullmatch(r"[0-9]{1,4}", cell) and int(cell) > 0 else "a whole number, 1 or above"


def numbers(cell: str) -> str | None:
    """Numbers joined by semicolons."""
    wrong = [part.strip() for part in cell.split(";") if number(part.strip())]
    return f"finite numbers joined by ;, {wrong[0]!r} is none" if wrong else None


def day(cell: str) -> str | None:
    """A day that exists, as YYYY-MM-DD."""
    if _DAY.fullmatch(cell) is None:
        return "a date as YYYY-MM-DD, years 1900 to 2999"
    try:
        date.fromisoformat(cell)
    except ValueError:
        return "a date that exists, as YYYY-MM-DD"
    return None


def moment(cell: str) -> str | None:
    """A time with its zone, as YYYY-MM-DDTHH:MM+HH:MM."""
    found = _MOMENT.fullmatch(cell)
    if found is None:
        return "a date and time as YYYY-MM-DDTHH:MM+HH:MM"
    try:
        datetime.fromisoformat(cell)
    except ValueError:
        return "a date and time that exist, as YYYY-MM-DDTHH:MM+HH:MM"
    return None if found[2] else "a time with its zone, like 2026-03-05T14:30+01:00 (a local time alone is ambiguous)"


def one_of(*words: str) -> Check:
    """One of a few words."""

    def check(cell: str) -> str | None:
        return None if cell in words else f"one of {', '.join(words)}"

    return check


def unit_of(quantity: str) -> Check:
    """A unit of one quantity."""
    return one_of(*UNITS[quantity])


SERVICES = ("supply", "return", "exhaust")
SHAPES = ("rectangular", "round")
PHASES = ("as-found", "as-left")

FILES: dict[str, tuple[Column, ...]] = {
    "instruments.csv": (
        Column("tag", text, required=True),
        Column("kind", text, required=True),
        Column("maker", text, required=True),
        Column("model", text, required=True),
        Column("serial", text, required=True),
        Column("quantity", one_of(*INSTRUMENT_QUANTITIES), required=True),
        Column("range_low", number, required=True),
        Column("range_high", number, required=True),
        Column("unit", text, required=True),
        Column("resolution", above_zero, required=True),
        Column("mpe_percent", not_negative),
        Column("mpe_absolute", not_negative),
        Column("interval_months", whole, required=True),
        Column("location", text),
        Column("repeatability", above_zero),
        Column("stability_percent", not_negative),
        Column("stability_absolute", not_negative),
        Column("stability_basis", text),
        Column("custodian", text),
        Column("firmware", text),
        Column("indication_quantity", one_of(*INSTRUMENT_QUANTITIES)),
        Column("check_interval_days", whole),
    ),
    "calibrations.csv": (
        Column("tag", text, required=True),
        Column("certificate", text, required=True),
        Column("laboratory", text, required=True),
        Column("accreditation", text),
        Column("calibrated_on", day, required=True),
        Column("accepted_on", day),
        Column("due_on", day),
        Column("temperature_degC", number),
        Column("pressure_kPa", above_zero),
        Column("humidity_percent", not_negative),
        Column("standards", text),
    ),
    "comparisons.csv": (
        Column("tag", text, required=True),
        Column("certificate", text, required=True),
        Column("phase", one_of(*PHASES), required=True),
        Column("reference", number, required=True),
        Column("indication", number, required=True),
        Column("unit", text, required=True),
        Column("expanded_uncertainty", above_zero, required=True),
        Column("coverage_factor", at_least_one, required=True),
        Column("repeatability", not_negative),
        Column("observations", whole),
        Column("indication_unit", text),
    ),
    "methods.csv": (
        Column("method", text, required=True),
        Column("relative_standard_uncertainty_percent", not_negative, required=True),
        Column("basis", text, required=True),
    ),
    "jobs.csv": (
        Column("job", text, required=True),
        Column("title", text),
        Column("site", text),
        Column("client", text),
        Column("decision_rule", one_of(*DECISION_RULES), required=True),
    ),
    "outlets.csv": (
        Column("job", text, required=True),
        Column("outlet", text, required=True),
        Column("system", text, required=True),
        Column("service", one_of(*SERVICES), required=True),
        Column("shape", one_of(*SHAPES)),
        Column("width", above_zero),
        Column("height", above_zero),
        Column("diameter", above_zero),
        Column("dimension_unit", unit_of("length")),
        Column("dimension_limit", not_negative),
        Column("outlet_factor", above_zero),
        Column("outlet_factor_standard_uncertainty", not_negative),
        Column("outlet_factor_source", text, required=True),
        Column("outlet_factor_reason", text),
        Column("effective_area", above_zero),
        Column("effective_area_unit", unit_of("area")),
        Column("effective_area_standard_uncertainty", not_negative),
        Column("design_flow", above_zero),
        Column("flow_unit", unit_of("volume flow")),
        Column("tolerance_percent", percent),
    ),
    "readings.csv": (
        Column("job", text, required=True),
        Column("outlet", text, required=True),
        Column("instrument", text, required=True),
        Column("observed_at", moment, required=True),
        Column("indication", number),
        Column("unit", text, required=True),
        Column("observations", numbers),
        Column("method", text, required=True),
        Column("operator", text, required=True),
        Column("remarks", text),
        Column("averaging_s", above_zero),
        Column("log_file", text),
    ),
}
