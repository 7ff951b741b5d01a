"""What an instrument's certificate says, as a report answers: the comparisons as typed, and their residuals."""

from calib.faces.answers.curve import stored_residuals, unit_of_residuals
from calib.faces.written import Content
from calib.procedures.measure.stability import limits_basis
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.records.record import typed

_SPECIFIED = (
    "quantity", "unit", "resolution", "repeatability", "mpe_percent", "mpe_absolute", "stability_percent", "stability_absolute",
    "resistance_ratio", "resistance_ratio_standard_uncertainty",
)  # fmt: skip
_CERTIFIED = ("temperature_degC", "pressure_kPa", "humidity_percent", "procedure", "issued_on")


def certified(kept: CalibrationOnFile) -> Content:
    """Comparisons of a calibration with their residuals, its conditions, and what the instrument is specified to do."""
    instrument, calibration = typed(kept.instrument), typed(kept.calibration)
    return {
        **{name: instrument.get(name) for name in _SPECIFIED},
        "stability_basis": limits_basis(kept.instrument),
        **{name: calibration.get(name) for name in _CERTIFIED},
        **_compared(kept),
    }


def _compared(kept: CalibrationOnFile) -> Content:
    return {
        "residual_unit": unit_of_residuals(kept.curve, kept.instrument).symbol,
        "comparisons": [
            typed(one, "id", "calibration_id", "basis") | {"residual": residual}
            for one, residual in zip(kept.comparisons, stored_residuals(kept), strict=True)
        ],
    }
