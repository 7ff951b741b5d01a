"""The columns of the import files: what each cell may hold. The names are the contract with the user's spreadsheets."""

from calib.confirmation.conformity import DECISION_RULES
from calib.procedures.cells import (
    above_zero,
    at_least_one,
    day,
    moment,
    not_negative,
    number,
    numbers,
    one_of,
    percent,
    text,
    whole,
)
from calib.procedures.sheets import Check, Column
from calib.quantities import INSTRUMENT_QUANTITIES, UNITS


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
