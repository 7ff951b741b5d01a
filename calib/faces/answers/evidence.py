"""What an instrument's certificate says, as a report answers: the comparisons as typed, and their residuals."""

import numpy as np
from numpy.typing import NDArray

from calib.curves.curve import CorrectionCurve, Curve
from calib.curves.response import from_text
from calib.faces.answers.curve import response_of
from calib.faces.written import Content
from calib.procedures.measure.stability import limits_basis
from calib.procedures.on_record.calibrations import CalibrationOnFile
from calib.quantities import unit
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
    record = kept.curve
    found = from_text(record.parameters)
    indicated = kept.instrument.quantity if record.shape == "polynomial" else kept.instrument.indicated
    in_unit = unit(indicated, kept.instrument.unit)
    residuals = iter(in_unit.difference_from_si(_residuals(found)).tolist())
    return {
        "residual_unit": in_unit.symbol,
        "comparisons": [
            typed(one, "id", "calibration_id", "basis")
            | {"residual": next(residuals) if one.phase == record.phase else None}
            for one in kept.comparisons
        ],
    }


def _residuals(found: Curve) -> NDArray[np.float64]:
    return found.polynomial.residuals if isinstance(found, CorrectionCurve) else response_of(found).fit.residuals
