"""What an instrument's certificate says, as a report answers: the comparisons as typed, and their residuals."""

from calib.faces.parts.curve import stored_residuals, unit_of_residuals
from calib.faces.written import Content
from calib.procedures.measure.stability import limits_basis
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.records.record import typed
from calib.records.tables.calibrations import AIR_OF_CALIBRATION

_SPECIFIED = (
    "quantity", "unit", "resolution", "repeatability", "mpe_percent", "mpe_absolute", "stability_percent", "stability_absolute",
    "resistance_ratio", "resistance_ratio_standard_uncertainty", "reference_temperature_degC", "reference_pressure_kPa",
)  # fmt: skip
_CERTIFIED = (*AIR_OF_CALIBRATION, "procedure", "issued_on")


def certified(on_file: CalibrationOnFile) -> Content:
    """Comparisons of a calibration with their residuals, its conditions, and what the instrument is specified to do."""
    instrument, calibration = typed(on_file.instrument), typed(on_file.calibration)
    return {
        **{name: instrument.get(name) for name in _SPECIFIED},
        "stability_basis": limits_basis(on_file.instrument),
        **{name: calibration.get(name) for name in _CERTIFIED},
        **_compared(on_file),
    }


def _compared(on_file: CalibrationOnFile) -> Content:
    return {
        "residual_unit": unit_of_residuals(on_file.curve, on_file.instrument).symbol,
        "comparisons": [
            typed(comparison, "id", "calibration_id", "basis") | {"residual": residual}
            for comparison, residual in zip(on_file.comparisons, stored_residuals(on_file), strict=True)
        ],
    }
